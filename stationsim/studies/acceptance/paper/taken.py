"""The readings that were taken, from the sheet that came back filled in.

Rows are matched to readings by name: capitals, blanks and the kind of a dash don't count, anything
else does. Whatever is wrong is told at once, with line, reading and what is accepted; whatever was
read otherwise than it stands, or not read, is told as well. Nothing is dropped in silence.
"""

from __future__ import annotations

import difflib
import math
import unicodedata
from collections import defaultdict
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

from stationsim.errors import QuantityError, RecordError
from stationsim.forms import plain
from stationsim.records.csv_rows import quoted
from stationsim.records.filled_form import FilledForm, read_filled
from stationsim.records.in_brief import in_brief
from stationsim.records.written import COMMA, Mended
from stationsim.studies.acceptance.paper.cells import Written, uncertainty_read, value_of
from stationsim.studies.acceptance.paper.forms import COLUMNS, READINGS, readings_form
from stationsim.studies.acceptance.paper.possible import looks_odd
from stationsim.studies.acceptance.paper.repairs import CrewNote, Repair
from stationsim.studies.acceptance.paper.stopwatch import is_shown
from stationsim.studies.acceptance.paper.whose import of_another
from stationsim.studies.acceptance.reading import Taken
from stationsim.wording import listed

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from stationsim.station import Station
    from stationsim.studies.acceptance.reading import Reading
    from stationsim.units import System

NEEDED = ("reading", "unit", "read")
"""Columns without which a sheet cannot be read."""

_DASHES = str.maketrans(dict.fromkeys("\u2010\u2011\u2012\u2013\u2014\u2015\u2212\uff0d", "-"))
_NOT_READ = ("-", "--", "n/a", "na", "not read", "none", "?")
_PREDICTED = ("expected", "low", "high", "unit", "uncertainty")
GONE = "no row on the sheet any more, not read"
OTHER_SCENARIO = "the sheet expects something else than the scenario does now, which judges"
NO_READING = "row of no reading of the sheet, and nothing read"

_SAME = 1e-9


class TakenSheet(NamedTuple):
    """A sheet that came back filled in.

    Parameters
    ----------
    taken
        The readings that were taken, in the order of the sheet; the others were left blank.
    repairs
        What was read otherwise than it stands, each by itself.
    notes
        What the crew noted, beside values and beside blanks.
    """

    taken: list[Taken]
    repairs: list[Repair]
    notes: list[CrewNote]


def read_taken(
    path: Path, readings: Sequence[Reading], station: Station, *, may_be_blank: bool = False
) -> TakenSheet:
    """Return the readings that were taken, what was read otherwise than it stood, and all notes.

    Parameters
    ----------
    path
        The sheet, filled in: CSV, or the workbook.
    readings
        The readings of the sheet.
    station
        What stands there.
    may_be_blank
        Whether nothing need be filled in.

    Raises
    ------
    RecordError
        When the file cannot be read, or what stands in it; everything is told at once. Also when
        it is the sheet of another station, or nothing is filled in.
    """
    form = read_filled(path, READINGS, NEEDED)
    other = of_another(form.above, form.name, station.name)
    if other:
        raise RecordError(other)
    found = taken_of(form, readings, station)
    if not found.taken and not may_be_blank:
        message = f"{form.name}: nothing is filled in: no row has anything in 'read'"
        raise RecordError(f"{message} (accepted: one reading or more)")
    return found


