"""Pure physics on SI floats: no clock, no randomness, no units."""
