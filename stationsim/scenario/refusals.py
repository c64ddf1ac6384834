"""What the models refuse, said in plain words: each mistake becomes one finding."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from stationsim.findings import Finding
from stationsim.scenario.keys import example_of, explain_key, known_keys
from stationsim.scenario.lines import Path, join_path
from stationsim.scenario.slips import nearest_key

if TYPE_CHECKING:
    from collections.abc import Sequence

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

_NO_GUESS = 0.08
"""Two words that are as near as this to what was written: nobody can tell which was meant."""

_ORDINALS = (
    *("first", "second", "third", "fourth", "fifth", "sixth"),
    *("seventh", "eighth", "ninth", "tenth", "eleventh", "twelfth"),
)


def findings_of(
    problems: Iterable[Any], document: Mapping[str, Any], top: Path = ()
) -> list[Finding]:
    """Return one finding for each thing that the models refused.

    The same mistake in several values of one list is told once, with the first of them.

    Parameters
    ----------
    problems
        What pydantic says of each.
    document
        The whole scenario as read.
    top
        Where the checked table stands in it.
    """
    found: dict[tuple[str, str], tuple[Finding, str, int]] = {}
    for count, problem in enumerate(problems):
        path, positions = place_of(problem["loc"], document, top)
        finding = _finding(problem, document, path, in_list=bool(positions))
        # what is quoted differs from value to value, the mistake does not
        same = re.sub(r"'[^']*'", "", finding.reason) if positions else str(count)
        first, where, more = found.get((finding.place, same), (finding, _in_words(positions), -1))
        found[finding.place, same] = first, where, more + 1
    return [_with_position(*one) for one in found.values()]


def place_of(
    location: Sequence[int | str], document: Mapping[str, Any], top: Path = ()
) -> tuple[Path, tuple[int, ...]]:
    """Return the keys of a location and where in a list it is.

    The names of variants that pydantic puts between are left out.

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
    positions: list[int] = []
    last = len(location) - 1
    for i, key in enumerate(location):
        if isinstance(key, int):
            positions.append(key)
            node = node[key] if isinstance(node, list) and key < len(node) else None
        elif isinstance(node, Mapping) and key in node:
            path.append(key)
            node = node[key]
        elif i == last:
            path.append(key)
    return tuple(path), tuple(positions)


def missing_key(path: Path, document: Mapping[str, Any]) -> Finding:
    """Return the finding for a key that must be given, with an example.

    Parameters
    ----------
    path
        The key.
    document
        The whole scenario as read.
    """
    sample = example_of(path, document)
    fix = f"add it, such as {sample}" if sample else "add it"
    return Finding(join_path(path), "error", "is missing", fix=fix)


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
    near = nearest_key(path[-1], known)
    fix = f"did you mean '{near}'?" if near else "take it out"
    return Finding(
        join_path(path), "error", f"unknown key '{path[-1]}'", limit=", ".join(known), fix=fix
    )


def _in_words(positions: tuple[int, ...]) -> str:
    """Return where in a list a value stands, in words counted from one."""
    words = [_ordinal(position) for position in positions]
    return " of the ".join(
        f"{word} {'value' if depth == 0 else 'pair'}" for depth, word in enumerate(reversed(words))
    )


def _ordinal(position: int) -> str:
    number = position + 1
    if number <= len(_ORDINALS):
        return _ORDINALS[position]
    ending = (
        "th" if 10 <= number % 100 <= 20 else {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    )
    return f"{number}{ending}"


def _with_position(finding: Finding, position: str, more: int) -> Finding:
    if not position:
        return finding
    others = f" (and {more} more)" if more else ""
    return replace(finding, reason=f"{position}{others}: {finding.reason}")


def _finding(  # noqa: PLR0911 - one return for each kind of refusal
    error: Any, document: Mapping[str, Any], path: Path, *, in_list: bool
) -> Finding:
    kind: str = error["type"]
    context: dict[str, Any] = error.get("ctx", {})
    place = join_path(path)
    value = _as_written(error.get("input"))
    if kind == "missing":
        if in_list:  # a pair with one value
            return Finding(place, "error", "is missing", fix="write pairs of values")
        return missing_key(path, document)
    if kind == "union_tag_not_found":
        path = (*path, context["discriminator"].strip("'"))
        entry = explain_key(join_path(path))[0]
        return replace(missing_key(path, document), limit=entry.accepts)
    if kind == "stationsim":
        return Finding(
            place, "error", context["reason"], value, context["accepted"], context["fix"]
        )
    if kind == "union_tag_invalid":
        key = context["discriminator"].strip("'")
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
    meant = _likely(str(value), options)
    fix = f"did you mean '{meant}'?" if meant else ""
    return Finding(
        place, "error", "is none of the accepted words", _as_written(value), accepted, fix
    )


def _likely(value: str, options: Sequence[str]) -> str:
    """Return the word that was likely meant; empty when none is near, or two are much as near."""
    folded = {option.lower(): option for option in options}
    asked = value.lower()
    if asked in folded:
        return folded[asked]
    near = difflib.get_close_matches(asked, folded, n=2, cutoff=0.6)
    ratios = [difflib.SequenceMatcher(None, one, asked).ratio() for one in near]
    if not near or (len(near) == 2 and ratios[0] - ratios[1] < _NO_GUESS):
        return ""
    return folded[near[0]]


def _as_written(value: Any) -> str:
    if isinstance(value, str):
        return f'"{value}"' if len(value) <= 40 else f'"{value[:37]}..."'
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int | float):
        return repr(value) if len(repr(value)) <= 40 else f"{repr(value)[:37]}..."
    return ""
