"""Units in docstrings are data: every number that the physics takes says its unit.

For each public function, method, dataclass and named tuple of ``stationsim.physics``: the
parameters named in the docstring are those of the signature; each one that is a number (or a
sequence of numbers) has a ``[unit]`` in its text; the unit parses; and where the name carries a
unit (``level_m``, ``flow_m3s``) the two say the same.
"""

from __future__ import annotations

import dataclasses
import importlib
import inspect
import pkgutil
import re
from typing import TYPE_CHECKING, Any

import pytest

import stationsim.physics

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

ATOMS = {
    "-": (0, 0, 0, 0, 0),
    "rad": (0, 0, 0, 0, 0),
    "m": (1, 0, 0, 0, 0),
    "s": (0, 1, 0, 0, 0),
    "h": (0, 1, 0, 0, 0),
    "kg": (0, 0, 1, 0, 0),
    "W": (2, -3, 1, 0, 0),
    "hp": (2, -3, 1, 0, 0),
    "J": (2, -2, 1, 0, 0),
    "Pa": (-1, -2, 1, 0, 0),
    "K": (0, 0, 0, 1, 0),
    "degC": (0, 0, 0, 1, 0),
    "A": (0, 0, 0, 0, 1),
    "V": (2, -3, 1, 0, -1),
    "VA": (2, -3, 1, 0, 0),
}
"""The units that a docstring may use, as powers of metre, second, kilogram, kelvin, ampere."""

NO_FIXED_UNIT = "any"
"""The one word for a number whose unit its owner names."""

WHERE_FROM = (" above floor", " since the start of the episode")
"""What may follow a unit: from where it is counted."""

NAME_UNITS = {
    "_m": "m",
    "_m2": "m2",
    "_m3": "m3",
    "_m3s": "m3/s",
    "_m3s2": "m3/s2",
    "_m2s": "m2/s",
    "_ms": "m/s",
    "_s": "s",
    "_w": "W",
    "_j": "J",
    "_c": "degC",
    "_s2m5": "s2/m5",
    "_pa": "Pa",
    "_va": "VA",
    "_a": "A",
    "_hp": "hp",
    "_kgm2": "kg m2",
    "_kgm3": "kg/m3",
}
"""What the end of a name says of its unit; ``_k`` is a rise in kelvin or a loss coefficient."""

Dimension = tuple[float, ...]


def parse_unit(text: str) -> Dimension:
    """Return the dimension of a unit text; ValueError when it is none."""
    for ending in WHERE_FROM:
        text = text.removesuffix(ending)
    text = re.sub(r"^1/", "-/", text)
    tokens = re.findall(r"[a-zA-Z]+|-|\d+(?:\.\d+)?|[/()^]|\S", text)
    result, rest = _product(tokens)
    if rest:
        raise ValueError(f"'{text}' is not a unit from '{rest[0]}' on")
    return result


def _product(tokens: list[str]) -> tuple[Dimension, list[str]]:
    """Read powers that follow each other (multiplied) or stand behind a stroke (divided)."""
    total: Dimension = (0.0,) * 5
    sign = 1.0
    while True:
        value, tokens = _power(tokens)
        total = tuple(so_far + sign * one for so_far, one in zip(total, value, strict=True))
        if tokens[:1] == ["/"]:
            sign, tokens = -1.0, tokens[1:]
        elif not tokens or tokens[0] not in ATOMS:
            return total, tokens


def _power(tokens: list[str]) -> tuple[Dimension, list[str]]:
    if not tokens:
        raise ValueError("a unit is missing")
    if tokens[0] == "(":
        value, rest = _product(tokens[1:])
        if rest[:1] != [")"]:
            raise ValueError("a bracket is not closed")
        rest = rest[1:]
    elif tokens[0] in ATOMS:
        value, rest = ATOMS[tokens[0]], tokens[1:]
    else:
        raise ValueError(f"'{tokens[0]}' is not one of {', '.join(ATOMS)}")
    if rest[:1] == ["^"]:
        rest = rest[1:]
        if not rest:
            raise ValueError("an exponent is missing")
    if rest and re.fullmatch(r"\d+(\.\d+)?", rest[0]):
        power, rest = float(rest[0]), rest[1:]
        value = tuple(power * one for one in value)
    return value, rest


def described(doc: str) -> dict[str, str]:
    """Return the text of each parameter in the section 'Parameters' of a docstring."""
    match = re.search(r"^Parameters\n-+\n(.*?)(?=^\S[^\n]*\n-{3,}\n|\Z)", doc, re.M | re.S)
    found: dict[str, str] = {}
    names: list[str] = []
    for line in match.group(1).splitlines() if match else ():
        if line and not line.startswith(" "):
            names = [name.strip().lstrip("*") for name in line.split(":")[0].split(",")]
            found.update(dict.fromkeys(names, ""))
        else:
            for name in names:
                found[name] += " " + line.strip()
    return found


