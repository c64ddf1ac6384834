"""Criteria of starts: active volume, starts in an hour and rest at the worst steady inflow.

References
----------
Active volume V = T D / 4 for the shortest time T between two starts at a pump flow D:
MIL-HDBK-1005/9A (1997) 2.5.3.6; half of it when two pumps alternate: US Army EI 11C201 (1997), 7;
it says so of stations below 45 L/s; larger ones, and a third with three, by the same reasoning.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import NamedTuple

from stationsim.outline import set_levels
from stationsim.physics.electrics import shortest_cycle_s, start_limit
from stationsim.studies.check.capacity import ages, flow_m3s
from stationsim.studies.check.criterion import (
    Case,
    Judged,
    Told,
    judge,
    limit_source,
    not_judged,
    value_text,
)
from stationsim.studies.check.steady import Rates, worst_starts

MG10 = "NEMA MG 10, Table 2-3, as reprinted in the EASA handbook (read 2026)"
VOLUME_SOURCE = (
    "MIL-HDBK-1005/9A (1997) 2.5.3.6: V = T D / 4; halved by alternation below 45 L/s, EI 11C201"
    " (1997); more pumps and larger stations by the same reasoning, own"
)
BY_SIZE = "US Army EI 11C201 (1997), Table 7-1: shortest cycle by the size of the motor"

_ALONE = {
    "shares": ", its turns follow the shares of the hours; reckoned as if one pump took all starts",
}


class Most(NamedTuple):
    """How often a pump may start.

    Parameters
    ----------
    per_hour
        Most starts in an hour [1/h]; NaN when it is not known.
    source
        Where that comes from.
    """

    per_hour: float
    source: str


def most_starts(case: Case, name: str) -> Most:
    """Return how often a pump may start: its plate, the scenario, its size, or the usual limit.

    Parameters
    ----------
    case
        The station.
    name
        The pump.
    """
    plate = case.ratings.plates.get(name)
    found = []
    if plate is not None and plate.most_starts_per_hour is not None:
        found.append(Most(plate.most_starts_per_hour, "maker's plate"))
    limit = case.ratings.limits.most_starts_per_hour
    if "most_starts_per_hour" in case.ratings.set_limits:
        found.append(Most(limit, limit_source(case, "most_starts_per_hour")))
    if found:
        return min(found)
    if plate is not None and plate.rated_w is not None:
        cycle_s = shortest_cycle_s(plate.rated_w)
        return Most(math.nan if cycle_s is None else 3600.0 / cycle_s, BY_SIZE)
    return Most(limit, limit_source(case, "most_starts_per_hour"))


def starts(case: Case, rates: Rates) -> Iterator[Judged]:
    """Judge active volume, starts in an hour and rest at the worst steady inflow.

    Parameters
    ----------
    case
        The station.
    rates
        What :func:`~stationsim.studies.check.steady.rates_of` found.
    """
    yield _active_volume(case)
    rotation = f", rotation '{case.station.control.rotation}'"
    for name, worst in worst_starts(case, rates).items():
        why: tuple[str | Told, ...] = ("it does not cycle at any of the steady inflows tried",)
        if not math.isnan(worst.at_m3s):
            why = ("worst of steady inflows, at ", Told(worst.at_m3s, "flow"), rotation)
        most = most_starts(case, name)
        if math.isnan(most.per_hour):
            needs = f"pump.{name}.plate: most_starts_per_hour (by size the maker decides)"
            yield not_judged("starts in an hour", name, needs, most.source)
        else:
            yield judge(
                "starts in an hour", name, worst.per_hour, "at most", most.per_hour, "1/h", why,
                most.source,
            )  # fmt: skip
        plate = case.ratings.plates.get(name)
        given = plate is not None and plate.rated_w is not None and plate.poles is not None
        size = None
        if plate is not None and plate.rated_w is not None and plate.poles is not None:
            size = start_limit(plate.rated_w, plate.poles, plate.load_inertia_kgm2)
        if plate is None or size is None:
            lacking = f"pump.{name}.plate: rated_power, poles"
            if given:
                lacking = "a motor of 2, 4 or 6 poles up to 250 hp (beyond it the maker decides)"
            yield not_judged("motor starts by size", name, lacking, MG10)
        else:
            inertia = "" if plate.load_inertia_kgm2 else ", inertia of the load left out"
            which = f"taken as {size.size_hp:g} hp, {plate.poles} poles{inertia}"
            yield judge(
                "motor starts by size", name, worst.per_hour, "at most", size.per_hour, "1/h",
                which, MG10,
            )  # fmt: skip
        rests = []
        if size is not None:
            rests.append((size.off_s, MG10))
        if plate is not None and plate.least_off_s is not None:
            rests.append((plate.least_off_s, "maker's plate"))
        if not rests:
            lacking = f"pump.{name}.plate: least_off_time, or rated_power and poles"
            yield not_judged("rest between runs", name, lacking, MG10)
            continue
        off_s, source = max(rests)
        if not math.isnan(worst.rest_at_m3s):
            why = ("shortest of steady inflows, at ", Told(worst.rest_at_m3s, "flow"), rotation)
        yield judge(
            "rest between runs", name, worst.rest_s, "at least", off_s, "duration", why, source
        )


def turns(case: Case) -> int:
    """Return how many pumps share the starts of the lead in equal parts under the rotation in use.

    Parameters
    ----------
    case
        The station.
    """
    shared = case.station.control.rotation in ("each cycle", "run hours")
    return len(case.station.pumps) if shared else 1


def _active_volume(case: Case) -> Judged:
    """Judge the volume between stop and lead start against T D / (4 n)."""
    levels = dict(set_levels(case.station))
    if "stop" not in levels or "lead start" not in levels:
        return not_judged("active volume", "station", "a stop level and a lead start")
    low, high = levels["stop"], levels["lead start"]
    well, n, rotation = case.station.well, turns(case), case.station.control.rotation
    volume = well.volume_at(high) - well.volume_at(low)
    age = ages(case)[0]  # new pipe draws most, and needs most
    needs = []
    for index, pump in enumerate(case.station.pumps):
        most = most_starts(case, pump.name).per_hour
        draws = flow_m3s(case, age, (index,), 0.5 * (low + high))
        needs.append((3600.0 / most * draws / (4.0 * n), draws, pump.name, most))
    if any(math.isnan(one[0]) for one in needs):
        return not_judged("active volume", "station", "plates: most_starts_per_hour", BY_SIZE)
    needed, draws, name, most = max(needs)
    return judge(
        "active volume",
        "station",
        volume,
        "at least",
        needed,
        "volume",
        (
            f"stop to lead start, against T D / (4 n): {value_text(most, '1/h', 'si')}, ",
            f"{name} draws ",
            Told(draws, "flow"),
            f", {n} taking turns" if n > 1 else _ALONE.get(rotation, ", the lead takes all starts"),
        ),
        VOLUME_SOURCE,
    )
