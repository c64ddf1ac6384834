"""What the models refuse, said in plain words: each refusal becomes a finding."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from stationsim.findings import Finding
from stationsim.scenario.keys import known_keys
from stationsim.scenario.lines import Path, join_path

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pydantic import ValidationError

_PLAIN = {
    "bool_type": "true or false is needed",
    "dict_type": "a table is needed",
    "model_type": "a table is needed",
    "model_attributes_type": "a table is needed",
    "list_type": "a list is needed",
    "tuple_type": "a pair is needed",
    "string_type": "text is needed",
    "too_short": "too few values",
    "too_long": "too many values",
}


def findings_of(
    error: ValidationError, document: Mapping[str, Any], top: Path = ()
) -> list[Finding]:
    """Return one finding for each thing that the models refused.

    Parameters
    ----------
    error
        What pydantic raised.
    document
        The whole scenario as read.
    top
        Where the checked table stands in it.
    """
    return [_finding(one, document, top) for one in error.errors(include_url=False)]


def place_of(location: Sequence[int | str], document: Mapping[str, Any], top: Path = ()) -> Path:
    """Return the keys of a location, without the names of variants that pydantic puts between.

    Parameters
    ----------
    location
        What pydantic says.
    document
        The whole scenario as read.
    top
        Where the checked table stands in it.
    """
    node: Any = document
    for name in top:
        node = node.get(name) if isinstance(node, Mapping) else None
    path: list[str] = list(top)
    last = len(location) - 1
    for i, key in enumerate(location):
        if isinstance(key, int):
            path.append(str(key))
            node = node[key] if isinstance(node, list) and key < len(node) else None
        elif isinstance(node, Mapping) and key in node:
            path.append(key)
            node = node[key]
        elif i == last:
            path.append(key)
    return tuple(path)


def unknown_key(path: Path, document: Mapping[str, Any]) -> Finding:
    """Return the finding for a key that its table does not take.

    Parameters
    ----------
    path
        The key.
    document
        The whole scenario as read.
    """
    known = known_keys(path[:-1], document)
    near = difflib.get_close_matches(path[-1], known, n=1, cutoff=0.5)
    fix = f"did you mean '{near[0]}'?" if near else "take it out"
    return Finding(
        join_path(path), "error", f"unknown key '{path[-1]}'", limit=", ".join(known), fix=fix
    )


def _finding(  # noqa: PLR0911 - one return for each kind of refusal
    error: Any, document: Mapping[str, Any], top: Path
) -> Finding:
    kind: str = error["type"]
    path = place_of(error["loc"], document, top)
    context: dict[str, Any] = error.get("ctx", {})
    place = join_path(path)
    value = _as_written(error.get("input"))
    if kind == "extra_forbidden":
        return unknown_key(path, document)
    if kind == "missing":
        return Finding(place, "error", "is missing", fix="add it")
    if kind == "stationsim":
        return Finding(
            place, "error", context["reason"], value, context["accepted"], context["fix"]
        )
    if kind in ("union_tag_invalid", "union_tag_not_found"):
        key = context["discriminator"].strip("'")
        if kind == "union_tag_not_found":
            return Finding(f"{place}.{key}", "error", "is missing", limit=_tags(path))
        accepted = context["expected_tags"].replace("'", '"')
        return _choice(f"{place}.{key}", str(context["tag"]), accepted)
    if kind in ("literal_error", "enum"):
        accepted = context["expected"].replace(" or ", ", ").replace("'", '"')
        return _choice(place, error.get("input"), accepted)
    if kind in ("too_short", "too_long"):
        least, most = context.get("min_length"), context.get("max_length")
        limit = f"at least {least}" if kind == "too_short" else f"at most {most}"
        return Finding(place, "error", _PLAIN[kind], f"{context.get('actual_length')}", limit)
    return Finding(place, "error", _PLAIN.get(kind, str(error["msg"])), value)


def _choice(place: str, value: Any, accepted: str) -> Finding:
    options = [option.strip(' "') for option in accepted.split('",')]
    near = difflib.get_close_matches(str(value), options, n=1, cutoff=0.5)
    fix = f"did you mean '{near[0]}'?" if near else ""
    return Finding(
        place, "error", "is none of the accepted words", _as_written(value), accepted, fix
    )


def _tags(path: Path) -> str:
    if path and path[0] == "well":
        return "cylinder, box, cone, storage, table"
    return "constant, daily, recorded, hydrograph"


def _as_written(value: Any) -> str:
    if isinstance(value, str):
        return f'"{value}"' if len(value) <= 40 else f'"{value[:37]}..."'
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int | float):
        return repr(value) if len(repr(value)) <= 40 else f"{repr(value)[:37]}..."
    return ""
