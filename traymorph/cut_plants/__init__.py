"""Tells cut plants on a board apart and finds how each is built: cut, stem, node, blades."""
