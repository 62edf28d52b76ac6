"""The page of a trial: one HTML file that holds its pictures, charts and sentences."""
