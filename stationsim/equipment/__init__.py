"""Descriptions of the things that stand in a station."""
