"""Rules of what stands by when something fails: backup floats, and the start of an engine."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationsim import units
from stationsim.findings import Finding
from stationsim.scenario.case import LOGIC, PRACTICE, Case, Findings

if TYPE_CHECKING:
    from stationsim.equipment.engine_pump import EnginePump

MOST_CRANK_TRIES = 50
LONGEST_CRANK_S = 60.0
"""A starter that cranks longer than this in one go is taken for a slip."""

LONGEST_START_S = 1800.0
"""A start that may take longer than this, with every try used, is taken for a slip."""


def floats_in_order(case: Case) -> Findings:
    """Check that the stop float hangs between floor and stop level, the start float above both."""
    floats = case.station.backup_floats
    if floats is None:
        return
    if floats.stop_m <= 0.0:
        yield _refused(
            "backup_floats.stop",
            "does not lie above the floor",
            case.level(floats.stop_m),
            case.reference.above(0.0),
            "raise it",
        )
    if floats.start_m <= floats.stop_m:
        yield _refused(
            "backup_floats.start",
            "must lie above backup_floats.stop",
            case.level(floats.start_m),
            case.reference.above(floats.stop_m),
            "raise it",
        )
    if case.crest_m is not None and floats.start_m >= case.crest_m:
        yield _refused(
            "backup_floats.start",
            "must lie below the spill",
            case.level(floats.start_m),
            case.reference.below(case.crest_m),
            "lower it",
        )
    if case.staging is not None and floats.stop_m >= case.staging.stop_m:
        yield _refused(
            "backup_floats.stop",
            "must lie below control.stop, or it ends every pump-down",
            case.level(floats.stop_m),
            case.reference.below(case.staging.stop_m),
            "lower it",
        )
    starts = case.starts()
    key, top = max(starts, key=lambda one: one[1], default=("", 0.0))
    if starts and floats.start_m <= top:
        yield _refused(
            "backup_floats.start",
            f"must lie above every start level, and {key} is as high or higher",
            case.level(floats.start_m),
            case.reference.above(top),
            "raise it, so that floats only take over when the control has not",
        )


def engine_start_sane(case: Case) -> Findings:
    """Check that an engine is cranked, not for too long, and is up within sane time."""
    for place, engine in case.engines():
        yield from _start_sane(case, place, engine)


def _start_sane(case: Case, place: str, engine: EnginePump) -> Findings:
    tries = engine.crank_tries
    if not 1 <= tries <= MOST_CRANK_TRIES:
        yield _refused(
            f"{place}.crank_tries",
            "an engine is cranked once or a few times",
            f"{tries}",
            f"1 to {MOST_CRANK_TRIES}",
            "3 is usual",
        )
        return
    if engine.crank_s > LONGEST_CRANK_S:
        yield Finding(
            f"{place}.crank_time",
            "warning",
            "is long for a starter",
            units.show(engine.crank_s, "duration", case.system),
            f"up to {units.show(LONGEST_CRANK_S, 'duration', case.system)}",
            "shorten it, and let it rest between tries",
            source=PRACTICE,
        )
    takes_s = engine.start_delay_s + tries * engine.crank_s + (tries - 1) * engine.crank_rest_s
    takes_s += engine.warm_up_s + engine.prime_s
    if takes_s > LONGEST_START_S:
        yield Finding(
            place,
            "warning",
            "its start, with every try used, takes very long",
            units.show(takes_s, "duration", case.system),
            f"up to {units.show(LONGEST_START_S, 'duration', case.system)}",
            "check start_delay, crank_tries, crank_time, crank_rest, warm_up and prime",
            source=PRACTICE,
        )


def _refused(place: str, reason: str, value: str, limit: str, fix: str) -> Finding:
    return Finding(place, "error", reason, value, limit, fix, source=LOGIC)
