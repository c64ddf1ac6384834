"""Exercises, one for each who practises, and the key of whoever teaches."""
