"""Cards for a table-top, and the key of whoever leads it."""
