"""One small function per metric, each with its first standard uncertainty."""
