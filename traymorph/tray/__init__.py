"""Finds the tray in a photo and says which plants are its own."""
