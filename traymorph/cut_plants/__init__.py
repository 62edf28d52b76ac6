"""Tells the cut plants on a board apart and how each is built: stem, node, blades."""
