"""From checked tables to what happens: inflow and scripted events."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path as FilePath
from typing import Any

from stationsim import units
from stationsim.episode import ScriptedEvent
from stationsim.errors import InputError
from stationsim.findings import Finding
from stationsim.inflow.daily import YEAR_S, Constant, Daily, Growth
from stationsim.inflow.segments import InflowSource
from stationsim.inflow.storm import Hydrograph
from stationsim.records.inflow_csv import read_inflow_csv
from stationsim.scenario import schema as s
from stationsim.scenario.built import Built, DataFile
from stationsim.scenario.event_fit import Scene, misfit
from stationsim.scenario.events import EventTextError, join_pieces, read_events, read_moment
from stationsim.scenario.parts import Parts

_SOME_START = datetime(2027, 3, 1, tzinfo=UTC)
"""Stands in for a start that could not be read, where it matters to no message."""

_MOST_GROWN = 1000.0
"""A flow that grows to more than this many times itself is a slip of the pen [-]."""


def make_inflow(parts: Parts, folder: FilePath, built: Built) -> list[InflowSource]:
    """Return the sources of inflow; what is wrong with any of them is noted.

    Parameters
    ----------
    parts
        What could be read of the scenario.
    folder
        Folder of the scenario file, from which data files are found.
    built
        Takes what is refused, and the data files that were read.
    """
    sources: list[InflowSource] = []
    for key, part in parts.named["inflow"].items():
        place = f"inflow.{key}"
        try:
            source = _source(parts, part, key, folder, built)
            if source is not None:
                source = _grown(parts, part, source, place, built)
        except (ValueError, InputError) as error:
            built.refuse(place, str(error))
            continue
        if source is not None:
            sources.append(source)
    return sources


def _source(
    parts: Parts, part: Any, name: str, folder: FilePath, built: Built
) -> InflowSource | None:
    place, start = f"inflow.{name}", parts.start or _SOME_START
    if isinstance(part, s.ConstantPart):
        return Constant(part.flow)
    if isinstance(part, s.DailyPart):
        return _daily(part, place, built)
    if isinstance(part, s.HydrographPart):
        try:
            at_s = read_moment(part.at, start)
        except EventTextError as error:
            built.refuse(f"{place}.at", str(error), f'"{part.at}"')
            return None
        times, flows = zip(*part.points, strict=True)
        if any(later < one for one, later in pairwise(times)):
            later = next(i for i in range(1, len(times)) if times[i] < times[i - 1])
            shown = [units.show(times[i], "duration", "si") for i in (later - 1, later)]
            built.refuse(f"{place}.points", "their times do not rise", ", then ".join(shown))
            return None
        return Hydrograph(at_s, tuple(times), tuple(flows))
    path = folder / part.file
    series = read_inflow_csv(
        path,
        column=part.column,
        time_column=part.time_column,
        unit=part.unit,
        time_unit=part.time_unit,
        gaps=part.gaps,
        start=start,
    )
    built.files.append(DataFile(name, part.file, path))
    if series.repairs:
        built.findings.append(Finding(place, "ok", "; ".join(series.repairs)))
    return series.source(factor=part.factor, steps=part.between == "steps")


def _grown(
    parts: Parts, part: Any, source: InflowSource, place: str, built: Built
) -> InflowSource | None:
    """Return a source as it grows over the years; None when its growth makes no sense."""
    if not part.growth_per_year:
        if part.growth_since is not None:
            built.refuse(
                f"{place}.growth_since",
                "says since when it grows, and no growth is given",
                fix="add growth_per_year, such as growth_per_year = 0.02, or take this out",
            )
        return source
    start = parts.start
    if start is not None:
        since = start if part.growth_since is None else part.growth_since
        years = (start.replace(tzinfo=None) - since.replace(tzinfo=None)).total_seconds() / YEAR_S
        for at in (years, years + (parts.duration_s or 0.0) / YEAR_S):
            times = (1.0 + part.growth_per_year) ** at
            if times > _MOST_GROWN:
                built.refuse(
                    f"{place}.growth_per_year",
                    "makes the flow more than any sewer's grows",
                    f"{times:.3g} times after {at:.3g} years",
                    f"up to {_MOST_GROWN:g} times",
                    "check it: 2 % a year is 0.02",
                )
                return None
    return Growth(source, part.growth_per_year, part.growth_since)


def _daily(part: s.DailyPart, place: str, built: Built) -> Daily | None:
    weekend = part.weekday if part.weekend is None else part.weekend
    days: list[tuple[float, ...]] = []
    means = (part.mean, part.mean if part.weekend_mean is None else part.weekend_mean)
    for key, values, mean in zip(
        ("weekday", "weekend"), (part.weekday, weekend), means, strict=True
    ):
        kinds = {kind for kind, _ in values}
        if len(kinds) > 1:
            built.refuse(f"{place}.{key}", "mixes flows and plain factors", fix="keep one of them")
            return None
        numbers = [value for _, value in values]
        if mean is None:
            if "factor" in kinds:
                built.refuse(
                    f"{place}.mean",
                    "is missing, and the pattern is given by plain factors",
                    "",
                    f'a flow such as "{built.example("10 L/s", "160 gpm")}"',
                    "add it, or write flows with their unit",
                )
                return None
            days.append(tuple(numbers))
            continue
        average = sum(numbers) / 24.0
        if average <= 0.0:
            built.refuse(f"{place}.{key}", "is nought all day and cannot be scaled to a mean")
            return None
        days.append(tuple(value * (mean / average) for value in numbers))
    return Daily(days[0], days[1], steps=part.between == "steps")


def make_events(parts: Parts, built: Built) -> list[ScriptedEvent]:
    """Return the scripted events; what is wrong with any of them is noted.

    Names and moments are checked as far as the pumps, the start and the duration could be read.

    Parameters
    ----------
    parts
        What could be read of the scenario.
    built
        Takes what is refused.
    """
    events: list[tuple[str, ScriptedEvent]] = []
    start, scene = parts.start, Scene.of(parts)
    for key, part in parts.named["event"].items():
        place = f"event.{key}"
        text = _event_text(part, place, built)
        if text is None:
            continue
        try:
            found = read_events(
                text,
                start=start or _SOME_START,
                duration_s=None if start is None else parts.duration_s,
                names=scene.names,
                system=parts.system,
            )
        except EventTextError as error:
            built.refuse(place, str(error), f'"{text}"')
            continue
        for event in found:
            events.append((key, event))
            wrong = misfit(event, scene)
            if wrong is not None:
                built.refuse(place, wrong[0], fix=wrong[1])
    return _joined_losses(events, start or _SOME_START, built)


def _joined_losses(
    events: list[tuple[str, ScriptedEvent]], start: datetime, built: Built
) -> list[ScriptedEvent]:
    """Join grid losses that overlap: the grid is back when the last of them is over."""
    losses = sorted(
        ((key, one) for key, one in events if one.kind == "grid loss"),
        key=lambda pair: pair[1].at_s,
    )
    joined: list[ScriptedEvent] = []
    for key, loss in losses:
        last = joined[-1] if joined else None
        last_end = -math.inf if last is None else last.at_s + (last.duration_s or 0.0)
        if last is None or loss.at_s > last_end:
            joined.append(loss)
            continue
        loss_end = loss.at_s + (loss.duration_s or 0.0)
        end = max(last_end, loss_end)
        joined[-1] = replace(last, duration_s=end - last.at_s)
        spans = (last.at_s, last_end), (loss.at_s, loss_end)
        built.findings.append(
            Finding(
                f"event.{key}",
                "warning",
                "overlaps or touches another grid loss: they are taken as one",
                value=", ".join(_span_text(start, *span) for span in spans),
                fix="write one grid loss, or leave time between them",
            )
        )
    first = {loss.at_s: loss for loss in reversed(joined)}
    kept: list[ScriptedEvent] = []
    for _key, one in events:  # of events at one instant the one named first comes first
        if one.kind != "grid loss":
            kept.append(one)
        elif one.at_s in first:
            kept.append(first.pop(one.at_s))
    return kept


def _span_text(start: datetime, from_s: float, to_s: float) -> str:
    """Return a span as clock times; the day of its end only where it is another one."""
    first, last = start + timedelta(seconds=from_s), start + timedelta(seconds=to_s)
    end = f"{last:%H:%M}" if first.date() == last.date() else f"{last:%Y-%m-%d %H:%M}"
    return f"{first:%Y-%m-%d %H:%M} to {end}"


def _event_text(part: s.EventPart, place: str, built: Built) -> str | None:
    pieces = (part.at, part.what, part.for_)
    if part.text is not None:
        if any(piece is not None for piece in pieces) or part.until_reset:
            built.refuse(place, "'text' says it all, and pieces are given too", fix="keep one form")
            return None
        return part.text
    for key, piece in (("at", part.at), ("what", part.what)):
        if piece is None:
            sample = 'at = "day 3 07:10"' if key == "at" else 'what = "grid loss"'
            fix = f"add it, such as {sample}, or the whole as 'text'"
            built.refuse(f"{place}.{key}", "is missing", fix=fix)
    if part.at is None or part.what is None:
        return None
    return join_pieces(part.at, part.what, part.for_, until_reset=part.until_reset)
