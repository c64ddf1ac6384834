"""Rules beyond types: what a station that can be run must hold, and what practice advises.

One function for each rule; each looks at a case and yields findings, errors or warnings, with what
to do and where the rule comes from. Rules of logic (an order without which the control makes no
sense) are errors; rules of practice are warnings, and every limit of practice is an example that
local codes and licensed designers may set otherwise.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from stationsim import units
from stationsim.control.staging import ALL_TOGETHER, StagingSettings
from stationsim.episode import Episode
from stationsim.equipment.pumps import PumpUnit
from stationsim.errors import HydraulicError
from stationsim.findings import Finding
from stationsim.inflow.segments import Segments
from stationsim.physics.operating import operating_point
from stationsim.station import Station

Findings = Iterator[Finding]

LOGIC = "follows from the sequence of control"
PRACTICE = "common practice, no source"
CYCLE = "least cycle 4 V / Q of one pump at an inflow of half its flow: closed form"

LEAST_SPACING_M = 0.15
"""Levels closer than this are hard to tell apart with floats and waves."""

LEAST_CYCLE_S = 60.0
"""A cycle shorter than this is taken for a slip in the levels or the shape of the well."""

MOST_TABLE_ROWS = 3_000_000

_RESERVED_NAMES = ("grid", "station", "panel", "day", "after")
_START_KEYS = ("lead_start", "lag_start", "second_lag_start", "third_lag_start", "standby_start")


@dataclass(frozen=True)
class Case:
    """What the rules look at.

    Parameters
    ----------
    station, episode
        As built.
    inflow
        All sources together.
    system
        Units of the messages: those that the file uses.
    """

    station: Station
    episode: Episode
    inflow: Segments
    system: units.System = "si"

    @property
    def staging(self) -> StagingSettings | None:
        """Settings of the built-in control by levels; None when another one decides."""
        settings = self.station.control.settings
        return settings if isinstance(settings, StagingSettings) else None

    @property
    def crest_m(self) -> float | None:
        """Level at which it spills [m]; None for never."""
        return None if self.station.spillway is None else self.station.spillway.crest_m

    def starts(self) -> list[tuple[str, float]]:
        """Return key and start level [m] of each call that is set, in the order of calling."""
        if self.staging is None:
            return []
        found = [(key, getattr(self.staging, f"{key}_m")) for key in _START_KEYS]
        return [(f"control.{key}", level) for key, level in found if level is not None]

    def level(self, level_m: float) -> str:
        """Return a level as text, in the units of the file."""
        above = "" if self.station.floor_elevation_m is None else " above the floor"
        return units.show(level_m, "level", self.system) + above

    def flow(self, flow_m3s: float) -> str:
        """Return a flow as text, in the units of the file."""
        return units.show(flow_m3s, "flow", self.system)

    def flow_of(self, pumps: Sequence[PumpUnit], level_m: float) -> float | None:
        """Return the flow of a lineup at a level [m3/s]; None when it cannot be found."""
        total = self.station.total_by_number_m3s
        if total is not None and len(total) < len(pumps):
            return None
        try:
            point = operating_point(pumps, self.station.force_main, level_m, total)
        except HydraulicError:
            return None
        return point.total_m3s

    def has_flows(self) -> bool:
        """Tell whether every pump has a flow that can be found."""
        if self.station.total_by_number_m3s is not None:
            return len(self.station.total_by_number_m3s) == len(self.station.pumps)
        return all(
            pump.fixed_flow_m3s is not None
            or (pump.curve is not None and self.station.force_main is not None)
            for pump in self.station.pumps
        )


def check(case: Case) -> list[Finding]:
    """Return the findings of all rules.

    Parameters
    ----------
    case
        What is to be looked at.
    """
    return [finding for rule in RULES for finding in rule(case)]


# levels ------------------------------------------------------------------------------------------


def stop_above_floor(case: Case) -> Findings:
    """The stop level lies above the floor, or the pumps would never be told to stop."""
    settings = case.staging
    if settings is not None and settings.stop_m <= 0.0:
        yield Finding(
            "control.stop",
            "error",
            "does not lie above the floor",
            case.level(settings.stop_m),
            "above the floor",
            "raise it",
            source=LOGIC,
        )


def starts_in_order(case: Case) -> Findings:
    """Start levels rise: stop < lead < lag < ... < standby."""
    if case.staging is None:
        return
    steps = [("control.stop", case.staging.stop_m), *case.starts()]
    for (low_key, low), (key, level) in pairwise(steps):
        if level <= low:
            yield Finding(
                key,
                "error",
                f"must lie above {low_key}",
                case.level(level),
                f"above {case.level(low)}",
                "raise this level or lower the other",
                margin=level - low,
                unit="m",
                source=LOGIC,
            )


def starts_without_gap(case: Case) -> Findings:
    """A later lag has no place when an earlier one is left out."""
    given = [key for key, _ in case.starts()]
    missing = ""
    for key in (f"control.{one}" for one in _START_KEYS[1:-1]):
        if key not in given:
            missing = missing or key
        elif missing:
            yield Finding(
                key,
                "error",
                f"is given, and {missing} is not",
                fix=f"give {missing} first",
                source=LOGIC,
            )


def starts_spaced(case: Case) -> Findings:
    """Levels lie at least 0.15 m apart."""
    if case.staging is None:
        return
    steps = [("control.stop", case.staging.stop_m), *case.starts()]
    if case.station.alarms.high_level_m is not None:
        steps.append(("alarms.high_level", case.station.alarms.high_level_m))
    for (low_key, low), (key, level) in pairwise(steps):
        gap = level - low
        if 0.0 < gap < LEAST_SPACING_M - 1e-9:
            yield Finding(
                key,
                "warning",
                f"lies close above {low_key}",
                case.level(gap),
                f"{case.level(LEAST_SPACING_M)} or more apart",
                "waves and floats may not tell the two apart; widen the gap",
                margin=gap - LEAST_SPACING_M,
                unit="m",
                source=PRACTICE,
            )


def no_more_calls_than_pumps(case: Case) -> Findings:
    """There is a pump for each start level."""
    starts, pumps = case.starts(), len(case.station.pumps)
    if len(starts) > pumps:
        yield Finding(
            starts[pumps][0],
            "error",
            "no pump is left for this start level",
            f"{len(starts)} start levels",
            f"{pumps}, one for each electric pump",
            "take it out, or add a pump",
            source=LOGIC,
        )


def starts_below_spill(case: Case) -> Findings:
    """A start level at or above the spill would not be reached before water is lost."""
    if case.crest_m is None:
        return
    for key, level in case.starts():
        if level >= case.crest_m:
            yield Finding(
                key,
                "error",
                "must lie below the spill",
                case.level(level),
                f"below {case.level(case.crest_m)}",
                "lower it",
                source=LOGIC,
                margin=case.crest_m - level,
                unit="m",
            )


def staged_stops_in_order(case: Case) -> Findings:
    """With staged stop each call ends below its start level, and later calls end higher."""
    settings = case.staging
    if settings is None:
        return
    keys = ("lag", "second_lag", "third_lag", "standby")
    staged = settings.stop_policy != ALL_TOGETHER
    last_key, last = "control.stop", settings.stop_m
    for key in keys:
        start, stop = getattr(settings, f"{key}_start_m"), getattr(settings, f"{key}_stop_m")
        place = f"control.{key}_stop"
        if stop is None:
            if staged and start is not None:
                yield Finding(
                    place,
                    "warning",
                    "is left out: this call ends at control.stop with the lead",
                    fix="give its stop level, or stop all together",
                    source=PRACTICE,
                )
            continue
        if start is None:
            yield Finding(
                place,
                "error",
                f"has no start level to go with it (control.{key}_start)",
                fix="add the start level or take this out",
                source=LOGIC,
            )
            continue
        if not staged:
            yield Finding(
                place,
                "warning",
                f'has no effect with stop_policy = "{ALL_TOGETHER}"',
                fix="take it out, or choose a staged stop",
                source=LOGIC,
            )
            continue
        if stop >= start:
            yield Finding(
                place,
                "error",
                f"must lie below control.{key}_start",
                case.level(stop),
                f"below {case.level(start)}",
                "lower it",
                margin=start - stop,
                unit="m",
                source=LOGIC,
            )
        if stop < last:
            yield Finding(
                place,
                "error",
                f"must not lie below {last_key}",
                case.level(stop),
                f"{case.level(last)} or above",
                "raise it",
                margin=stop - last,
                unit="m",
                source=LOGIC,
            )
        last_key, last = place, stop


def high_alarm_in_order(case: Case) -> Findings:
    """The high-level alarm lies above every start level and below the spill."""
    alarm = case.station.alarms.high_level_m
    if alarm is None:
        return
    for key, level in case.starts():
        if alarm <= level:
            yield Finding(
                "alarms.high_level",
                "error",
                f"must lie above {key}",
                case.level(alarm),
                f"above {case.level(level)}",
                "raise it",
                margin=alarm - level,
                unit="m",
                source=LOGIC,
            )
            break
    if case.crest_m is not None and alarm >= case.crest_m:
        yield Finding(
            "alarms.high_level",
            "error",
            "must lie below the spill",
            case.level(alarm),
            f"below {case.level(case.crest_m)}",
            "lower it",
            margin=case.crest_m - alarm,
            unit="m",
            source=LOGIC,
        )
    invert = case.station.inlet_invert_m
    if invert is not None and alarm > invert + 1e-9:
        yield Finding(
            "alarms.high_level",
            "warning",
            "lies above the inlet invert: the sewer backs up before anybody is told",
            case.level(alarm),
            f"at or below {case.level(invert)}",
            "lower it, unless the sewer is meant as storage",
            margin=invert - alarm,
            unit="m",
            source=PRACTICE,
        )


def low_alarm_below_stop(case: Case) -> Findings:
    """The low-level alarm lies below the stop level, or every pump-down raises it."""
    alarm = case.station.alarms.low_level_m
    if alarm is None:
        return
    if alarm <= 0.0:
        yield Finding(
            "alarms.low_level",
            "error",
            "does not lie above the floor",
            case.level(alarm),
            source=LOGIC,
        )
    if case.staging is not None and alarm >= case.staging.stop_m:
        yield Finding(
            "alarms.low_level",
            "warning",
            "does not lie below control.stop: every pump-down raises it",
            case.level(alarm),
            f"below {case.level(case.staging.stop_m)}",
            "lower it",
            margin=case.staging.stop_m - alarm,
            unit="m",
            source=PRACTICE,
        )


def spill_in_place(case: Case) -> Findings:
    """The spill lies above the floor, and no higher than the cover."""
    crest, cover = case.crest_m, case.station.cover_m
    if crest is None:
        return
    if crest <= 0.0:
        yield Finding(
            "spill.level", "error", "does not lie above the floor", case.level(crest), source=LOGIC
        )
    if cover is not None and crest > cover:
        yield Finding(
            "spill.level",
            "warning",
            "lies above the cover of the well",
            case.level(crest),
            f"at or below {case.level(cover)}",
            "water would leave at the cover first",
            margin=cover - crest,
            unit="m",
            source=PRACTICE,
        )


def start_level_in_range(case: Case) -> Findings:
    """The run begins with the level between the floor and the spill."""
    level, crest = case.episode.start_level_m, case.crest_m
    if level < 0.0:
        yield Finding(
            "episode.start_level", "error", "lies below the floor", case.level(level), source=LOGIC
        )
    if crest is not None and level > crest:
        yield Finding(
            "episode.start_level",
            "error",
            "lies above the spill",
            case.level(level),
            f"at or below {case.level(crest)}",
            "lower it",
            margin=crest - level,
            unit="m",
            source=LOGIC,
        )


# pumps -------------------------------------------------------------------------------------------


def pumps_named(case: Case) -> Findings:
    """Names of pumps can be told from the other words of an event."""
    for name in case.station.machine_names():
        place = f"pump.{name}" if name in [p.name for p in case.station.pumps] else "engine_pump"
        if not re.fullmatch(r"[A-Za-z0-9_-]{1,24}", name) or name.lower() in _RESERVED_NAMES:
            yield Finding(
                place,
                "error",
                "is no name for a pump",
                f"'{name}'",
                "1 to 24 letters, digits, _ or -, and none of " + ", ".join(_RESERVED_NAMES),
                "choose another, such as P1",
                source=LOGIC,
            )


def pumps_have_flows(case: Case) -> Findings:
    """Each pump has a flow, or a curve and a main to pump into, or the station's total counts."""
    station = case.station
    total = station.total_by_number_m3s
    machines = [(f"pump.{pump.name}", pump, total is not None) for pump in station.pumps]
    if station.engine_pump is not None:
        machines.append(("engine_pump", station.engine_pump.pump, False))
    for place, pump, counted in machines:
        if counted:
            if pump.fixed_flow_m3s is not None or pump.curve is not None:
                yield Finding(
                    place,
                    "error",
                    "has a flow or curve, and station.total_flow is given too",
                    fix="keep one of them",
                    source=LOGIC,
                )
        elif pump.fixed_flow_m3s is None and pump.curve is None:
            yield Finding(
                place,
                "error",
                "has neither flow nor curve",
                fix='add flow = "30 L/s", or a curve and [force_main]',
                source=LOGIC,
            )
        elif pump.curve is not None and station.force_main is None:
            yield Finding(
                place,
                "error",
                "has a curve and there is no [force_main] to pump into",
                fix="add [force_main], or give a flow in place of the curve",
                source=LOGIC,
            )


