"""The day of acceptance: a sheet of what should be read, and a verdict on what was.

With clean water, before sewage arrives: pressures, flows, falls of the level, currents and alarms
are read off and laid beside what they should be. The sheet is a reckoning from what was entered;
whoever is licensed and contracted for it accepts a station.
"""

from stationsim.studies.acceptance.study import acceptance

__all__ = ["acceptance"]
