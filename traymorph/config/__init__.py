"""Settings and lists of a trial: read, checked as a whole, every problem named at once."""
