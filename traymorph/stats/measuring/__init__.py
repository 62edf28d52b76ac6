"""How much of the spread is the measuring itself."""