def taken_of(form: FilledForm, readings: Sequence[Reading], station: Station) -> TakenSheet:
    """Return the readings that were taken, what was read otherwise than it stood, and all notes.

    Parameters
    ----------
    form
        The cells of the sheet.
    readings
        The readings of the sheet.
    station
        What stands there.

    Raises
    ------
    RecordError
        When something in it cannot be read, is unclear, or cannot be; everything is told at once.
    """
    at, wrong, of_columns = form.columns(NEEDED, COLUMNS)
    if any(name not in at for name in NEEDED):
        raise RecordError("\n".join(wrong))
    sheet = _Sheet(form, at, readings, station)
    sheet.problems += wrong
    sheet.match()
    sheet.read()
    taken = sheet.taken()
    if sheet.problems:
        raise RecordError("\n".join(in_brief(sheet.problems)))
    of_file = [Repair(form.name, None, "", told) for told in (*form.notes, *of_columns)]
    return TakenSheet(taken, [*of_file, *sheet.repairs, *sheet.gone()], sheet.notes())


def _exact(name: str) -> str:
    return " ".join(unicodedata.normalize("NFKC", name).translate(_DASHES).split()).casefold()


def _key(name: str) -> str:
    return "".join(_exact(name).split())


@dataclass(frozen=True)
class _Found:
    """What a row says of a reading: value and uncertainty, and what was mended on the way."""

    row: int
    value: float
    uncertainty: float
    repairs: tuple[Mended, ...]
    note: str


