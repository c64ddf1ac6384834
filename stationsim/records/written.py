"""What people write into a cell: a number and its unit, yes or no, a unit as they spell it.

Read and told: a decimal comma, blanks between thousands, another sign for minus. What could mean
two things is refused with how to write it; nothing is guessed.

As yes count ``yes``, ``y``, ``true``, ``1``, ``ok`` and a tick; as no ``no``, ``n``, ``false``,
``0`` and ``not ok``. A cross is refused: one crew ticks with it, another strikes out.
"""

from __future__ import annotations

import contextlib
import math
import re
from typing import TYPE_CHECKING, NamedTuple

from stationsim.errors import QuantityError
from stationsim.records.csv_rows import quoted
from stationsim.units import accepted, unit_name

if TYPE_CHECKING:
    from stationsim.units import Kind

COMMA = "decimal comma read as a point"
THOUSANDS = "sign between thousands taken out"
MINUS = "minus written with another sign"

YES = ("yes", "y", "true", "1", "ok", "\u2713", "\u2714", "\u2611")
NO = ("no", "n", "false", "0", "not ok")

_MARKS = str.maketrans(
    {
        **dict.fromkeys("\u00a0\u202f\u2009\u2007\u2002\u2003\t", " "),
        **dict.fromkeys("\u2212\u2013\u2014\u2010\u2011\uff0d", "-"),
        "\u2019": "'",
    }
)
_NUMBER = re.compile(
    r"([+-]?) *((?:[0-9]+(?:[,.'][0-9]+)*(?: [0-9]{3}(?![0-9/^]))*(?:[.,][0-9]+)?|[.,][0-9]+))"
    r"((?:[eE][+-]?[0-9]{1,3})?)(?![0-9])\.?(.*)",
    re.DOTALL,
)
"""Sign, number with what stands between its digits, exponent, and what stands behind: a blank is
between thousands only before three digits that begin no unit such as ``1/min``."""
_GROUPED = re.compile(r"[1-9][0-9]{0,2}(?:[ '][0-9]{3})+(?:[.,][0-9]+)?")
_COULD_BE_THOUSANDS = re.compile(r"[1-9][0-9]{0,2}[.,][0-9]{3}")

_ALSO = {
    "lps": "L/s", "l/sec": "L/s", "m3/hr": "m3/h", "usgpm": "gpm", "barg": "bar", "bar(g)": "bar",
    "kpag": "kPa", "kpa(g)": "kPa", "psi(g)": "psi", "r.p.m": "rpm",
}  # fmt: skip
"""Spellings that people use on such sheets, without capitals, besides those of scenarios."""
_ABSOLUTE = re.compile(r"(?:k|m)?(?:pa|bar|psi) ?\(?a(?:bs)?\.?\)?", re.IGNORECASE)


class Mended(NamedTuple):
    """What was read otherwise than it stands: which kind of thing, what stands, how it is read."""

    kind: str
    written: str
    read_as: str

    @property
    def told(self) -> str:
        """What stands there and what it was taken for."""
        return f"{self.written} as {self.read_as}"


class Number(NamedTuple):
    """A number as it was written: with a decimal point, what stood behind it, and what was mended.

    ``unsure`` tells that its point would stand between thousands where points do.
    """

    text: str
    behind: str
    repairs: tuple[Mended, ...]
    unsure: bool = False


def plain_signs(text: str) -> str:
    """Return a text with plain blanks, minus signs and apostrophes, and no blanks around it.

    Parameters
    ----------
    text
        What a cell holds.
    """
    return text.translate(_MARKS).strip()


def number_of(text: str) -> Number:
    """Return the number at the beginning of a text, and what stands behind it.

    Parameters
    ----------
    text
        What a cell holds.

    Raises
    ------
    QuantityError
        When there is none, or it could mean two numbers.
    """
    plain = plain_signs(text)
    found = _NUMBER.fullmatch(plain)
    if found is None:
        raise QuantityError(_no_number(text))
    sign, body, exponent, behind = found.groups()
    repairs = []
    if plain.startswith("-") and not text.strip().startswith("-"):
        repairs.append(Mended(MINUS, quoted(text), "below nought"))
    if re.fullmatch(r"[0-9]+|[0-9]*\.[0-9]+", body):
        number = body
    elif re.fullmatch(r"[0-9]*,[0-9]+", body):
        if _COULD_BE_THOUSANDS.fullmatch(body):
            message = (
                f"{quoted(text)} is unclear: a decimal comma, or one between thousands?"
                f" (accepted: {body.replace(',', '.')}, or {body.replace(',', '')})"
            )
            raise QuantityError(message)
        number = body.replace(",", ".")
        repairs.append(Mended(COMMA, body, number))
    elif _GROUPED.fullmatch(body):
        number = re.sub("[ ']", "", body).replace(",", ".")
        repairs.append(Mended(THOUSANDS, body, number))
    else:
        message = (
            f"{quoted(text)} is unclear: which sign is that of the decimals? (accepted: one decimal"
            " point or comma, no sign between thousands, such as 1250.5)"
        )
        raise QuantityError(message)
    unsure = bool(_COULD_BE_THOUSANDS.fullmatch(body))
    if not math.isfinite(float(number + exponent)):
        raise QuantityError(f"{quoted(text)} is too large for a number")
    return Number(f"{sign}{number}{exponent}", behind.strip(), tuple(repairs), unsure)


def _no_number(text: str) -> str:
    return (
        f"{quoted(text)} is not a number (accepted: a number such as 31.5, with its unit behind it"
        " if it is not that of the row; a remark goes into 'note'; what was not read stays empty)"
    )


def yes_or_no(text: str) -> float:
    """Return 1 for yes and 0 for no.

    Parameters
    ----------
    text
        What a cell holds.

    Raises
    ------
    QuantityError
        When it is neither.
    """
    word = " ".join(text.casefold().rstrip(".!").split())
    if word in YES:
        return 1.0
    if word in NO:
        return 0.0
    message = f"{quoted(text)} is neither yes nor no (accepted: {', '.join(YES[:5])};"
    raise QuantityError(f"{message} {', '.join(NO)}; a remark goes into 'note')")


def listed_unit(text: str, kind: Kind) -> str:
    """Return the listed name of a unit as the crew spelt it; capitals don't count.

    Parameters
    ----------
    text
        The unit.
    kind
        What it must measure.

    Raises
    ------
    QuantityError
        When it is none, or one of something else.
    """
    try:
        return unit_name(text, kind)
    except QuantityError as error:
        low = text.casefold().rstrip(".").replace("\u00b3", "3").strip()
        if low in _ALSO:
            return unit_name(_ALSO[low], kind)
        if kind == "pressure" and _ABSOLUTE.fullmatch(low):
            message = f"{quoted(text)} is a unit of pressure above a vacuum, and gauges show it"
            message += f" above the air's (accepted: {accepted(kind)})"
            raise QuantityError(message) from error
        for name in accepted(kind).split(", "):
            if name.casefold() == low:
                return name
        for spelling in (low, low.upper()):
            with contextlib.suppress(QuantityError):
                return unit_name(spelling, kind)
        raise
