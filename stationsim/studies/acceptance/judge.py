"""The verdict on readings: each against what is accepted, with what the reading can tell.

A reading inside what is accepted passes. Outside it, but not by more than its own uncertainty, it
is unclear and wants to be read again. Further outside it fails. What was not read is not judged.

Some verdicts are on what several readings tell together: the flow by drawdown, the meter against
it, the point that a pump works at against its own curve, and the balance of the three phases.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Literal, NamedTuple

from stationsim.findings import Finding
from stationsim.physics.gauge import column_m
from stationsim.studies.acceptance.drawn import DrawnFlow, at_level, drawdowns
from stationsim.studies.acceptance.expected import (
    IMBALANCE_PART,
    IMBALANCE_SOURCE,
    METER_PART,
    METER_SOURCE,
    Expected,
)
from stationsim.studies.acceptance.reading import SI_UNITS
from stationsim.units import Kind, Shown, from_si, show, shown_unit

if TYPE_CHECKING:
    from stationsim.physics.pumps import HeadCurve
    from stationsim.station import Station
    from stationsim.studies.acceptance.reading import Measure, Reading, Taken
    from stationsim.studies.acceptance.rig import Rig
    from stationsim.units import System

Standing = Literal["pass", "unclear", "fail", "not judged"]

NOT_READ = "not read"
"""What is said of a reading that was asked for and not taken."""

BASELINE = "kept as a baseline"
"""What is said of a reading of which nothing is expected."""

_NEXT_TO = 1e-9
_PLANNED = "left blank: the planned one holds"


class Verdict(NamedTuple):
    """One verdict.

    Parameters
    ----------
    name
        The reading, or what several tell together: ``P1 alone: flow by drawdown``.
    test, subject
        As in a reading.
    standing
        ``pass``, ``unclear``, ``fail`` or ``not judged``.
    value, expected, low, high, uncertainty
        In SI; NaN when there is none.
    measure
        What they are.
    why
        What there is to say about it, in SI or without a quantity; may be empty.
    source
        Where the tolerance comes from.
    """

    name: str
    test: str
    subject: str
    standing: Standing
    value: float
    expected: float
    low: float
    high: float
    uncertainty: float
    measure: Measure | Literal["part", "head"]
    why: str
    source: str

    @property
    def is_baseline(self) -> bool:
        """Whether it was read, and nothing is expected of it."""
        return self.standing == "not judged" and not math.isnan(self.value)

    @property
    def margin(self) -> float:
        """How far the value is inside what is accepted, in SI; below nought outside; or NaN."""
        return min(self.value - self.low, self.high - self.value)

    def text(self, value: float, station: Station, system: System) -> str:
        """Return one of its values for people to read.

        Parameters
        ----------
        value
            In SI.
        station
            What stands there: levels are counted as it counts them.
        system
            ``si`` or ``us``.
        """
        if not math.isfinite(value):
            return "" if math.isnan(value) else "any"
        if self.measure == "yes or no":
            return "yes" if value > 0.5 else "no"
        if self.measure == "part":
            return f"{100.0 * value:.1f} %"
        if self.measure == "duration" and value < 600.0:
            return f"{value:.0f} s"
        shown = station.shown_m(value) if self.measure == "level" else value
        if self._hides(self.measure, station, system):
            unit = shown_unit(self.measure, system)
            measure = self.measure
            kind: Kind = "length" if measure == "level" or measure == "head" else measure  # noqa: PLR1714 - narrows
            return f"{from_si(shown, unit, kind):.5g} {unit}"
        return show(shown, self.measure, system)

    def _hides(self, kind: Shown, station: Station, system: System) -> bool:
        """Return whether rounding hides that the value is outside: then more digits are shown."""
        if kind == "duration" or self.standing not in ("fail", "unclear"):
            return False
        each = [
            show(station.shown_m(x) if kind == "level" else x, kind, system)
            for x in (self.value, self.low, self.high)
            if math.isfinite(x)
        ]
        return len(set(each)) < len(each)

    def accepted(self, station: Station, system: System) -> str:
        """Return what is accepted, for people to read.

        Parameters
        ----------
        station, system
            As in :meth:`text`.
        """
        if self.measure == "yes or no":
            return "yes"
        low, high = self.low, self.high
        if self.measure == "level" and station.levels_shown == "below cover":
            low, high = high, low
        below, above = (self.text(value, station, system) for value in (low, high))
        if math.isnan(low) or not math.isfinite(low):
            return f"at most {above}"
        if math.isinf(high):
            return f"at least {below}"
        return f"{below} to {above}"

    def finding(self, station: Station, system: System) -> Finding:
        """Return it as a finding.

        Parameters
        ----------
        station, system
            As in :meth:`text`.
        """
        known = self.standing != "not judged"
        measured = not math.isnan(self.value)
        plain = known and self.measure != "yes or no"
        return Finding(
            place=self.name,
            verdict=self.standing,
            reason=self.why,
            value=self.text(self.value, station, system) if measured else "",
            limit=self.accepted(station, system) if known else "",
            margin=self.margin if plain else None,
            unit=SI_UNITS[self.measure] if plain else "",
            source=self.source,
        )


def standing_of(value: float, low: float, high: float, uncertainty: float) -> Standing:
    """Return how a value stands to what is accepted.

    Parameters
    ----------
    value, low, high
        In one unit [any].
    uncertainty
        How far the value may be off, in the same unit [any].
    """
    if math.isnan(low) and math.isnan(high):
        return "not judged"
    slack = _NEXT_TO * max((abs(x) for x in (low, high) if math.isfinite(x)), default=0.0)
    outside = max(low - value, value - high)
    if outside <= slack:
        return "pass"
    return "unclear" if outside <= uncertainty + slack else "fail"


def verdicts(expected: Expected, sheet: Sequence[Reading], taken: Sequence[Taken]) -> list[Verdict]:
    """Return the verdict on every reading of the sheet, and on what several tell together.

    Parameters
    ----------
    expected
        What should be.
    sheet
        All readings that were asked for.
    taken
        Those that were taken.
    """
    station = expected.rig.station
    by_name = {one.reading.name: one for one in taken}
    falls = {one.test: one for one in drawdowns(taken, station)}
    found: list[Verdict] = []
    for reading in sheet:
        found.append(_of_reading(reading, by_name.get(reading.name), timed=reading.test in falls))
        if reading.what == "fall" and reading.test in falls:
            found.extend(_of_fall(expected, falls[reading.test], by_name, sheet))
    found.extend(_phases(sheet, by_name))
    found.extend(_points(expected, sheet, by_name, falls))
    return found


def _of_reading(reading: Reading, one: Taken | None, *, timed: bool) -> Verdict:
    value = math.nan if one is None else one.value
    off = reading.uncertainty if one is None else one.uncertainty
    standing: Standing = "not judged"
    low, high, why = reading.low, reading.high, "" if one is None else one.note
    if one is None:
        why = _PLANNED if reading.what == "drop" else NOT_READ
    elif reading.what == "fall" and timed:
        why = "see the flow by drawdown"
    elif reading.what in ("rise before", "rise after", "drop"):
        why = "counts in the flow by drawdown"
    elif reading.is_baseline:
        why = f"{BASELINE}; {why}" if why else BASELINE
    else:
        standing = standing_of(value, low, high, off)
        if standing == "unclear":
            again = "outside, but by no more than the reading may be off: read it again"
            why = f"{again}; {why}" if why else again
    return Verdict(
        reading.name, reading.test, reading.subject, standing, value, reading.expected, low, high,
        off, reading.measure, why, reading.source,
    )  # fmt: skip


def _of_fall(
    expected: Expected,
    drawn: DrawnFlow,
    by_name: dict[str, Taken],
    sheet: Sequence[Reading],
) -> Iterator[Verdict]:
    """Yield the verdict on a flow by drawdown, and on the meter against it."""
    rig, tolerance = expected.rig, expected.tolerance(drawn.machines)
    flow, off = drawn.found.flow_m3s, drawn.found.uncertainty_m3s
    should = _mean_flow(rig, drawn)
    low, high = should * (1.0 - tolerance.flow_low), should * (1.0 + tolerance.flow_high)
    subject = drawn.test.removesuffix(" alone")
    comes = next(
        (r.expected for r in sheet if r.test == drawn.test and r.what == "rise before"), math.nan
    )
    standing, why = standing_of(flow, low, high, off), ""
    if drawn.rises == 0 and not math.isnan(comes):
        # the plan says that water comes in, and nobody timed it
        planned, volume_at = expected.fall, rig.station.well.volume_at
        inflow = (volume_at(planned.from_m) - volume_at(planned.to_m)) / comes
        part = inflow / (flow + inflow)
        standing = "unclear"
        why = (
            "no rise was timed, so the inflow is left out: with the inflow reckoned for that hour"
            f" it reads {100.0 * part:.1f} % low"
        )
    elif drawn.rises:
        part = drawn.found.part_left_out
        why = f"with the inflow of the rises; without it, it would read {100.0 * part:.1f} % low"
    if standing == "unclear" and not why.startswith("no rise"):
        again = "outside, but by no more than the reading may be off: time it again"
        why = f"{again}; {why}" if why else again
    yield Verdict(
        f"{drawn.test}: flow by drawdown", drawn.test, subject, standing, flow, should, low, high,
        off, "flow", why, tolerance.source,
    )  # fmt: skip
    meters = [
        one
        for one in by_name.values()
        if one.reading.test == drawn.test and one.reading.what == "meter flow"
    ]
    if meters:
        # the flow at the levels of the meter's readings is another than the mean over the fall
        parts = [
            one.value / here
            for one in meters
            if (here := rig.point(drawn.machines, one.reading.level_m).total_m3s) > 0.0
        ]
        if not parts or flow <= 0.0:
            return
        of_meter = sum(parts) / len(parts) * should
        off_meter = max(one.uncertainty for one in meters)
        ratio = of_meter / flow - 1.0
        off_part = math.hypot(off_meter / of_meter, off / flow) * (1.0 + ratio) if of_meter else 0.0
        state = standing_of(ratio, -METER_PART, METER_PART, off_part)
        if drawn.rises == 0 and not math.isnan(comes):
            state = "unclear"
        yield Verdict(
            f"{drawn.test}: flow meter over drawdown", drawn.test, "flow meter", state, ratio, 0.0,
            -METER_PART, METER_PART, off_part, "part", "meter less drawdown, over drawdown",
            METER_SOURCE,
        )  # fmt: skip


def _mean_flow(rig: Rig, drawn: DrawnFlow) -> float:
    """Return the mean flow over a fall, with what came in meanwhile [m3/s]."""
    well, inflow = rig.station.well, drawn.found.inflow_m3s
    took_s = rig.fall_s(drawn.machines, *drawn.fall, inflow)
    if math.isinf(took_s):
        return rig.drawn_m3s(drawn.machines, *drawn.fall)
    return (well.volume_at(drawn.fall.from_m) - well.volume_at(drawn.fall.to_m)) / took_s + inflow


def _phases(sheet: Sequence[Reading], by_name: dict[str, Taken]) -> Iterator[Verdict]:
    """Yield how far the phases of each motor are out of balance."""
    by_pump: dict[str, list[Reading]] = {}
    for reading in sheet:
        if reading.what == "current":
            by_pump.setdefault(reading.test, []).append(reading)
    for test, readings in by_pump.items():
        read = [by_name[one.name] for one in readings if one.name in by_name]
        if len(readings) < 3 or len(read) < 3:
            continue
        mean = sum(one.value for one in read) / len(read)
        if mean <= 0.0:
            continue
        worst = max(abs(one.value - mean) for one in read) / mean
        # one clamp meter reads all three: only its scatter counts, about a third of what it may be
        off = max(one.uncertainty for one in read) / mean / 3.0
        state = standing_of(worst, 0.0, IMBALANCE_PART, off)
        yield Verdict(
            f"{test}: balance of the phases", test, readings[0].subject, state, worst, 0.0, 0.0,
            IMBALANCE_PART, off, "part", "farthest of a phase from the mean", IMBALANCE_SOURCE,
        )  # fmt: skip


def _points(
    expected: Expected,
    sheet: Sequence[Reading],
    by_name: dict[str, Taken],
    falls: dict[str, DrawnFlow],
) -> Iterator[Verdict]:
    """Yield how each pump that was read alone stands to its own curve, whatever the main does."""
    rig = expected.rig
    if expected.plan.pump_gauge is None:
        return
    for reading in sheet:
        one = by_name.get(reading.name)
        if reading.what != "pump pressure" or one is None:
            continue
        (machine,) = reading.machines
        curve = rig.units[machine].curve_now()
        flow = _flow_at(reading, by_name, falls, sheet, expected)
        if curve is None or flow is None:
            continue
        head = rig.pump_head_m(one.value, machine, reading.level_m, flow.value)
        tolerance = expected.tolerance((machine,))
        should = _head_on(curve, flow.value)
        if flow.value > curve.end_m3s:
            note = "; beyond the last point of its curve, which is drawn on straight"
        else:
            note = ""
        # accepted by its head at that flow, or by its flow at that head: whichever is kinder
        low = min(
            should * (1.0 - tolerance.head_low),
            _head_on(curve, flow.value / max(1.0 - tolerance.flow_low, _NEXT_TO)),
        )
        high = max(
            should * (1.0 + tolerance.head_high),
            _head_on(curve, flow.value / (1.0 + tolerance.flow_high)),
        )
        slope = abs(_head_on(curve, flow.value * 1.01) - _head_on(curve, flow.value * 0.99)) / (
            0.02 * flow.value
        )
        off = math.hypot(column_m(one.uncertainty), slope * flow.off)
        name = reading.name.replace("gauge of the pump", "head against its curve")
        yield Verdict(
            name, reading.test, reading.subject, standing_of(head, low, high, off), head, should,
            low, high, off, "head", f"at the flow by {flow.by}; the main has no part in it{note}",
            tolerance.source,
        )  # fmt: skip


class _Flow(NamedTuple):
    """A flow that was read, how far it may be off, and by what it was read."""

    value: float
    off: float
    by: str


def _flow_at(
    reading: Reading,
    by_name: dict[str, Taken],
    falls: dict[str, DrawnFlow],
    sheet: Sequence[Reading],
    expected: Expected,
) -> _Flow | None:
    """Return the flow that goes with a gauge: by meter at the same level, else by drawdown."""
    for other in sheet:
        same = other.test == reading.test and other.level_m == reading.level_m
        if same and other.what == "meter flow" and other.name in by_name:
            one = by_name[other.name]
            return _Flow(one.value, one.uncertainty, "meter") if one.value > 0.0 else None
    drawn = falls.get(reading.test)
    if drawn is None or drawn.found.flow_m3s <= 0.0:
        return None
    here = at_level(drawn, expected.rig, reading.level_m)
    return None if here is None else _Flow(*here, "drawdown")


def _head_on(curve: HeadCurve, flow_m3s: float) -> float:
    return max(curve.head_at(flow_m3s), 0.0)
