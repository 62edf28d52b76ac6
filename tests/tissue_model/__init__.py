"""Training of the small tissue model: leaf, stem or neither for every pixel of a photo."""
