"""In what the settings differ: keys and their values, the axes of a grid, and how they are said."""

from __future__ import annotations

import dataclasses
import math
import re
from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from stationsim.errors import QuantityError
from stationsim.units import parse, show, unit_name

if TYPE_CHECKING:
    from stationsim.station import Station
    from stationsim.units import Kind, Shown

Differs = Mapping[str, Mapping[str, str]]
"""Label of a setting -> key -> value as text."""

POLICY = "control.stop_policy"
ROTATION = "rotation.kind"
ALL_STOP, STAGED = "all-stop", "staged stop"

_NAMES = {
    POLICY: "stop policy",
    ROTATION: "rotation",
    "control.stop": "stop level",
    "alarms.high_level": "high-level alarm",
    "alarms.low_level": "low-level alarm",
}
_KINDS: tuple[Kind, ...] = ("length", "flow", "duration", "volume", "power")
_QUANTITY = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(\D*)")
_UNITS: dict[str, Shown] = {"_m": "level", "_s": "duration", "_m3s": "flow", "_w": "power"}
_PLAIN = {"settings": "", "rotation_settings": "", "controller": "kind"}


def axes_of(differs: Differs) -> tuple[str, ...]:
    """Return the keys of which every combination was run; empty when the settings are no grid.

    Parameters
    ----------
    differs
        In what the settings differ.
    """
    keys = [key for key in _keys(differs) if len(values_of(differs, key)) > 1]
    size = math.prod(len(values_of(differs, key)) for key in keys)
    points = {tuple(own.get(key, "") for key in keys) for own in differs.values()}
    return tuple(keys) if keys and size == len(differs) == len(points) else ()


def values_of(differs: Differs, key: str) -> list[str]:
    """Return the values of a key, in the order of the settings.

    Parameters
    ----------
    differs
        In what the settings differ.
    key
        Which.
    """
    return list(dict.fromkeys(own.get(key, "") for own in differs.values()))


def _keys(differs: Differs) -> list[str]:
    return list(dict.fromkeys(key for own in differs.values() for key in own))


def name_of(key: str) -> str:
    """Return how people say a key: ``lag start``, ``flow factor of P1``.

    Parameters
    ----------
    key
        Its dotted path.
    """
    if key in _NAMES:
        return _NAMES[key]
    parts = [part.strip('"') for part in key.split(".")]
    said = parts[-1].replace("_", " ")
    if len(parts) > 2:
        return f"{said} of {' '.join(parts[1:-1]).replace('_', ' ')}"
    return said if parts[0] in ("control", "rotation") else f"{said} of the {parts[0]}"


def value_text(key: str, value: str) -> str:
    """Return how people say the value of a key.

    Parameters
    ----------
    key
        Its dotted path.
    value
        As written.
    """
    if key == POLICY:
        return ALL_STOP if value == "all together" else value
    if key == ROTATION:
        return value
    return f"{name_of(key)} {value}"


def moved(key: str, first: str, last: str) -> tuple[str, str]:
    """Return what was done to a key, as the beginning of a sentence, and by how much.

    Parameters
    ----------
    key
        Its dotted path.
    first, last
        Its value before and after, as written.

    Examples
    --------
    >>> moved("control.lag_start", "1.80 m", "1.60 m")
    ('lowering the lag start by 0.2 m', '0.2 m')
    """
    name = name_of(key)
    sizes = sizes_of((first, last))
    if not sizes:
        return f"changing the {name} from {first} to {last}", ""
    verb = "raising" if sizes[1] > sizes[0] else "lowering"
    before, after = _number(first), _number(last)
    if before is None or after is None or before[1] != after[1]:  # each as it is written
        return f"{verb} the {name} from {first} to {last}", f"{first} to {last}"
    by = abs(after[0] - before[0])
    amount = f"{plain(by, 6)}{' ' if before[1] else ''}{before[1]}"
    return f"{verb} the {name} by {amount}", amount