@dataclass
class _Sheet:
    """A sheet on the way to its readings: what was matched, found, mended and is wrong."""

    form: FilledForm
    at: dict[str, int]
    readings: Sequence[Reading]
    station: Station
    problems: list[str] = field(default_factory=list)
    repairs: list[Repair] = field(default_factory=list)
    rows: dict[int, list[int]] = field(default_factory=lambda: defaultdict(list))
    found: dict[int, list[_Found]] = field(default_factory=lambda: defaultdict(list))
    unsure: list[tuple[int, int, str]] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Print the sheet anew, in both systems of units, to see which one it was."""
        systems: tuple[System, ...] = ("si", "us")
        self.printed = {
            system: [
                dict(zip(COLUMNS, map(plain, row), strict=True))
                for row in readings_form(self.readings, self.station, system).rows
            ]
            for system in systems
        }
        self.system: System = "si"

    def cell(self, row: int, column: str) -> str:
        """Return a cell; empty when the column is not there."""
        return self.form.rows[row][self.at[column]] if column in self.at else ""

    def wrong(self, row: int, reading: int, message: str) -> None:
        """Note what is wrong with a row."""
        name = quoted(self.readings[reading].name)
        self.problems.append(f"{self.form.where(row)}: {name}: {message}")

    def mend(
        self, what: str, row: int, number: int | None, written: str = "", read_as: str = ""
    ) -> None:
        """Note what was read otherwise than it stands."""
        name = "" if number is None else self.readings[number].name
        line = self.form.lines[row]
        self.repairs.append(Repair(self.form.name, line, name, what, written, read_as))

    # ------------------------------------------------------------------ which row is which reading

    def match(self) -> None:
        """Find the reading of each row, and the system of units that the sheet was made in."""
        by_key: dict[str, list[int]] = defaultdict(list)
        for number, one in enumerate(self.readings):
            by_key[_key(one.name)].append(number)
        for row in range(len(self.form.rows)):
            name = self.cell(row, "reading")
            candidates = by_key.get(_key(name), [])
            if len(candidates) > 1:
                candidates = [
                    n for n in candidates if _exact(self.readings[n].name) == _exact(name)
                ]
            if len(candidates) == 1:
                (number,) = candidates
                self.rows[number].append(row)
                if name != self.readings[number].name:
                    own = quoted(self.readings[number].name)
                    self.mend("name written otherwise", row, number, quoted(name), own)
            else:
                self._no_reading(row, name, by_key)
        score = {system: self._alike(system) for system in self.printed}
        self.system = "us" if score["us"] > score["si"] else "si"

    def _no_reading(self, row: int, name: str, by_key: dict[str, list[int]]) -> None:
        """Refuse a row of no reading if it holds a value; note it if not."""
        said = self.cell(row, "read") or self._broken(row, "read")
        where = self.form.where(row)
        if not said:
            other = "; ".join(
                f"{column}: {self.cell(row, column)}"
                for column in self.at
                if self.cell(row, column) and column not in ("no", "unit")
            )
            self.mend(NO_READING, row, None, other)
            return
        if not name:
            self.problems.append(
                f"{where}: {quoted(said)} without the name of a reading"
                " (accepted: a name of the sheet in 'reading')"
            )
            return
        near = difflib.get_close_matches(_key(name), by_key, 1, 0.5)
        hint = f"the nearest is {self.readings[by_key[near[0]][0]].name!r}" if near else ""
        self.problems.append(
            f"{where}: no reading is called {quoted(name)}"
            + (f"; {hint}" if hint else "")
            + " (accepted: a name as it stands on the sheet)"
        )

    def _alike(self, system: System) -> int:
        """Count the cells that stand as they were printed in a system of units."""
        return sum(
            _same_text(self.cell(row, column), self.printed[system][number][column])
            for number, rows in self.rows.items()
            for row in rows
            for column in _PREDICTED
        )

    def _broken(self, row: int, column: str) -> str:
        return self.form.broken.get((row, self.at[column]), "") if column in self.at else ""

    # ------------------------------------------------------------------ what stands in a row

    def read(self) -> None:
        """Read the rows of all readings."""
        for number, rows in self.rows.items():
            for row in rows:
                self._read_row(number, row)
                self._moved(number, row)
        self._look_for_points()

    def _read_row(self, number: int, row: int) -> None:
        reading = self.readings[number]
        text, note = self.cell(row, "read"), self.cell(row, "note")
        own = self.cell(row, "uncertainty")
        broken = self._broken(row, "read")
        if broken and not (reading.measure == "duration" and is_shown(text)):
            self.wrong(row, number, f"'read' {broken}")
            return
        if not text or _exact(text) in _NOT_READ:
            self._left_blank(number, row, text)
            return
        unit = " ".join(self.cell(row, "unit").split())
        printed = self.printed[self.system][number]
        try:
            written = value_of(text, unit, reading, self.station, printed["unit"])
        except QuantityError as error:
            self.wrong(row, number, str(error))
            return
        repairs = list(written.repairs)
        if written.unsure and (row, self.at["read"]) not in self.form.typed:
            self.unsure.append((row, number, text))
        if reading.measure == "yes or no" and unit not in ("", printed["unit"]):
            self.mend("unit of yes or no passed over", row, number, quoted(unit))
        uncertainty = reading.uncertainty
        if self._broken(row, "uncertainty"):
            self.wrong(row, number, f"'uncertainty' {self._broken(row, 'uncertainty')}")
        elif own and not _same_text(own, printed["uncertainty"]):
            read = self._uncertainty(number, row, own, unit, written)
            if read is not None:
                uncertainty = read.value
                repairs += read.repairs
        elif own and unit.split()[:1] != printed["unit"].split()[:1]:
            sheet = f"{printed['uncertainty']} {printed['unit'].split()[0]}"
            repairs.append(Mended("uncertainty as printed, in the sheet's own unit", own, sheet))
        if looks_odd(written.value, reading):
            times = abs(written.value / reading.expected)
            self.mend(
                "far from what is expected: is the unit right?", row, number, quoted(text),
                f"it stands, {times:.3g} times what is expected of {quoted(reading.name)}",
            )  # fmt: skip
        for repair in repairs:
            self.mend(repair.kind, row, number, repair.written, repair.read_as)
        self.found[number].append(_Found(row, written.value, uncertainty, tuple(repairs), note))

    def _uncertainty(
        self, number: int, row: int, own: str, unit: str, written: Written
    ) -> Written | None:
        reading = self.readings[number]
        try:
            read = uncertainty_read(own, unit, written, reading, self.station)
        except QuantityError as error:
            self.wrong(row, number, f"'uncertainty': {error}")
            return None
        if read.unsure and (row, self.at["uncertainty"]) not in self.form.typed:
            self.unsure.append((row, number, own))
        return read

    def _left_blank(self, number: int, row: int, text: str) -> None:
        """Note what stands beside a reading that was not read."""
        if text:
            self.mend("taken as not read", row, number, quoted(text))
        own = self.cell(row, "uncertainty")
        if own and not _same_text(own, self.printed[self.system][number]["uncertainty"]):
            self.mend("an uncertainty, but nothing read", row, number, quoted(own))

    def _moved(self, number: int, row: int) -> None:
        """Note in which cells the sheet expects something else than the scenario does now."""
        printed = self.printed[self.system][number]
        if self.cell(row, "unit") != printed["unit"]:
            return  # the crew may have converted them too
        for column in ("expected", "low", "high"):
            cell = self.cell(row, column)
            if column in self.at and not _same_text(cell, printed[column]):
                now = printed[column] or "nothing"
                written = f"{column} {cell or 'nothing'}"
                self.mend(OTHER_SCENARIO, row, number, written, now)

    def _look_for_points(self) -> None:
        """Refuse a point that could stand between thousands, where others write decimal commas."""
        first = next((one for one in self.repairs if one.what == COMMA), None)
        if first is None:
            return
        example = f"line {first.line}: {first.told}"
        for row, number, text in self.unsure:
            whole = text.replace(".", "", 1)
            self.wrong(
                row, number,
                f"{quoted(text)} is unclear, because there are decimal commas ({example}): a"
                " decimal point, or one between thousands? (accepted:"
                f" {quoted(whole)} without a sign, or decimal points throughout)",
            )  # fmt: skip

    # ------------------------------------------------------------------ what came of it

    def taken(self) -> list[Taken]:
        """Return the readings in the order of the sheet; doubled rows must agree."""
        taken = []
        for number, reading in enumerate(self.readings):
            found = self.found.get(number, [])
            rows = self.rows.get(number, [])
            if len(rows) > 1:
                self._doubled(number, rows, found)
            if not found:
                continue
            first = found[0]
            notes = dict.fromkeys(one.note for one in found if one.note)
            repairs = tuple(f"{one.kind}: {one.told}" for one in first.repairs)
            taken.append(Taken(reading, first.value, first.uncertainty, repairs, "; ".join(notes)))
        return taken

    def _doubled(self, number: int, rows: Sequence[int], found: Sequence[_Found]) -> None:
        for one in found[1:]:
            for what, a, b in (
                ("value", found[0].value, one.value),
                ("uncertainty", found[0].uncertainty, one.uncertainty),
            ):
                if not math.isclose(a, b, rel_tol=_SAME, abs_tol=1e-12):
                    line = self.form.lines[found[0].row]
                    self.wrong(
                        one.row, number,
                        f"stands in line {line} as well, with another {what}"
                        " (accepted: one row for each reading)",
                    )  # fmt: skip
        lines = listed([str(self.form.lines[row]) for row in rows])
        self.mend("reading in more than one row", rows[-1], number, f"lines {lines}", "one")

    def gone(self) -> list[Repair]:
        """Return the readings that have no row any more."""
        return [
            Repair(self.form.name, None, one.name, GONE)
            for number, one in enumerate(self.readings)
            if number not in self.rows
        ]

    def notes(self) -> list[CrewNote]:
        """Return what the crew noted, row by row."""
        names = {row: self.readings[n].name for n, rows in self.rows.items() for row in rows}
        read = {one.row for found in self.found.values() for one in found}
        return [
            CrewNote(names.get(row, ""), note, self.form.lines[row], row in read)
            for row in range(len(self.form.rows))
            if (note := self.cell(row, "note"))
        ]


def _same_text(cell: str, printed: str) -> bool:
    """Return whether a cell says what was printed: the same text, or the same number."""
    if cell == printed:
        return True
    if not cell or not printed:
        return False
    try:
        return float(cell.replace(",", ".")) == float(printed)
    except ValueError:
        return False
