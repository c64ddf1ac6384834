"""Changes from outside the file: ``--set``, ``--event``, ``--seed``; and the scenario written back.

A change is made in the document before it is checked, so it is checked as if it stood in the file.
The document as run can be written as TOML again, so that what was run lies beside its results.
"""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Mapping, Sequence
from datetime import date, datetime, time
from typing import Any

from stationsim.findings import Finding
from stationsim.scenario.lines import Path, join_path, split_path
from stationsim.scenario.slips import nearest_name

_NAMED = (
    *("pump", "well", "inflow", "rain", "tariff", "random"),
    *("person", "tool", "task"),
)


def apply_sets(
    document: dict[str, Any], sets: Sequence[str]
) -> tuple[dict[Path, str], list[Finding]]:
    """Change values in a document; return where each change was made, and what was refused.

    Parameters
    ----------
    document
        The scenario as read; changed in place.
    sets
        Texts ``KEY=VALUE`` with a dotted key.
    """
    places: dict[Path, str] = {}
    refused: list[Finding] = []
    for text in sets:
        key, equals, value = text.partition("=")
        path = split_path(key)
        origin = f"--set {text}"
        if not equals or not path or join_path(path) != join_path(split_path(key.strip())):
            reason = "KEY=VALUE is needed, such as control.lag_start=1.70 m"
            refused.append(Finding("", "error", reason, file=origin))
            continue
        finding = _set_one(document, path, _value(value.strip()), origin)
        if finding:
            refused.append(finding)
        else:
            places[path] = origin
    return places, refused


def apply_events(document: dict[str, Any], events: Sequence[str]) -> dict[Path, str]:
    """Add events given as text; return where each was put.

    Parameters
    ----------
    document
        The scenario as read; changed in place.
    events
        Texts such as ``day 3 07:10 grid loss for 4 h``.
    """
    places: dict[Path, str] = {}
    if not events:
        return places
    table = document.setdefault("event", {})
    if not isinstance(table, dict):
        return places
    count = 0
    for position, text in enumerate(events, start=1):
        count += 1
        while f"added_{count}" in table:
            count += 1
        table[f"added_{count}"] = {"text": text}
        places["event", f"added_{count}"] = f"--event {position}"
    return places


def to_toml(document: Mapping[str, Any]) -> str:
    """Return a document as TOML that reads back to the same document.

    Parameters
    ----------
    document
        What ``tomllib`` gave, changed or not.
    """
    lines: list[str] = []
    _write_table(document, (), lines)
    return "\n".join(lines).strip("\n") + "\n"


def _set_one(document: dict[str, Any], path: Path, value: Any, origin: str) -> Finding | None:
    node = document
    for depth, key in enumerate(path[:-1]):
        below = node.get(key)
        if below is None:
            if depth == 1 and path[0] in _NAMED:
                return _no_such(path, value, list(node), origin)
            below = node[key] = {}
        if not isinstance(below, dict):
            place = join_path(path[: depth + 1])
            return Finding(place, "error", "is a value and holds no keys", file=origin)
        node = below
    if len(path) == 2 and path[0] in _NAMED and path[1] not in node:
        return _no_such(path, value, list(node), origin)
    node[path[-1]] = value
    return None


def _no_such(path: Path, value: Any, known: list[str], origin: str) -> Finding:
    # a slip in a name must not add a pump; in the file it would stand out, here it would not
    near = nearest_name(path[1], known)
    kind = {"well": "part of the well", "tariff": "band of the tariff"}.get(path[0], path[0])
    told = f" with {join_path(path[2:])} = {_write_value(value)}" if len(path) > 2 else ""
    fix = f"a new {kind} must be written in the file, as [{join_path(path[:2])}]{told}"
    if near:
        fix = f"did you mean '{near}'?"
    reason = f"the file has no [{path[0]}.{path[1]}]"
    return Finding(join_path(path), "error", reason, limit=", ".join(known), fix=fix, file=origin)


def _value(text: str) -> Any:
    """Read a value as TOML; what is no TOML value is text, so that blanks need no quotes."""
    try:
        return tomllib.loads(f"value = {text}")["value"] if "\n" not in text else text
    except (ValueError, RecursionError):  # a TOML error is a ValueError
        return text


def _write_table(table: Mapping[str, Any], path: Path, lines: list[str]) -> None:
    plain = {key: value for key, value in table.items() if not isinstance(value, Mapping)}
    if path and (plain or not table):
        lines.extend(["", f"[{'.'.join(map(_write_key, path))}]"])
    lines.extend(f"{_write_key(key)} = {_write_value(value)}" for key, value in plain.items())
    for key, value in table.items():
        if isinstance(value, Mapping):
            _write_table(value, (*path, key), lines)


def _write_value(value: Any) -> str:  # noqa: PLR0911 - one for each TOML type
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _write_text(value)
    if isinstance(value, float) and not math.isfinite(value):
        return "nan" if math.isnan(value) else ("inf" if value > 0 else "-inf")
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, datetime | date | time):
        return value.isoformat()
    if isinstance(value, Mapping):
        pairs = (f"{_write_key(key)} = {_write_value(one)}" for key, one in value.items())
        return "{" + ", ".join(pairs) + "}"
    return "[" + ", ".join(_write_value(one) for one in value) + "]"


def _write_key(key: str) -> str:
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else _write_text(key)


def _write_text(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    escaped = re.sub(r"[\x00-\x1f\x7f]", lambda mark: f"\\u{ord(mark.group()):04x}", escaped)
    return f'"{escaped}"'
