"""The sheet in words: lines for the screen, and what a person would say about the day."""

from __future__ import annotations

import math
from collections import Counter
from typing import TYPE_CHECKING

from stationsim.studies.acceptance.lineups import middle_of
from stationsim.units import show
from stationsim.wording import listed

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from stationsim.studies.acceptance.day import Day
    from stationsim.units import System


_WORKING_S = 10.0 * 3600.0


def clock_text(clock_s: float) -> str:
    """Return a time of the day, with the days after the first.

    Parameters
    ----------
    clock_s
        Seconds after the midnight before the day [s].
    """
    if math.isnan(clock_s):
        return ""
    days, minutes = divmod(round(clock_s / 60.0), 1440)
    text = f"{minutes // 60:02d}:{minutes % 60:02d}"
    return text if days == 0 else f"day {days + 1} {text}"


def seconds_text(value_s: float) -> str:
    """Return a time that is taken by stopwatch.

    Parameters
    ----------
    value_s
        The time [s].
    """
    if math.isnan(value_s):
        return "-"
    if math.isinf(value_s):
        return "never"
    return f"{value_s:.0f} s"


def quantity(value: float, kind: str, system: System) -> str:
    """Return a quantity for people; a dash when there is none.

    Parameters
    ----------
    value
        In SI.
    kind
        A kind of ``units.Shown``.
    system
        ``si`` or ``us``.
    """
    return "-" if math.isnan(value) else show(value, kind, system)  # type: ignore[arg-type]