def total_flow_complete(case: Case) -> Findings:
    """The station's total has one value for each pump, and more pumps do not pump less."""
    total = case.station.total_by_number_m3s
    if total is None:
        return
    if len(total) != len(case.station.pumps):
        yield Finding(
            "station.total_flow",
            "error",
            "must have one value for each electric pump",
            f"{len(total)}",
            f"{len(case.station.pumps)}",
            source=LOGIC,
        )
    if total[:1] == (0.0,):
        yield Finding("station.total_flow", "error", "the first value is nought", source=LOGIC)
    if any(later < one for one, later in pairwise(total)):
        yield Finding(
            "station.total_flow",
            "warning",
            "falls with more pumps running",
            fix="check the order: one running, two running, ...",
            source=PRACTICE,
        )


def main_in_use(case: Case) -> Findings:
    """A force main counts only for pumps with a curve."""
    station = case.station
    machines = list(station.pumps)
    if station.engine_pump is not None:
        machines.append(station.engine_pump.pump)
    if station.force_main is not None and all(pump.curve is None for pump in machines):
        yield Finding(
            "force_main",
            "warning",
            "has no effect: no pump has a curve",
            fix="give curves in place of flows, or take it out",
            source=LOGIC,
        )


def pumps_can_lift(case: Case) -> Findings:
    """Each pump delivers at the highest level of control; at the stop level at least one does."""
    station, settings = case.station, case.staging
    if station.force_main is None or settings is None or not case.has_flows():
        return
    top = max(level for _, level in case.starts())
    unable = []
    for pump in station.pumps:
        if pump.curve is None:
            continue
        lift = station.force_main.discharge_level_m - settings.stop_m
        if (case.flow_of([pump], top) or 0.0) <= 0.0:
            yield Finding(
                f"pump.{pump.name}",
                "error",
                "cannot lift the water even at its highest start "
                "level: its shut-off head is below the static lift",
                _shutoff(case, pump),
                f"more than {units.show(lift, 'head', case.system)}",
                "check the curve, its speed and wear, and force_main.discharge",
                source=LOGIC,
            )
        elif (case.flow_of([pump], settings.stop_m) or 0.0) <= 0.0:
            unable.append(pump)
    verdict_all = len(unable) == len(station.pumps)
    for pump in unable:
        lift = station.force_main.discharge_level_m - settings.stop_m
        yield Finding(
            f"pump.{pump.name}",
            "error" if verdict_all else "warning",
            "cannot pump down to the stop level by itself",
            _shutoff(case, pump),
            f"more than {units.show(lift, 'head', case.system)}",
            "raise control.stop, or check the curve",
            source=LOGIC,
        )


