"""How far the program's numbers are from the truth of rendered trays."""
