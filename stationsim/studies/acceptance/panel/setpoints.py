"""Set-points, floats and alarms, each by itself: at which level it acts, and whether anybody hears.

References
----------
Set-points within 20 mm, each float lifted by hook, each alarm followed to the call-out: common
practice, no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationsim.outline import set_levels
from stationsim.studies.acceptance.cautions import (
    AT_TEST_POINT,
    AT_THE_VALVE,
    BREAKER,
    CLEAR,
    LICENSED,
    SEAL_TRIED,
    WITHOUT_POWER,
)
from stationsim.studies.acceptance.reading import Reading

if TYPE_CHECKING:
    from stationsim.station import Station

SETPOINTS = "floats and set-points"
"""The test that all of them belong to."""

_NO_SETPOINTS = frozenset({"inlet invert", "spill"})
_FLOATS = frozenset({"backup start float", "backup stop float"})
_LEVEL_SOURCE = "the plan's own tolerance of levels; common practice, no source"
_YES_SOURCE = "common practice, no source"


def float_checks(station: Station) -> list[Reading]:
    """Return the readings of all that acts at a level, and of all alarms.

    Parameters
    ----------
    station
        What stands there.
    """
    levels = [pair for pair in set_levels(station) if pair[0] not in _NO_SETPOINTS]
    found = [_acts(station, name, level) for name, level in levels]
    found += [
        _yes(
            f"float: {name} acts",
            name,
            f"Lift the {name} by a hook, from outside, with the level sensor disconnected by"
            f" {LICENSED}: {_does(name)}.",
        )
        for name, _level in levels
        if name in _FLOATS
    ]
    found += [
        _yes(
            f"alarm: {alarm}{f' of {subject}' if subject else ''} reaches the call-out",
            subject or "station",
            f"{how}. Ask who has been told, and when.",
        )
        for alarm, subject, how in _alarms(station)
    ]
    return found


def _acts(station: Station, name: str, level_m: float) -> Reading:
    """Return the reading of the level at which something acts."""
    plan = station.ratings.acceptance
    falls = "stop" in name.split() or name.startswith("low")
    moves = "fall" if falls else "rise"
    hand = ", somebody at the selector" if falls else ""
    return Reading(
        name=f"set-point: {name}",
        test=SETPOINTS,
        what="acts at level",
        subject=name,
        level_m=level_m,
        expected=level_m,
        low=level_m - plan.level_tolerance_m,
        high=level_m + plan.level_tolerance_m,
        uncertainty=plan.uncertainty.level_m,
        how=f"Let the water {moves} slowly{hand}; read the level by tape, from outside, when it"
        " acts, its delay apart.",
        source=_LEVEL_SOURCE,
    )


def _yes(name: str, subject: str, how: str) -> Reading:
    """Return a reading that should be yes."""
    return Reading(
        name=name,
        test=SETPOINTS,
        what="yes or no",
        subject=subject,
        expected=1.0,
        low=1.0,
        high=1.0,
        how=how,
        source=_YES_SOURCE,
    )


def _does(name: str) -> str:
    """Return what should happen when a float is lifted."""
    if name == "backup start float":
        return "the pumps start"
    return "let down again it stops all pumps"


def _alarms(station: Station) -> list[tuple[str, str, str]]:
    """Return each alarm, of what, and how it is brought about."""
    alarms, engine = station.alarms, station.engine_pump
    who = LICENSED.capitalize()
    found: list[tuple[str, str, str]] = []
    if alarms.high_level_m is not None:
        found.append(
            (
                "high level",
                "",
                f"Let the water rise to it, {AT_THE_VALVE}, or lift what tells of it by a hook",
            )
        )
    if alarms.low_level_m is not None:
        found.append(
            (
                "low level",
                "",
                (
                    "Let the water fall to it, somebody at the selector who stops the pump when it"
                    " draws air, or let down what tells of it by a hook"
                ),
            )
        )
    found.append(
        (
            "power failed",
            "",
            (
                f"With all pumps stopped {LICENSED} opens the main breaker (off), {BREAKER}, for"
                f" longer than the alarm waits, and closes it {CLEAR}."
                f" {WITHOUT_POWER.removesuffix('.')}"
            ),
        )
    )
    found.append(
        (
            "level signal failed",
            "",
            f"{who} disconnects by its drawings the level sensor: {AT_TEST_POINT}",
        )
    )
    for pump in station.pumps:
        found += [
            ("pump failed", pump.name, f"{who} trips the overload relay by its own test button"),
            (
                "high temperature",
                pump.name,
                (
                    f"{who} opens by its drawings the circuit of the temperature switch:"
                    f" {AT_TEST_POINT}"
                ),
            ),
            (
                "seal leak",
                pump.name,
                f"{who} simulates water at the seal probe by its drawings: {SEAL_TRIED}",
            ),
        ]
    if engine is not None:
        found.append(
            (
                "engine failed",
                engine.pump.name,
                (
                    "Call it with its fuel or its starter shut off by somebody who knows it,"
                    " everybody clear of it: it tries to start"
                ),
            )
        )
    return found
