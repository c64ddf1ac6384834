"""Drill: a person in the loop, who sees only what they could see, acts, and is answered."""

from stationsim.studies.drill.game import Action, Drill, Told, play

__all__ = ["Action", "Drill", "Told", "play"]
