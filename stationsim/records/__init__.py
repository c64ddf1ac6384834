"""Data in: recorded series from files; what is wrong is refused, what is repaired is told."""
