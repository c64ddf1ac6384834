"""The number that goes with an event: ``to 60 %``, ``by -8 in``, ``10 % in 2 h``."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from stationsim import units
from stationsim.errors import QuantityError
from stationsim.scenario.moments import EventTextError

if TYPE_CHECKING:
    from stationsim.equipment.faults import Amount, Fault

_PERCENT = re.compile(r"(\d{1,3}(?:\.\d+)?)\s*%")
_COUNT = re.compile(r"(\d{1,4})(?:\s+([A-Za-z]+))?")
_PER = re.compile(r"(?P<much>.+?)\s+in\s+(?P<time>[\d.].*)")
_LONGEST_PER_S = 20 * 365.25 * 86400.0

LEFT_OF_FLOW = ("clogged", "turning backwards", "plug valve closed", "main plugged")
"""Kinds whose number is the part of the flow that is left."""

_BELOW_WHOLE = 0.999
"""A part up to this stands for all that is less than the whole [-]."""

_IN_US = {
    "0.20 m": "8 in",
    "20 mm in 24 h": "0.8 in in 24 h",
    "30 mm": "1.2 in",
    "2 m": "6.6 ft",
    "10 m3 in 8 min": "2600 gal in 8 min",
}
_US_UNIT = {"m": "ft", "mm": "in", "m3": "gal"}


@dataclass(frozen=True)
class Number:
    """The number of an event, in SI.

    Parameters
    ----------
    flow_left
        Part of the flow that is left [-].
    amount
        Any other number [any].
    per_s
        The time that the amount belongs to [s].
    """

    flow_left: float = 1.0
    amount: float = 0.0
    per_s: float = 0.0


def sample_of(amount: Amount, system: units.System = "si") -> str:
    """Return a well-written number with the word before it: ``by 0.20 m``.

    Parameters
    ----------
    amount
        What goes with the event.
    system
        Units of the file.
    """
    sample = amount.sample if system == "si" else _IN_US.get(amount.sample, amount.sample)
    return f"{amount.link} {sample}".strip()


def read_number(fault: Fault, phrase: str, text: str, system: units.System) -> Number:
    """Return the number that stands behind what happens.

    Parameters
    ----------
    fault
        The entry of the catalogue.
    phrase
        How it is written, with the name of a float in it.
    text
        What stands behind the phrase; may be empty.
    system
        Units of the file, in which a range is told besides.

    Raises
    ------
    EventTextError
        When it cannot be read, or lies outside its range.
    """
    amount = fault.amount
    if amount is None:
        return Number()
    if not text:
        if amount.default is None:
            raise EventTextError(_not_accepted(fault, phrase, amount, "nothing", system))
        return _as_number(fault, amount.default)
    told, per_s = text, 0.0
    if amount.link:
        link, _, told = text.partition(" ")
        if link.lower() != amount.link or not told:
            raise EventTextError(_not_accepted(fault, phrase, amount, f"'{text}'", system))
    if amount.per:
        told, per_s = _split_per(fault, phrase, told, system)
    value = _value(fault, phrase, told, system)
    if value is None or not _within(amount, value):
        raise EventTextError(_not_accepted(fault, phrase, amount, f"'{told}'", system))
    return _as_number(fault, value, per_s)


def _as_number(fault: Fault, value: float, per_s: float = 0.0) -> Number:
    if fault.kind in LEFT_OF_FLOW:
        return Number(flow_left=value)
    return Number(amount=value, per_s=per_s)


def _split_per(fault: Fault, phrase: str, text: str, system: units.System) -> tuple[str, float]:
    """Return a number and the time that it belongs to [s]."""
    assert fault.amount is not None  # noqa: S101 - who asks has looked
    found = _PER.fullmatch(text)
    if found is None:
        message = (
            f"'{text}' lacks the time that it happens in; "
            f"write it as in '{phrase} {sample_of(fault.amount, system)}'"
        )
        raise EventTextError(message)
    try:
        per_s = units.parse(found.group("time"), "duration")
    except QuantityError as error:
        raise EventTextError(str(error)) from error
    if not 0.0 < per_s <= _LONGEST_PER_S:
        message = f"'in {found.group('time')}' must be more than nought, and up to 20 years"
        raise EventTextError(message)
    return found.group("much"), per_s


def _value(fault: Fault, phrase: str, text: str, system: units.System) -> float | None:
    """Return a number in SI; None when it cannot be read and its range says enough."""
    amount = fault.amount
    assert amount is not None  # noqa: S101 - who asks has looked
    if amount.quantity == "percent":
        percent = _PERCENT.fullmatch(text)
        return None if percent is None else float(percent.group(1)) / 100.0
    if amount.quantity == "count":
        count = _COUNT.fullmatch(text)
        word = "" if count is None else (count.group(2) or amount.word).lower()
        if count is None or word not in (amount.word, f"{amount.word}s"):
            return None
        return float(count.group(1))
    try:
        return units.parse(text, _kind_of(amount))
    except QuantityError as error:
        message = f"{error}; write it as in '{phrase} {sample_of(amount, system)}'"
        raise EventTextError(message) from error


def _kind_of(amount: Amount) -> Literal["length", "duration", "volume"]:
    """Return the kind of quantity that a number with a unit is."""
    if amount.quantity == "length":
        return "length"
    return "volume" if amount.quantity == "volume" else "duration"


def _within(amount: Amount, value: float) -> bool:
    if amount.signed and value == 0.0:
        return False
    most = 1.0 if amount.quantity == "percent" and amount.most == _BELOW_WHOLE else amount.most
    return amount.least <= value <= most and not (most != amount.most and value == most)


def _not_accepted(
    fault: Fault, phrase: str, amount: Amount, said: str, system: units.System
) -> str:
    """Say what is accepted in place of what was found."""
    sample = f"{phrase} {sample_of(amount, system)}"
    if fault.kind in LEFT_OF_FLOW:
        about = "is said to be left of the flow, in percent"
    else:
        about = f"is said to go with '{phrase}'"
    return f"{said} {about}; {range_text(amount, system)} is accepted, such as '{sample}'"


def range_text(amount: Amount, system: units.System) -> str:
    """Return the accepted range in words, in US units besides where the file is in them.

    Parameters
    ----------
    amount
        What goes with the event.
    system
        Units of the file.
    """
    if amount.quantity == "percent":
        less = "less than 100" if amount.most == _BELOW_WHOLE else f"{100.0 * amount.most:g}"
        return f"from {100.0 * amount.least:g} % to {less} %"
    if amount.quantity == "count":
        return f"from {amount.least:g} to {amount.most:g} {amount.word}s"
    if amount.quantity == "duration":
        least, most = (units.show(one, "duration", "si") for one in (amount.least, amount.most))
        return f"from {least} to {most}"
    unit = amount.sample.partition(" ")[2].partition(" ")[0]
    kind = _kind_of(amount)
    least_in, most_in = (f"{units.from_si(x, unit, kind):.6g}" for x in (amount.least, amount.most))
    text = f"from {least_in} to {most_in} {unit}"
    if system == "us":
        us = _US_UNIT[unit]
        low = units.limit_text(amount.least, us, kind, least=True)
        text += f" ({low} to {units.limit_text(amount.most, us, kind, least=False)} {us})"
    return f"{text}, save nought," if amount.signed else text
