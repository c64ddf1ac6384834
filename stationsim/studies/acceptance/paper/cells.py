"""What the crew wrote into a row of the sheet, as values in SI.

A unit may stand behind the number or be changed in the row; a level may be counted from elsewhere
than on the sheet, if that is said. All of it is told.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from stationsim.errors import QuantityError
from stationsim.records.csv_rows import quoted
from stationsim.records.written import Mended, listed_unit, number_of, plain_signs, yes_or_no
from stationsim.studies.acceptance.paper.possible import cannot_be
from stationsim.studies.acceptance.paper.sheet_units import KINDS, is_counted, references
from stationsim.studies.acceptance.paper.stopwatch import is_shown, shown_time
from stationsim.units import accepted, parse

if TYPE_CHECKING:
    from stationsim.station import LevelsShown, Station
    from stationsim.studies.acceptance.reading import Reading

SPELT = "unit spelt otherwise"
CONVERTED = "unit other than on the sheet, converted"
STOPWATCH = "time with colons read as a stopwatch shows it"
COUNTED = "level counted from elsewhere than on the sheet, converted"

_FROM: tuple[tuple[str, LevelsShown], ...] = (
    ("above the floor", "above floor"),
    ("above floor", "above floor"),
    ("below the cover", "below cover"),
    ("below cover", "below cover"),
    ("as elevation", "elevation"),
    ("elevation", "elevation"),
)


class Written(NamedTuple):
    """What was written into a cell.

    Parameters
    ----------
    value
        In SI; a level above the floor [any].
    unit
        The unit that the number was in, as it is listed; empty for yes or no.
    repairs
        What was read otherwise than it stands.
    unsure
        Whether its point would stand between thousands where points do.
    """

    value: float
    unit: str
    repairs: tuple[Mended, ...]
    unsure: bool = False


def unit_read(text: str, reading: Reading, station: Station) -> tuple[str, LevelsShown]:
    """Return the listed unit of a text, and what a level is counted from by it.

    Parameters
    ----------
    text
        A unit; for a level, what it is counted from may stand behind it.
    reading
        Which reading it is of; not one of yes or no.
    station
        Says what levels are counted from where nothing else is said.

    Raises
    ------
    QuantityError
        When it cannot be read, or the station cannot count so.
    """
    assert reading.measure != "yes or no"  # noqa: S101 - for the reader of types
    kind, counted = KINDS[reading.measure], station.levels_shown
    rest = " ".join(text.split())
    if is_counted(reading):
        for words, name in _FROM:
            if rest.casefold().endswith(words):
                rest, counted = rest[: -len(words)].strip(), name
                break
        if counted not in references(station):
            lacks = "elevation of the floor" if counted == "elevation" else "level of the cover"
            message = f"{quoted(text)}: the scenario has no {lacks}"
            raise QuantityError(f"{message} (accepted: {', '.join(references(station))})")
    return listed_unit(rest, kind), counted


def value_of(text: str, beside: str, reading: Reading, station: Station, sheet: str) -> Written:
    """Return what was read.

    Parameters
    ----------
    text
        The cell of the value.
    beside
        The cell of the unit.
    reading
        Which reading it is.
    station
        Says what levels are counted from.
    sheet
        What stood in the cell of the unit.

    Raises
    ------
    QuantityError
        When it cannot be read, is unclear, or cannot be.
    """
    if reading.measure == "yes or no":
        return Written(yes_or_no(text), "", ())
    kind = KINDS[reading.measure]
    if kind == "duration" and is_shown(text):
        return _by_stopwatch(text, reading, station)
    number = number_of(text)
    repairs = list(number.repairs)
    if kind == "duration" and any(mark.isdigit() for mark in number.behind):
        long = f"{number.text} {number.behind}"
        value, unit = parse(long, kind), "s"
        repairs.append(Mended(CONVERTED, long, f"{value:g} s"))
    else:
        said = number.behind or beside
        if not said:
            message = f"{quoted(text)} has no unit (accepted: {accepted(kind)};"
            raise QuantityError(f"{message} the sheet had {sheet})")
        unit, counted = unit_read(said, reading, station)
        if number.behind and beside not in ("", sheet):
            _agree(number.behind, beside, reading, station)
        value = parse(f"{number.text} {unit}", kind)
        if is_counted(reading):
            value = _above_floor(value, counted, station)
        repairs += _of_unit(number.text, said, (unit, counted), value, reading, station, sheet)
    wrong = cannot_be(value, unit, reading, station)
    if wrong:
        raise QuantityError(f"{quoted(text)}: {wrong}")
    return Written(value, unit, tuple(repairs), number.unsure)


def _by_stopwatch(text: str, reading: Reading, station: Station) -> Written:
    """Return a duration that was written with colons."""
    value_s, told = shown_time(text, reading.expected)
    wrong = cannot_be(value_s, "s", reading, station)
    if wrong:
        raise QuantityError(f"{quoted(text)}: {wrong}")
    repair = Mended(STOPWATCH, quoted(text), f"{told} ({value_s:g} s)")
    return Written(value_s, "s", (repair,))


def _agree(behind: str, beside: str, reading: Reading, station: Station) -> None:
    """Refuse two units that differ, when the one of the row is not the sheet's any more."""
    if unit_read(behind, reading, station) != unit_read(beside, reading, station):
        message = f"the unit behind the number is {quoted(behind)}, that of the row"
        raise QuantityError(f"{message} {quoted(beside)} (accepted: one unit)")


