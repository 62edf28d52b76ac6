"""The reference card: what is printed where, drawing it, finding it, and what its colours say."""
