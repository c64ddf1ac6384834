"""``stationsim drill``: the command, its screen, what is read from a terminal, and its help."""