def _of_unit(
    number: str,
    said: str,
    found: tuple[str, LevelsShown],
    value: float,
    reading: Reading,
    station: Station,
    sheet: str,
) -> list[Mended]:
    """Return what is told of a unit: spelt otherwise, or another than on the sheet."""
    unit, counted = found
    plain = f"{unit} {counted}" if is_counted(reading) else unit
    told = []
    if said not in (unit, plain):
        told.append(Mended(SPELT, quoted(said), plain))
    own, own_counted = unit_read(sheet, reading, station)
    if unit == own and counted == own_counted:
        return told
    assert reading.measure != "yes or no"  # noqa: S101 - for the reader of types
    shown = station.shown_m(value) if is_counted(reading) else value
    read_as = f"{shown / parse(f'1 {own}', KINDS[reading.measure]):.6g} {sheet}"
    if unit != own:
        told.append(Mended(CONVERTED, f"{number} {plain}", read_as))
    if is_counted(reading) and counted != own_counted:
        told.append(Mended(COUNTED, f"{number} {plain}", read_as))
    return told


def _above_floor(value: float, counted: LevelsShown, station: Station) -> float:
    if counted == "elevation":
        return value - (station.floor_elevation_m or 0.0)
    if counted == "below cover":
        return (station.cover_m or 0.0) - value
    return value


def uncertainty_read(
    text: str, beside: str, written: Written, reading: Reading, station: Station
) -> Written:
    """Return the uncertainty that the crew gave.

    Parameters
    ----------
    text
        The cell of the uncertainty.
    beside
        The cell of the unit.
    written
        What was read.
    reading
        Which reading it is.
    station
        What stands there.

    Raises
    ------
    QuantityError
        When it cannot be read, is unclear, or is not above nought.
    """
    if reading.measure == "yes or no":
        raise QuantityError(f"{quoted(text)}: yes or no has no uncertainty (accepted: nothing)")
    kind = KINDS[reading.measure]
    plain = plain_signs(text)
    for mark in ("\u00b1", "+/-", "+-"):
        plain = plain.removeprefix(mark).strip()
    number = number_of(plain)
    repairs = list(number.repairs)
    if number.behind in ("%", "per cent", "percent"):
        if is_counted(reading):
            message = f"{quoted(text)}: a part of a level depends on where it is counted from"
            raise QuantityError(f"{message} (accepted: a length, such as 0.005 m)")
        value, unit = float(number.text) / 100.0 * abs(written.value), "%"
        if float(number.text) > 100.0:
            raise QuantityError(
                f"{quoted(text)}: more than the reading itself (accepted: to 100 %)"
            )
    else:
        said = number.behind
        if not said:
            row = unit_read(beside, reading, station)[0] if beside else ""
            if written.unit and row and row != written.unit:
                message = f"{quoted(text)} is unclear: in {row} as the row, or in {written.unit} as"
                raise QuantityError(f"{message} the number? (accepted: with its unit behind it)")
            said = row or written.unit
        if not said:
            raise QuantityError(f"{quoted(text)} has no unit (accepted: {accepted(kind)})")
        unit = listed_unit(said, kind)
        value = parse(f"{number.text} {unit}", kind)
    if value <= 0.0:
        message = f"{quoted(text)}: nothing is read without any (accepted: above 0;"
        raise QuantityError(f"{message} leave it as it was, or empty, for the sheet's)")
    return Written(value, unit, tuple(repairs), number.unsure)
