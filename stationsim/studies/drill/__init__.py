"""Drill: a person in the loop, who sees only what they could see, acts, and is answered."""

from stationsim.studies.drill.account.study import debrief
from stationsim.studies.drill.drill import Drill, play
from stationsim.studies.drill.told import Action, Told

__all__ = ["Action", "Drill", "Told", "debrief", "play"]
