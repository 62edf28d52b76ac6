"""The command line: words in, words out; the only place that knows click."""
