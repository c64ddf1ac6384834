"""Decisions only: what a controller and a rotation are, and the built-in ones."""
