"""The benchmark of chance: the station-year with most of the catalogue armed, beside it without.

    python tests/benchmarks/armed_year.py [DAYS]

The kinds of trouble of the catalogue whose subject stands there are armed, each at a rate of its
own, for each pump and each instrument. Left out are a level signal that drifts, jumps or lags,
which would have to be read at every scan; what befalls an engine-driven pump, a generator or a
transfer switch, for this station has none; and, with constant pumps, air in the main and a broken
main, which need its curve. The station is that of ``station_year`` with a crest to spill over, so
that a pump house that stands still fills no tower, and an alarm of high level. Every eighth hour
somebody presses all resets, and once a month a crew puts everything right; so it is in both runs.
Rates and times are invented, of the order that a small station knows; they are no data.

Timings are printed, never asserted; the counts are (``tests/test_benchmarks.py``).
"""

from __future__ import annotations

import sys
from collections import Counter
from dataclasses import replace
from typing import Any, Literal, NamedTuple

import station_year

from stationsim.chance import Range
from stationsim.episode import Episode, RandomFault, ScriptedEvent
from stationsim.equipment.faults import CATALOGUE, ENGINE, MACHINE, PUMP
from stationsim.physics.spill import Spillway
from stationsim.simulation.session import Session
from stationsim.station import AlarmSettings, Station
from stationsim.trace import Trace

YEAR_S = 365.0 * 86400.0
RUNNING_PART = 0.19
"""Part of the year that a pump of this station runs: rates by the year go by its hours."""

SCANNED = frozenset({"level signal drifting", "level signal noisy", "level signal late"})
"""Not armed: an instrument that has to be read at every scan."""


class Rate(NamedTuple):
    """How often a kind of trouble comes, and how long it stays.

    Parameters
    ----------
    per_year
        Times a year, for each subject; for a demand, the probability.
    hours
        Least, typical and greatest time until it is over [h].
    basis
        What the rate is counted by.
    more
        What goes with the event: its number.
    """

    per_year: float
    hours: tuple[float, float, float]
    basis: Literal["calendar", "running", "demand"] = "calendar"
    more: dict[str, Any] = {}  # noqa: RUF012  (read only)


RATES: dict[str, Rate] = {
    "fails": Rate(1.0, (0.5, 3, 24), "running"),
    "overload": Rate(2.0, (0.5, 2, 12), "running"),
    "high temperature": Rate(1.0, (0.3, 1, 2), "running"),
    "seal leak": Rate(0.2, (1, 2, 3), "running"),
    "seal leak into motor": Rate(0.1, (8, 24, 96), "running"),
    "fails to start": Rate(0.0003, (0.5, 3, 12), "demand"),
    "clogged": Rate(3.0, (4, 12, 48), "running", {"flow_left": 0.6}),
    "ragging": Rate(4.0, (12, 24, 72), "running", {"amount": 0.1, "per_s": 7200.0}),
    "wearing": Rate(0.5, (200, 2000, 4000), "running", {"amount": 0.05, "per_s": 3.6e6}),
    "turning backwards": Rate(0.1, (4, 24, 96), "calendar", {"flow_left": 0.5}),
    "air-bound": Rate(1.0, (1, 4, 24), "running"),
    "check valve open": Rate(0.5, (4, 12, 48), "running", {"amount": 0.4}),
    "check valve slow": Rate(0.5, (24, 96, 400), "running", {"amount": 8.0}),
    "plug valve closed": Rate(0.3, (0.5, 4, 12), "calendar", {"flow_left": 0.3}),
    "fails to prime": Rate(0.01, (1, 4, 24), "demand"),
    "battery flat": Rate(0.01, (4, 24, 96), "demand"),
    "level signal frozen": Rate(2.0, (0.1, 0.5, 2)),
    "level signal lost": Rate(2.0, (0.1, 0.5, 2)),
    "level signal off": Rate(1.0, (4, 24, 96), "calendar", {"amount": 0.1}),
    "float stuck up": Rate(0.5, (1, 12, 48)),
    "float stuck down": Rate(0.5, (1, 12, 48)),
    "float late": Rate(0.5, (24, 96, 400), "calendar", {"amount": 60.0}),
    "controller stopped": Rate(1.0, (0.1, 0.5, 2)),
    "control breaker open": Rate(0.3, (0.5, 1, 6)),
    "telemetry lost": Rate(6.0, (0.1, 1, 12)),
    "alarm off": Rate(0.5, (1, 12, 96)),
    "grid loss": Rate(4.0, (0.02, 1, 6)),
    "grid sag": Rate(12.0, (2e-5, 1e-4, 4e-4)),
    "phase lost": Rate(0.3, (0.1, 1, 6)),
    "transfer switch stuck": Rate(0.2, (1, 12, 48)),
    "generator fails": Rate(0.5, (1, 4, 24)),
    "generator fails to start": Rate(0.01, (1, 12, 48), "demand"),
    "generator late": Rate(0.5, (24, 96, 400), "calendar", {"amount": 45.0}),
    "main air": Rate(1.0, (4, 24, 96), "calendar", {"amount": 2.0}),
    "main leak": Rate(0.5, (24, 240, 2400), "calendar", {"amount": 0.08}),
    "main broken": Rate(0.1, (4, 12, 48), "calendar", {"amount": 0.4}),
    "main plugged": Rate(0.3, (4, 12, 48), "calendar", {"flow_left": 0.7}),
    "downstream dark": Rate(1.0, (0.1, 1, 4)),
    "downstream limited": Rate(2.0, (0.5, 4, 12), "calendar", {"amount": 1.0}),
}
"""Kind of trouble -> how often and how long."""


