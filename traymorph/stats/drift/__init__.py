"""Charts of batches: limits, run lengths, what moved and since when."""
