"""Sheets on paper: the forms of the day, and what comes back filled in."""
