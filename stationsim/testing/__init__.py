"""For tests, lessons and plug-ins: small stations, and a kit that tries out a controller.

>>> from stationsim.testing import duplex, episode, check_controller
"""

from stationsim.testing.conformance import check_controller
from stationsim.testing.stations import (
    MONDAY,
    REFERENCE_WEEKDAY,
    REFERENCE_WEEKEND,
    bypass_pump,
    duplex,
    engine_pump,
    episode,
    reference_inflow,
    reference_station,
    staging,
    tank,
    triplex,
)

__all__ = [
    "MONDAY",
    "REFERENCE_WEEKDAY",
    "REFERENCE_WEEKEND",
    "bypass_pump",
    "check_controller",
    "duplex",
    "engine_pump",
    "episode",
    "reference_inflow",
    "reference_station",
    "staging",
    "tank",
    "triplex",
]
