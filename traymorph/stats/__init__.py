"""Differences between treatments and their doubt; the tray is the replicate, images are unknown."""
