"""Which pixels of a photo are leaf blade, which are stem, and which are neither."""