def grid(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> list[str]:
    """Return rows of text in columns: the first to the left, the others to the right.

    Parameters
    ----------
    heads
        Names of the columns.
    rows
        The cells.
    """
    whole = [tuple(heads), *(tuple(row) for row in rows)]
    wide = [max(len(row[n]) for row in whole) for n in range(len(heads))]
    return [
        "  ".join(
            f"{cell:<{wide[n]}}" if n == 0 else f"{cell:>{wide[n]}}" for n, cell in enumerate(row)
        ).rstrip()
        for row in whole
    ]


def sheet_lines(day: Day, system: System) -> list[str]:
    """Return the day for the screen: order and water, then what each lineup should show.

    Parameters
    ----------
    day
        The day.
    system
        ``si`` or ``us``.
    """
    told = [f"{day.station.name}: the day of acceptance, with clean water", ""]
    told += grid(
        ("step", "at", "water", "wait", "lasts"),
        (
            (
                step.test,
                clock_text(step.clock_s),
                "" if step.brought_m3 == 0.0 else show(step.brought_m3, "volume", system),
                "" if step.wait_s == 0.0 else quantity(step.wait_s, "duration", system),
                "" if step.lasts_s == 0.0 else quantity(step.lasts_s, "duration", system),
            )
            for step in day.steps
        ),
    )
    told += [
        "",
        "counted with each: 5 min of setting up, half an hour for what is done by hand; '-': not",
    ]
    told += ["", *_falls(day, system), "", *_points(day, system)]
    told += ["", "sequences by the panel, with the seconds to their last expected event", ""]
    told += grid(
        ("sequence", "begins at", "water runs in", "events", "last after"),
        (
            (
                one.name,
                show(day.station.shown_m(one.start_level_m), "level", system),
                show(one.inflow_m3s, "flow", system),
                str(len(one.expected)),
                seconds_text(one.expected[-1].after_s if one.expected else math.nan),
            )
            for one in day.sequences
        ),
    )
    if day.left_out:
        told += ["", "not on the sheet:"]
        told += [f"  {what}: {why}" for what, why in day.left_out]
    return told


def _falls(day: Day, system: System) -> list[str]:
    fall = day.fall
    drop = show(fall.drop_m, "level", system)
    high = show(day.station.shown_m(fall.from_m), "level", system)
    return [
        (
            f"time of a fall of {drop} from {high}, and by how much a flow reads low that leaves"
            " the inflow out"
        ),
        "",
        *grid(
            ("pumps", "flow", "nothing coming in", "at", "inflow then", "with it", "left out"),
            (
                (
                    row.lineup,
                    show(row.flow_m3s, "flow", system),
                    seconds_text(row.fall_s),
                    clock_text(row.clock_s),
                    show(row.inflow_m3s, "flow", system),
                    seconds_text(row.with_inflow_s),
                    f"{100.0 * row.reads_low_part:.1f} % low",
                )
                for row in day.falls
            ),
        ),
    ]


def _points(day: Day, system: System) -> list[str]:
    """Return what each lineup should show at the middle level, alike ones in one row."""
    level = middle_of(day.levels_m)
    heads = {"flow": "flow", "header_m": "head at the header", "gauge": "gauge"}
    pipes = list(dict.fromkeys(row.pipe for row in day.points))
    cells: dict[str, list[str]] = {}
    for row in day.points:
        if row.level_m == level:
            cells.setdefault(row.lineup, []).extend((
                show(row.flow_m3s, "flow", system),
                quantity(row.header_m, "head", system),
                quantity(row.header_gauge_pa, "pressure", system),
            ))  # fmt: skip
    columns = [
        f"{name}, {pipe}" if len(pipes) > 1 else name for pipe in pipes for name in heads.values()
    ]
    used = [n for n in range(len(columns)) if any(row[n] != "-" for row in cells.values())]
    alike: dict[tuple[str, ...], list[str]] = {}
    for lineup, row_cells in cells.items():
        alike.setdefault(tuple(row_cells[n] for n in used), []).append(lineup)
    at = show(day.station.shown_m(level), "level", system)
    return [
        f"flow and pressure at {at}; the other levels stand in points.csv",
        "",
        *grid(
            ("pumps", *(columns[n] for n in used)),
            ((named(names), *row) for row, names in alike.items()),
        ),
    ]


def named(lineups: Sequence[str]) -> str:
    """Return lineups that are alike in a few words: ``P1 or P2 alone``.

    Parameters
    ----------
    lineups
        Their names.
    """
    if all(name.endswith(" alone") for name in lineups) and len(lineups) > 1:
        each = [name.removesuffix(" alone") for name in lineups]
        return f"{', '.join(each[:-1])} or {each[-1]} alone"
    return ", ".join(lineups)


def sheet_sentences(day: Day, system: System) -> list[str]:
    """Return what a person would say about the day.

    Parameters
    ----------
    day
        The day.
    system
        ``si`` or ``us``.
    """
    water, plan = day.water, day.rig.plan
    brought = show(water.brought_m3, "volume", system)
    first = show(water.first_m3, "volume", system)
    told = [f"The day takes {brought} of clean water, {first} of it before the first pump runs"]
    if plan.water_m3s:
        rate = show(plan.water_m3s, "flow", system)
        told[0] += f"; at {rate} that is {show(water.waits_s, 'duration', system)} of filling"
        told[0] += ", what runs in during the sequences not counted"
    goes = "goes back to the well"
    if plan.water_goes == "downstream":
        most = show(water.most_m3s, "flow", system)
        pumped = show(water.pumped_m3, "volume", system)
        goes = f"goes on through the main, {pumped} at up to {most}: agree it with whoever takes it"
    told[0] += f". The water {goes}."
    if plan.water_goes == "downstream":
        told += _of_falls(day, system)
    told += _of_the_clock(day)
    told += _of_care(day, system)
    counts = Counter(one.is_baseline for one in day.sheet)
    blank = f", and {counts[True]} to be kept as a baseline" if counts[True] else ""
    told.append(f"{counts[False]} readings with an expected value{blank}.")
    told += _of_engine(day)
    if day.left_out:
        many = len(day.left_out)
        told.append(
            f"{many} thing{'s are' if many > 1 else ' is'} not on the sheet, each with its reason:"
            f" {listed([what for what, _why in day.left_out][:4])}"
            f"{' and more' if many > 4 else ''}."
        )
    told.append(
        "Tolerances of flow and head start from grades for a pump on a test bed, with figures from"
        " memory, and are used here for the station as well: the contract's own go into"
        " [acceptance]. Nobody enters the well for any of this."
    )
    return told


def _of_the_clock(day: Day) -> list[str]:
    last = day.steps[-1]
    if math.isnan(last.clock_s):
        return ["Without a rate of the water nobody can say how long the day takes."]
    ends_s = last.clock_s + last.lasts_s
    told = f"By this reckoning the tests last from {clock_text(day.rig.plan.start_clock_s)}"
    told += f" to {clock_text(ends_s)}"
    if ends_s - day.rig.plan.start_clock_s > _WORKING_S:
        return [f"{told}: more than a working day, so share them out, or bring water faster."]
    return [f"{told}."]


def _of_care(day: Day, system: System) -> list[str]:
    """Return what the tests themselves ask too much of: starts, and water over a suction."""
    told = []
    if day.rig.plan.inflow == "comes in" and day.sequences:
        told.append(
            "The sequences are reckoned with the clean water alone: shut the sewer off for them, or"
            " count its flow as part of that water."
        )
    busy = [one for one in day.starts if one.number > one.most]
    if busy:
        each = listed([
            f"{one.pump} {one.number} times in the hour from {clock_text(one.from_s)}"
            f" (allowed: {one.most:g})"
            for one in busy
        ])  # fmt: skip
        told.append(f"More starts than a motor may have: {each}; leave longer between the tests.")
    shallow = [one for one in day.shallow if one.level_m < one.least_m]
    if shallow:
        each = listed([
            f"{one.pump} needs {show(day.station.shown_m(one.least_m), 'level', system)}"
            for one in shallow
        ])  # fmt: skip
        lowest = show(day.station.shown_m(shallow[0].level_m), "level", system)
        told.append(
            f"The tests draw the water down to {lowest}, and {each} over its suction: ask the maker"
            " first, or test at other levels."
        )
    return told


def _of_falls(day: Day, system: System) -> list[str]:
    first = day.falls[0]
    drop = show(day.fall.drop_m, "level", system)
    if math.isinf(first.fall_s):
        return [f"{first.lineup} does not draw the level down at all: look at its curve."]
    said = (
        f"{first.lineup} should draw the level down by {drop} in {seconds_text(first.fall_s)}"
        f" with nothing coming in ({show(first.flow_m3s, 'flow', system)})"
    )
    if first.inflow_m3s <= 0.0:
        return [said + "."]
    inflow = show(first.inflow_m3s, "flow", system)
    if math.isinf(first.with_inflow_s):
        return [f"{said}; with the {inflow} of {clock_text(first.clock_s)} it would not fall."]
    return [
        (
            f"{said}, in {seconds_text(first.with_inflow_s)} with the {inflow} that the sewer"
            f" would bring at {clock_text(first.clock_s)}; a flow that leaves that inflow out reads"
            f" {100.0 * first.reads_low_part:.1f} % low."
        )
    ]


def _of_engine(day: Day) -> list[str]:
    engine = day.station.engine_pump
    if engine is None:
        return []
    name = engine.pump.name
    for one in day.sequences:
        seen = [*one.expected, *one.on_site]
        called = [e.after_s for e in seen if (e.subject, e.event) == (name, "engine called")]
        flows = [e.after_s for e in seen if (e.subject, e.event) == (name, "start")]
        if called and flows:
            wait = seconds_text(flows[0] - called[0])
            return [f"{name} should give its flow {wait} after its start level ({one.name})."]
    return []