def capacity_over_inflow(case: Case) -> Findings:
    """Firm capacity (largest pump out) covers the greatest inflow."""
    station = case.station
    if not case.has_flows():
        return
    level = max((level for _, level in case.starts()), default=case.episode.start_level_m)
    peak = _peak(case.inflow, case.episode.duration_s)
    everything = case.flow_of(station.pumps, level)
    if everything is None:
        return
    if peak > everything:
        yield Finding(
            "inflow",
            "warning",
            "the greatest inflow is more than all pumps together deliver: the level will rise",
            case.flow(peak),
            f"up to {case.flow(everything)}",
            margin=everything - peak,
            unit="m3/s",
            source=PRACTICE,
        )
        return
    if len(station.pumps) < 2:
        return
    rest = [
        case.flow_of([p for p in station.pumps if p is not out], level) for out in station.pumps
    ]
    firm = min(flow for flow in rest if flow is not None)
    if peak > firm:
        yield Finding(
            "inflow",
            "warning",
            "the greatest inflow is more than the firm capacity (largest pump out)",
            case.flow(peak),
            f"up to {case.flow(firm)}",
            margin=firm - peak,
            unit="m3/s",
            source=PRACTICE,
        )


def cycle_not_tiny(case: Case) -> Findings:
    """The volume between stop and lead start gives a cycle of a minute or more."""
    settings = case.staging
    if settings is None or not case.has_flows() or settings.stop_m >= settings.lead_start_m:
        return
    well = case.station.well
    active = well.volume_at(settings.lead_start_m) - well.volume_at(settings.stop_m)
    flows = [case.flow_of([pump], settings.lead_start_m) or 0.0 for pump in case.station.pumps]
    flow = max(flows)
    if flow > 0.0 and 4.0 * active / flow < LEAST_CYCLE_S:
        cycle = units.show(4.0 * active / flow, "duration", case.system)
        yield Finding(
            "control.lead_start",
            "warning",
            "the volume between stop and lead start is tiny for "
            "this pump: the shortest cycle is very short",
            cycle,
            f"{LEAST_CYCLE_S:g} s or more",
            "move the levels apart; check the shape of the well",
            source=CYCLE,
        )


