"""Before a trial: which tray stands where, and how many a difference takes."""
