"""Criteria with their sources, each judged by value, limit and margin.

Limits start from published ones and are the user's to set. A criterion without its data is not
judged, and never passes. This is a screening for people who know what they look at: it takes no
decision that a code, a permit or a licensed engineer takes.
"""

from stationsim.studies.check.fitness import CRITERIA, check, criteria_of

__all__ = ["CRITERIA", "check", "criteria_of"]