def engine_in_order(case: Case) -> Findings:
    """The engine-driven pump stops below its start level and starts below the spill."""
    engine = case.station.engine_pump
    if engine is None:
        return
    if engine.stop_level_m <= 0.0:
        yield Finding(
            "engine_pump.stop",
            "error",
            "does not lie above the floor",
            case.level(engine.stop_level_m),
            source=LOGIC,
        )
    if engine.stop_level_m >= engine.start_level_m:
        yield Finding(
            "engine_pump.stop",
            "error",
            "must lie below engine_pump.start",
            case.level(engine.stop_level_m),
            f"below {case.level(engine.start_level_m)}",
            "lower it",
            source=LOGIC,
        )
    if case.crest_m is not None and engine.start_level_m >= case.crest_m:
        yield Finding(
            "engine_pump.start",
            "error",
            "must lie below the spill",
            case.level(engine.start_level_m),
            f"below {case.level(case.crest_m)}",
            "lower it",
            source=LOGIC,
        )
    if engine.tank_m3 != float("inf") and engine.fuel_m3_per_s == 0.0:
        yield Finding(
            "engine_pump.tank",
            "warning",
            "has no effect without engine_pump.fuel_rate",
            fix="add the fuel rate",
            source=LOGIC,
        )


# episode -----------------------------------------------------------------------------------------