def sizes_of(values: Sequence[str]) -> list[float]:
    """Return how great values are, whatever their units; empty when they are not of one kind.

    Parameters
    ----------
    values
        As written.

    Examples
    --------
    >>> sizes_of(["30 s", "1 min"]), sizes_of(["clock", "fixed"])
    ([30.0, 60.0], [])
    """
    numbers = [_number(value) for value in values]
    if all(one is not None and not one[1] for one in numbers):
        return [one[0] for one in numbers if one is not None]
    for kind in _KINDS:
        try:
            return [parse(value, kind) for value in values]
        except QuantityError:
            continue
    return []


def plain(number: float, figures: int) -> str:
    """Return a number with some figures, and never with a power of ten.

    Parameters
    ----------
    number
        The number.
    figures
        How many count.

    Examples
    --------
    >>> plain(1e6, 4), plain(0.2, 6), plain(2.5e-6, 4)
    ('1,000,000', '0.2', '0.0000025')
    """
    return f"{Decimal(f'{number:.{figures}g}'):,f}"


def _number(text: str) -> tuple[float, str] | None:
    """Return a number and its unit; None for what is no such thing."""
    found = _QUANTITY.fullmatch(text.strip())
    if found is None:
        return None
    value, unit = float(found.group(1)), found.group(2)
    if not unit:
        return value, ""
    for kind in _KINDS:
        try:
            unit_name(unit, kind)
        except QuantityError:
            continue
        return value, unit
    return None


def of_stations(stations: Mapping[str, Station]) -> dict[str, dict[str, str]]:
    """Return in what stations differ that were made in Python.

    Parameters
    ----------
    stations
        Label -> station.
    """
    flat = {label: dict(_walk(station, ())) for label, station in stations.items()}
    keys = list(dict.fromkeys(key for one in flat.values() for key in one))
    differing = [key for key in keys if len({one.get(key, "") for one in flat.values()}) > 1]
    return {label: {key: one.get(key, "") for key in differing} for label, one in flat.items()}


def of_documents(documents: Mapping[str, Mapping[str, Any]]) -> dict[str, dict[str, str]]:
    """Return in what scenario files differ, leaving out what the first one says of the episode.

    Parameters
    ----------
    documents
        Label -> the tables of the file.
    """
    flat = {label: dict(_leaves(document, ())) for label, document in documents.items()}
    keys = list(dict.fromkeys(key for one in flat.values() for key in one))
    left_out = ("title", "episode", "inflow", "rain", "rain_derived", "event")
    differing = [
        key
        for key in keys
        if len({one.get(key, "") for one in flat.values()}) > 1
        and key.partition(".")[0] not in left_out
    ]
    return {label: {key: one.get(key, "") for key in differing} for label, one in flat.items()}


def _leaves(table: Mapping[str, Any], path: tuple[str, ...]) -> list[tuple[str, str]]:
    found: list[tuple[str, str]] = []
    for key, value in table.items():
        if isinstance(value, Mapping):
            found += _leaves(value, (*path, key))
        else:
            found.append((".".join((*path, key)), str(value)))
    return found


def _walk(value: Any, path: tuple[str, ...]) -> list[tuple[str, str]]:
    """Return the plain values inside a frozen description, with their paths."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        found: list[tuple[str, str]] = []
        for field in dataclasses.fields(value):
            inside = ("rotation",) if field.name == "rotation_settings" else path
            step = _PLAIN.get(field.name, field.name)
            found += _walk(getattr(value, field.name), (*inside, step) if step else inside)
        return found
    if isinstance(value, Mapping):
        return [pair for key, one in value.items() for pair in _walk(one, (*path, str(key)))]
    if isinstance(value, Sequence) and not isinstance(value, str):
        return [
            pair
            for n, one in enumerate(value)
            for pair in _walk(one, (*path, str(getattr(one, "name", n + 1))))
        ]
    key = ".".join(path)
    if key == "control.rotation":
        key = ROTATION
    if isinstance(value, float):
        return [_with_unit(key, value)]
    return [(key, "" if value is None else str(value))]


def _with_unit(key: str, value: float) -> tuple[str, str]:
    for suffix, kind in _UNITS.items():
        if key.endswith(suffix):
            plain = f"{value:.6g} m" if kind == "level" else show(value, kind, "si")
            return key.removesuffix(suffix), plain
    return key, f"{value:.6g}"