def is_number(annotation: str) -> bool:
    """Return whether a parameter is a float or holds floats."""
    return bool(re.search(r"\bfloat|\bNDArray", annotation))


def public_things() -> Iterator[Any]:
    """Give (object, parameters of its signature) of everything public in the physics."""
    for info in pkgutil.iter_modules(stationsim.physics.__path__):
        module = importlib.import_module(f"stationsim.physics.{info.name}")
        for name, thing in vars(module).items():
            if name.startswith("_") or getattr(thing, "__module__", None) != module.__name__:
                continue
            place = f"{info.name}.{name}"
            if inspect.isclass(thing):
                if dataclasses.is_dataclass(thing):
                    fields = {
                        field.name: str(field.type)
                        for field in dataclasses.fields(thing)
                        if field.init
                    }
                    yield pytest.param(thing, fields, id=place)
                elif issubclass(thing, tuple):
                    named = {
                        name: str(annotation) for name, annotation in thing.__annotations__.items()
                    }
                    yield pytest.param(thing, named, id=place)
                for method_name, method in vars(thing).items():
                    function = getattr(method, "__func__", method)
                    if inspect.isfunction(function) and not method_name.startswith("_"):
                        yield pytest.param(
                            function, _parameters(function), id=f"{place}.{method_name}"
                        )
            elif inspect.isfunction(thing):
                yield pytest.param(thing, _parameters(thing), id=place)


def _parameters(function: Callable[..., Any]) -> dict[str, str]:
    return {
        name: str(parameter.annotation)
        for name, parameter in inspect.signature(function).parameters.items()
        if name not in ("self", "cls")
    }


THINGS = list(public_things())


@pytest.mark.parametrize(("thing", "parameters"), THINGS)
def test_docstring_names_each_parameter_of_the_signature(
    thing: Any, parameters: dict[str, str]
) -> None:
    assert thing.__doc__, "no docstring"
    assert list(described(inspect.cleandoc(thing.__doc__))) == list(parameters)


@pytest.mark.parametrize(("thing", "parameters"), THINGS)
def test_each_number_in_a_docstring_has_a_unit_that_parses(
    thing: Any, parameters: dict[str, str]
) -> None:
    texts = described(inspect.cleandoc(thing.__doc__))
    for name, annotation in parameters.items():
        units = re.findall(r"\[((?:1/|[^\]\d])[^\]]*)\]", texts.get(name, ""))
        if is_number(annotation):
            assert units, f"{name} has no [unit]: {texts.get(name, '')!r}"
        dimensions = [parse_unit(unit) for unit in units if unit != NO_FIXED_UNIT]
        suffix = "_" + name.rpartition("_")[2]
        if "_" in name and suffix in NAME_UNITS and is_number(annotation):
            assert parse_unit(NAME_UNITS[suffix]) in dimensions, f"{name} is in {units}"


def test_the_search_finds_the_physics() -> None:
    names = {param.id for param in THINGS}
    assert {"well.Well", "well.cone", "pumps.HeadCurve.flow_at", "forcemain.Pipe"} <= names
    assert {"drawdown.Timed", "grades.GradeTolerance"} <= names
    assert len(names) >= 30


def test_unit_parser_keeps_dimensions_apart() -> None:
    assert parse_unit("m3/s") == (3.0, -1.0, 0.0, 0.0, 0.0)
    assert parse_unit("m/(m3/s)^2") == parse_unit("s2/m5") == (-5.0, 2.0, 0.0, 0.0, 0.0)
    assert parse_unit("m^0.5/s") == (0.5, -1.0, 0.0, 0.0, 0.0)
    assert parse_unit("m above floor") == (1.0, 0.0, 0.0, 0.0, 0.0)
    assert parse_unit("m3 s") == (3.0, 1.0, 0.0, 0.0, 0.0)
    assert parse_unit("1/s") == (0.0, -1.0, 0.0, 0.0, 0.0)
    assert parse_unit("W") == parse_unit("V A") == parse_unit("VA") == (2.0, -3.0, 1.0, 0.0, 0.0)
    assert parse_unit("W s") == parse_unit("J") == (2.0, -2.0, 1.0, 0.0, 0.0)
    assert parse_unit("degC") == parse_unit("K") == (0.0, 0.0, 0.0, 1.0, 0.0)
    assert parse_unit("Pa") == parse_unit("kg/m/s2") == (-1.0, -2.0, 1.0, 0.0, 0.0)


@pytest.mark.parametrize(
    "text", ["", "furlong", "m3/", "m/(m3/s", "m^", "gpm", "m 3 4", "m)", "1/", "1"]
)
def test_unit_parser_refuses_what_is_no_unit(text: str) -> None:
    with pytest.raises(ValueError, match=r"missing|not one of|not closed|not a unit"):
        parse_unit(text)