def table_of_levels_sane(case: Case) -> Findings:
    """The table of levels has more than one row, and not millions."""
    interval, duration = case.episode.table_interval_s, case.episode.duration_s
    if duration / interval > MOST_TABLE_ROWS:
        yield Finding(
            "episode.table_interval",
            "error",
            "would give too many rows of levels",
            f"{duration / interval:.3g}",
            f"at most {MOST_TABLE_ROWS}",
            "lengthen it",
            source=LOGIC,
        )
    if interval > duration:
        yield Finding(
            "episode.table_interval",
            "warning",
            "is longer than the episode",
            units.show(interval, "duration", case.system),
            f"up to {units.show(duration, 'duration', case.system)}",
            "shorten it",
            source=LOGIC,
        )


def something_arrives(case: Case) -> Findings:
    """Without any inflow there is nothing to see."""
    if case.inflow.volume_m3(case.episode.duration_s) <= 0.0:
        yield Finding(
            "inflow",
            "warning",
            "no water arrives in the whole episode",
            fix="check its times",
            source=LOGIC,
        )


def rotation_has_time(case: Case) -> Findings:
    """A change of the lead by the clock leaves time to pump between two changes."""
    every_s = getattr(case.station.control.rotation_settings, "every_s", None)
    if case.station.control.rotation == "clock" and every_s is not None and every_s < 60.0:
        yield Finding(
            "rotation.every",
            "error",
            "is too short to pump between two changes of the lead",
            units.show(every_s, "duration", case.system),
            "60 s or more",
            "lengthen it",
            source=LOGIC,
        )


RULES = (
    stop_above_floor,
    starts_in_order,
    starts_without_gap,
    starts_spaced,
    no_more_calls_than_pumps,
    starts_below_spill,
    staged_stops_in_order,
    high_alarm_in_order,
    low_alarm_below_stop,
    spill_in_place,
    start_level_in_range,
    pumps_named,
    pumps_have_flows,
    total_flow_complete,
    main_in_use,
    pumps_can_lift,
    capacity_over_inflow,
    cycle_not_tiny,
    engine_in_order,
    table_of_levels_sane,
    something_arrives,
    rotation_has_time,
)
"""Every rule, in the order of the file."""


def _peak(inflow: Segments, until_s: float) -> float:
    """Return the greatest flow up to a time [m3/s]: pieces are linear, so at an end of a piece."""
    inside = inflow.start_s < until_s
    starts = inflow.start_s[inside]
    ends = np.append(starts[1:], until_s)
    first = inflow.flow_m3s[inside]
    last = first + inflow.slope_m3s2[inside] * (ends - starts)
    return float(max(first.max(), last.max()))


def _shutoff(case: Case, pump: PumpUnit) -> str:
    curve = pump.curve_now()
    return "" if curve is None else units.show(curve.shutoff_m, "head", case.system)
