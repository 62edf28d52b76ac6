"""Pictures of what was measured; takes plain model data, gives files."""
