"""Path-traced photos of microgreens trays whose truth is known from geometry."""
