"""From checked tables to rain-derived inflow: the unit hydrographs, and what falls on them.

Also ``--rain``, which adds even rain as text: ``20 mm in 6 h from 14:00``.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path as FilePath
from typing import TYPE_CHECKING, Any, Literal, cast

import numpy as np

from stationsim import units
from stationsim.errors import InputError
from stationsim.findings import Finding
from stationsim.inflow import rain as rains
from stationsim.inflow.unit_hydrographs import FRACTION_ROUNDING, RainDerived, Response
from stationsim.records.rain_csv import GREATEST_INTENSITY_MS, read_rain_csv
from stationsim.scenario import rain_tables as t
from stationsim.scenario.built import Built, DataFile
from stationsim.scenario.case import LOGIC
from stationsim.scenario.events import EventTextError, read_moment
from stationsim.scenario.lines import Path, join_path

if TYPE_CHECKING:
    from stationsim.scenario.parts import Parts

_SOME_START = datetime(2027, 3, 1, tzinfo=UTC)
"""Stands in for a start that could not be read, where it matters to no message."""

_RAIN_TEXT = re.compile(
    r"(?P<depth>[+-]?[\d.,]+(?:[eE][+-]?\d+)?\s*[^\s\d]+)\s+in\s+(?P<duration>.+?)"
    r"\s+from\s+(?P<at>.+)"
)
RAIN_TEXT_ACCEPTED = (
    "DEPTH in DURATION from CLOCK, such as '20 mm in 6 h from 14:00' or '0.8 in in 90 min from "
    "day 2 14:00'"
)
"""What ``--rain`` takes, in words."""

_RESPONSES = ("quick", "middle", "slow")


def apply_rains(
    document: dict[str, Any], texts: Sequence[str]
) -> tuple[dict[Path, str], list[Finding]]:
    """Add rain given as text; return where each was put, and what was refused.

    Parameters
    ----------
    document
        The scenario as read; changed in place.
    texts
        Texts such as ``20 mm in 6 h from 14:00``.
    """
    places: dict[Path, str] = {}
    refused: list[Finding] = []
    count = 0
    for position, text in enumerate(texts, start=1):
        origin = f"--rain {position}"
        found = _RAIN_TEXT.fullmatch(" ".join(text.split()))
        if found is None:
            reason = "cannot be read"
            refused.append(
                Finding("", "error", reason, f'"{text}"', RAIN_TEXT_ACCEPTED, file=origin)
            )
            continue
        table = document.setdefault("rain", {})
        if not isinstance(table, dict):
            break  # told as a table that is none
        count += 1
        while f"added_{count}" in table:
            count += 1
        table[f"added_{count}"] = {"kind": "block", **found.groupdict()}
        places["rain", f"added_{count}"] = origin
    return places, refused


def make_rain_derived(parts: Parts, folder: FilePath, built: Built) -> list[RainDerived]:
    """Return the inflow of each rain; what is wrong with any of them is noted.

    Parameters
    ----------
    parts
        What could be read of the scenario.
    folder
        Folder of the scenario file, from which data files are found.
    built
        Takes what is refused, and the data files that were read.
    """
    table: t.RainDerivedPart | None = parts.single.get("rain_derived")
    responses = () if table is None else _responses(table, built)
    sources: list[RainDerived] = []
    for name, part in parts.named["rain"].items():
        place = join_path(("rain", name))
        if table is None and "rain_derived" not in parts.document:
            _refuse_without_hydrographs(place, built)
        try:
            rain = _rain(parts, part, name, folder, built)
            hardest = 0.0 if rain is None else float(np.max(rain.intensity_ms))
        except (ValueError, InputError) as error:
            built.refuse(place, str(error))
            continue
        if rain is None:
            continue
        if hardest > GREATEST_INTENSITY_MS:
            depth = built.example("mm", "in")
            most = units.limit_text(GREATEST_INTENSITY_MS * 3600.0, depth, "length", least=False)
            built.refuse(
                place,
                "falls harder than any rain on record",
                f"{units.from_si(hardest * 3600.0, depth, 'length'):.4g} {depth}/h",
                f"up to {most} {depth}/h",
                "check the unit of its depth",
            )
            continue
        if table is None or not responses:
            continue
        derived = RainDerived(rain, table.area, responses)
        _falls_within(parts, derived, place, built)
        if isinstance(part, t.RecordedRain):
            _record_covers(parts, rain, place, built)
        sources.append(derived)
    return sources


def _responses(table: t.RainDerivedPart, built: Built) -> tuple[Response, ...]:
    """Return the responses; none when they cannot be used together, which is noted."""
    found: list[Response] = []
    given = {name: getattr(table, name) for name in _RESPONSES if getattr(table, name) is not None}
    for name, part in given.items():
        try:
            found.append(
                Response(part.fraction, part.time_to_peak, part.fall_ratio, f"{name} response")
            )
        except ValueError as error:
            built.refuse(f"rain_derived.{name}", str(error))
    if not given:
        built.refuse(
            "rain_derived",
            "has no response",
            limit="one or more of [rain_derived.quick], [rain_derived.middle], [rain_derived.slow]",
            fix="add one, such as [rain_derived.quick] with fraction = 0.02, "
            'time_to_peak = "1 h", fall_ratio = 2.0',
        )
    total = sum(part.fraction for part in given.values())
    if total > 1.0 + FRACTION_ROUNDING:
        shares = ", ".join(f"{name} {part.fraction:g}" for name, part in given.items())
        built.refuse(
            "rain_derived",
            "the fractions of its responses are too great: more water cannot arrive than falls",
            f"{shares}: {total:g} together",
            "up to 1 together",
            "lower them",
        )
        return ()
    return tuple(found) if len(found) == len(given) else ()


def _refuse_without_hydrographs(place: str, built: Built) -> None:
    built.refuse(
        place,
        "rain is given, and the station does not say how rain comes into the sewer",
        fix=f'add [rain_derived] with area = "{built.example("40 ha", "100 acre")}" and one or '
        "more responses, such as [rain_derived.quick] with fraction = 0.02, "
        'time_to_peak = "1 h", fall_ratio = 2.0',
    )


def _rain(parts: Parts, part: Any, name: str, folder: FilePath, built: Built) -> rains.Rain | None:
    place, start = join_path(("rain", name)), parts.start or _SOME_START
    if isinstance(part, t.RecordedRain):
        path = folder / part.file
        record = read_rain_csv(
            path,
            start=start,
            column=part.column,
            time_column=part.time_column,
            unit=part.unit,
            time_unit=part.time_unit,
            gaps=part.gaps,
            stamped=part.stamped,
        )
        built.files.append(DataFile(name, part.file, path, "rain"))
        built.findings.append(Finding(place, "ok", "; ".join(record.repairs)))
        return record.scaled(part.factor)
    try:
        at_s = read_moment(part.at, start)
    except EventTextError as error:
        built.refuse(f"{place}.at", str(error), f'"{part.at}"')
        return None
    if isinstance(part, t.BlockRain):
        return rains.block(at_s, part.depth, part.duration)
    if isinstance(part, t.ChicagoRain):
        unit_m = units.factor(part.law.intensity.partition("/")[0], "length")
        law = rains.IntensityLaw.from_printed(
            part.law.a, part.law.b, part.law.n, depth_unit_m=unit_m
        )
        return rains.chicago(
            at_s, part.duration, law, peak_at=part.peak_at, interval_s=part.interval
        )
    if isinstance(part, t.SeriesRain):
        ends = part.interval * np.arange(len(part.depths) + 1)
        return rains.from_depths(at_s, ends, part.depths)
    day_type = cast("Literal['I', 'IA', 'II', 'III']", part.kind.removeprefix("type "))
    return rains.nrcs(at_s, part.depth, day_type)


def _falls_within(parts: Parts, derived: RainDerived, place: str, built: Built) -> None:
    """Warn of rain of which nothing can arrive while the episode lasts."""
    rain, duration_s = derived.rain, parts.duration_s
    if duration_s is None or parts.start is None:
        return
    longest_s = max(response.base_s for response in derived.responses)
    if rain.begins_s >= duration_s:
        past = units.show(rain.begins_s - duration_s, "duration", "si")
        value = f"it begins {past} after the end" if past != "0 s" else "it begins at the end"
    elif rain.ends_s + longest_s <= 0.0:
        past = units.show(-rain.ends_s, "duration", "si")
        value = f"it ends {past} before the start"
    else:
        return
    built.findings.append(
        Finding(
            place,
            "warning",
            "lies outside the episode: nothing of it arrives",
            value,
            fix="check its moment; a clock time is of the first day unless a day is given",
            source=LOGIC,
        )
    )


def _record_covers(parts: Parts, rain: rains.Rain, place: str, built: Built) -> None:
    """Warn of a record that ends before the episode does: it is dry from there on."""
    duration_s = parts.duration_s
    if duration_s is None or parts.start is None or not 0.0 < rain.ends_s < duration_s:
        return
    built.findings.append(
        Finding(
            place,
            "warning",
            "the rain record ends before the episode does: it is taken as dry afterwards",
            f"{units.show(duration_s - rain.ends_s, 'duration', 'si')} before the end",
            fix="take a longer record, or shorten the episode",
            source=LOGIC,
        )
    )
