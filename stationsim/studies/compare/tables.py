"""The tables of a comparison: what differs, every figure side by side, and which limits hold."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import pandas as pd

from stationsim.control.staging import StagingSettings

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from stationsim.station import Station
    from stationsim.studies.compare.outcome import Outcome

SETTINGS = ("setting", "key", "value")
COMPARED = ("setting", "metric", "subject", "value", "unit", "difference", "ratio")
LIMITS = ("setting", "subject", "limit", "allowed", "value", "unit", "kept")

STARTS, OFF_TIME = "starts per hour", "minimum off time"
ALARM, SPILL = "high-level alarm not reached", "no spill"
YES, NO, NOT_JUDGED = "yes", "no", "not judged"

_SLACK_S = 1e-3
_SLACK_M = 1e-9


class Limit(NamedTuple):
    """One limit, looked at in one setting.

    Parameters
    ----------
    setting, subject
        Where.
    limit
        Which.
    allowed, value
        What the scenario allows, and what came of it; NaN where there is none.
    unit
        Of both.
    kept
        ``yes``, ``no`` or ``not judged``.
    """

    setting: str
    subject: str
    limit: str
    allowed: float
    value: float
    unit: str
    kept: str


def settings_table(differs: Mapping[str, Mapping[str, str]]) -> pd.DataFrame:
    """Return in what the settings differ, one row for each key of each.

    Parameters
    ----------
    differs
        Label -> key -> value as text.
    """
    rows = [(label, key, value) for label, own in differs.items() for key, value in own.items()]
    return pd.DataFrame(rows, columns=list(SETTINGS)).astype("str")


def compared_table(outcomes: Sequence[Outcome]) -> pd.DataFrame:
    """Return every figure of every setting, with what sets it apart from the first one.

    Parameters
    ----------
    outcomes
        What each came to.
    """
    first = {(row[0], row[1]): row[2] for row in outcomes[0].rows}
    rows = []
    for one in outcomes:
        for metric, subject, value, unit in one.rows:
            base = first.get((metric, subject), math.nan)
            apart = 0.0 if value == base else value - base
            rows.append((one.label, metric, subject, value, unit, apart, ratio_of(value, base)))
    table = pd.DataFrame(rows, columns=list(COMPARED))
    return table.astype(dict.fromkeys(("setting", "metric", "subject", "unit"), "str"))


def ratio_of(value: float, base: float) -> float:
    """Return a value over the first one; 1 when both are nought, NaN when only the first is.

    Parameters
    ----------
    value, base
        The two.
    """
    if value == base:
        return 1.0
    return value / base if base != 0.0 else math.nan


def limits_of(station: Station, outcome: Outcome) -> list[Limit]:
    """Return the limits that the scenario gives, each with what came of it.

    Parameters
    ----------
    station
        What stood there.
    outcome
        What it came to.
    """
    found: list[Limit] = []
    label = outcome.label
    for pump in station.pumps:
        most = _most_starts(station, pump.name)
        worst = outcome.value("worst starts in an hour", pump.name)
        kept = NOT_JUDGED if math.isnan(most) else _word(worst <= most)
        found.append(Limit(label, pump.name, STARTS, most, worst, "1/h", kept))
        plate = station.ratings.plates.get(pump.name)
        least = max(pump.min_off_s, (plate.least_off_s if plate else None) or 0.0)
        rest = outcome.value("shortest off time", pump.name)
        # a pump that was never started anew has rested long enough
        held = math.isnan(rest) or rest >= least - _SLACK_S
        kept, allowed = (_word(held), least) if least > 0.0 else (NOT_JUDGED, math.nan)
        found.append(Limit(label, pump.name, OFF_TIME, allowed, rest, "s", kept))
    alarm, top = station.alarms.high_level_m, outcome.value("greatest level")
    kept = NOT_JUDGED if alarm is None else _word(top < alarm - _SLACK_M)
    allowed = math.nan if alarm is None else alarm
    found.append(Limit(label, "station", ALARM, allowed, top, "m", kept))
    spilled = outcome.value("volume spilled")
    none = station.spillway is None
    kept = NOT_JUDGED if none else _word(outcome.value("spills") == 0.0)
    found.append(Limit(label, "station", SPILL, math.nan if none else 0.0, spilled, "m3", kept))
    return found


def _most_starts(station: Station, pump: str) -> float:
    """Return the fewest starts in an hour that the file allows a pump; NaN when it says nothing.

    By the maker's plate, by the panel, or by the limits that the file itself sets; a limit that
    only stands there by default is no limit of the scenario's own.
    """
    ratings, settings = station.ratings, station.control.settings
    plate = ratings.plates.get(pump)
    given = [
        plate.most_starts_per_hour if plate is not None else None,
        settings.most_starts_per_hour if isinstance(settings, StagingSettings) else None,
        ratings.limits.most_starts_per_hour
        if "most_starts_per_hour" in ratings.set_limits
        else None,
    ]
    return min((float(one) for one in given if one is not None), default=math.nan)


def limits_table(limits: Sequence[Limit]) -> pd.DataFrame:
    """Return the limits as a table.

    Parameters
    ----------
    limits
        Of every setting.
    """
    table = pd.DataFrame(limits, columns=list(LIMITS))
    return table.astype(dict.fromkeys(("setting", "subject", "limit", "unit", "kept"), "str"))


def _word(kept: bool) -> str:  # noqa: FBT001 - the word for it
    return YES if kept else NO