def station(*, curves: bool) -> Station:
    """Return the station of ``station_year`` with a crest and an alarm."""
    return replace(
        station_year.station(curves=curves),
        spillway=Spillway(2.6),
        alarms=AlarmSettings(high_level_m=2.2),
    )


def visited(days: int) -> Episode:
    """Return the episode of ``station_year`` with resets and crews."""
    names = ("P1", "P2", "P3")
    resets = [
        ScriptedEvent(shift * 28800.0 + 25200.0, "reset", name)
        for shift in range(3 * days)
        for name in names
    ]
    crews = [
        ScriptedEvent(month * 30 * 86400.0 + 32400.0, "put right", name)
        for month in range(days // 30 + 1)
        for name in (*names, "force main", "level sensor")
    ]
    return replace(station_year.episode(days), events=(*resets, *crews))


def subjects(what: Station, whose: str) -> tuple[str, ...]:
    """Return what stands there of a subject of the catalogue."""
    pumps = tuple(pump.name for pump in what.pumps)
    engine = () if what.engine_pump is None else (what.engine_pump.pump.name,)
    power = what.standby_power
    floats = () if what.backup_floats is None else ("start float", "stop float")
    floats += () if what.alarms.high_level_m is None else ("high level float",)
    floats += () if what.alarms.low_level_m is None else ("low level float",)
    fixed = power is not None and power.generator is not None
    found: dict[str, tuple[str, ...]] = {
        PUMP: pumps,
        ENGINE: engine,
        MACHINE: pumps + engine,
        "float": floats,
        "alarm": ("high level", "pump failed"),
        "transfer switch": ("transfer switch",) if fixed else (),
        "generator": ("generator",) if fixed else (),
        "mobile generator": () if power is None or power.mobile is None else (whose,),
    }
    return found.get(whose, (whose,))


def armed(what: Station, when: Episode) -> Episode:
    """Return the episode with all troubles armed that can befall it, but those scanned."""
    handled = set(Session(what, when)._plant.trouble.kinds())
    faults = []
    for entry in CATALOGUE:
        hydraulic = entry.kind in ("main air", "main broken") and what.force_main is None
        if not entry.trouble or entry.kind in SCANNED or entry.kind not in handled or hydraulic:
            continue
        rate = RATES[entry.kind]
        by_s = {"calendar": YEAR_S, "running": YEAR_S * RUNNING_PART, "demand": 1.0}[rate.basis]
        for subject in subjects(what, entry.subject):
            event = ScriptedEvent(0.0, entry.kind, subject, **rate.more)
            lasts = Range(*(3600.0 * hours for hours in rate.hours))
            name = f"{subject} {entry.kind}"
            faults.append(RandomFault(name, (event,), rate.basis, rate.per_year / by_s, lasts))
    return replace(when, random=tuple(faults))


def came(when: Episode, trace: Trace) -> Counter[str]:
    """Return how often each kind of trouble came."""
    kinds = {fault.name: fault.events[0].kind for fault in when.random}
    return Counter(kinds[row.detail] for row in trace.events if row.event == "random fault")


def main(days: int) -> None:
    """Run and print."""
    for name, curves in (("constant pumps", False), ("curve pumps", True)):
        what = station(curves=curves)
        plain = visited(days)
        when = armed(what, plain)
        # in turn, and the least of each: the machine has other things to do as well
        took: dict[str, list[float]] = {"without": [], "armed": []}
        for _ in range(3):
            for label, episode in (("without", plain), ("armed", when)):
                spent, trace = station_year.ours(what, episode)
                took[label].append(spent)
                assert trace.balance_error < 1e-9
                if label == "armed":
                    kept = trace
                else:
                    starts = len(trace.runs)
        counts = came(when, kept)
        without, with_all = min(took["without"]), min(took["armed"])
        print(f"{name}, {days} days: {without:.2f} s without, {starts} starts  = 1.00")
        kinds = {fault.events[0].kind for fault in when.random}
        what_is_armed = f"{len(when.random)} faults of {len(kinds)} kinds"
        took_text = f"{with_all:.2f} s, {len(kept.runs)} starts  = {with_all / without:.2f}"
        print(f"   armed with {what_is_armed}: {took_text}")
        told = ", ".join(f"{kind} {n}" for kind, n in counts.most_common())
        print(f"   {sum(counts.values())} came: {told}")
        print(f"   crossings {kept.advances}, lineups {len(kept.lineups)}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 365)
