"""People: who is called, who comes, with what, and what they do. Knows no plant."""
