"""The action file of a drill: each line as it was typed, when, and what it was played on.

::

    # drill, form 1
    # scenario: 5d0c...
    # away sees: alarms
    # units: si
    # made by: stationsim 0.1.0
    time,t_s,line
    2027-03-03T07:08:00.000+00:00,480.0,send me for mobile generator

``t_s`` counts, and ``time`` is there to be read. A row without a line says that time passed until
then. Other lines that begin with ``#`` are notes, and are passed over.
"""

from __future__ import annotations

import csv
import io
import math
import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple, cast

from stationsim.errors import ActionError, RecordError
from stationsim.studies.drill.told import Action, AwaySees

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stationsim.episode import Episode
    from stationsim.studies.drill.kept.transcript import Transcript
    from stationsim.units import System

FILE = "actions.csv"
"""What an action file is called in a folder."""

COLUMNS = ("time", "t_s", "line")
MOST_BYTES = 5_000_000
"""A file larger than this is taken for something else."""

_FORM = "# drill, form 1"
_BEHIND_S = 1e-3  # a time that was rounded by hand lies no further behind
_NUMBER = re.compile(r"\d{1,9}")
_DIGEST = re.compile(r"[0-9a-f]{64}")
_YES_NO = {"yes": True, "no": False}


@dataclass(frozen=True)
class PlayedOn:
    """What a drill is played on.

    Parameters
    ----------
    digest
        Of the scenario as run, with all that was changed from outside.
    who
        Who plays; empty for the first on the call list.
    on_site
        Where they begin; None: as the file has it.
    away_sees
        What the far end shows.
    seed
        Of the options; None when it was not given.
    exercise
        Number of the exercise; None for the file as it stands.
    units
        Units of what is told.
    version
        Which stationsim.
    """

    digest: str
    who: str = ""
    on_site: bool | None = None
    away_sees: AwaySees = "alarms"
    seed: int | None = None
    exercise: int | None = None
    units: System = "si"
    version: str = ""

    def text(self) -> str:
        """Return the top of the file, names of columns included."""
        site = None if self.on_site is None else ("yes" if self.on_site else "no")
        facts = {
            "scenario": self.digest,
            "as": self.who or None,
            "on site": site,
            "away sees": self.away_sees,
            "seed": self.seed,
            "exercise": self.exercise,
            "units": self.units,
            "made by": f"stationsim {self.version}",
        }
        lines = [f"# {name}: {fact}" for name, fact in facts.items() if fact is not None]
        return "\n".join([_FORM, *lines, ",".join(COLUMNS)]) + "\n"


class Row(NamedTuple):
    """A row of an action file.

    Parameters
    ----------
    number
        Which line of the file [-].
    action
        What it says.
    """

    number: int
    action: Action


@dataclass(frozen=True)
class Kept:
    """An action file that was read.

    Parameters
    ----------
    path
        The file.
    played
        What it was played on.
    rows
        What was typed, and when.
    torn
        Bytes at its end that were not written whole [-].
    """

    path: Path
    played: PlayedOn
    rows: tuple[Row, ...]
    torn: int = 0

    def refuse_other(self, digest: str) -> None:
        """Refuse another scenario than the one that it was played on.

        Parameters
        ----------
        digest
            Of the scenario at hand.

        Raises
        ------
        RecordError
            When it is another one.
        """
        if digest != self.played.digest:
            raise RecordError(
                f"{self.path}: belongs to another scenario (its digest begins with"
                f" {self.played.digest[:12]}, that of this one with {digest[:12]}); accepted: the"
                " same file, with the same --set, --event, --rain and --seed"
            )


def row_text(action: Action, episode: Episode) -> str:
    """Return a line as it stands in the file.

    Parameters
    ----------
    action
        What was typed; an empty line for time that passed.
    episode
        Knows the clock.
    """
    held = io.StringIO()
    time = episode.moment(action.t_s).isoformat(timespec="milliseconds")
    csv.writer(held, lineterminator="\n").writerow((time, repr(float(action.t_s)), action.line))
    return held.getvalue()


def whole_text(played: PlayedOn, actions: Sequence[Action], episode: Episode) -> str:
    """Return an action file; of rows that only let time pass, the last one stays, if it is last.

    Parameters
    ----------
    played
        What it was played on.
    actions
        What was typed, and when.
    episode
        Knows the clock.
    """
    last = len(actions) - 1
    kept = [one for place, one in enumerate(actions) if one.line or place == last]
    return played.text() + "".join(row_text(one, episode) for one in kept)


# ---------------------------------------------------------------------- reading


def read(path: Path, *, torn: bool = False) -> Kept:
    """Return what an action file says.

    Parameters
    ----------
    path
        The file.
    torn
        True for a file that may have been cut off while it was written: then what stands behind
        the last whole line is left out.

    Raises
    ------
    RecordError
        When it cannot be read as one; the message names the line and what is accepted.
    """
    raw = _bytes(path)
    cut = len(raw) - (raw.rfind(b"\n") + 1) if torn else 0
    try:
        text = raw[: len(raw) - cut].decode("utf-8-sig")
    except UnicodeDecodeError as error:
        number = raw[: error.start].count(b"\n") + 1
        raise RecordError(f"{path}:{number}: is not UTF-8 text") from error
    lines = [line.rstrip("\r") for line in text.split("\n")]
    if lines[0].rstrip() != _FORM:
        raise RecordError(
            f"{path}:1: is no action file of a drill; accepted: a file that begins with '{_FORM}'"
        )
    facts: dict[str, tuple[int, str]] = {}
    rows: list[Row] = []
    seen_columns = False
    for number, line in enumerate(lines, 1):
        if line.startswith("#"):
            name, colon, value = line[1:].lstrip().partition(":")
            if colon and not seen_columns:
                facts.setdefault(name, (number, value.removeprefix(" ")))
        elif not line.strip():
            continue
        elif not seen_columns:
            if line.strip() != ",".join(COLUMNS):
                raise RecordError(f"{path}:{number}: the columns are {', '.join(COLUMNS)}")
            seen_columns = True
        else:
            rows.append(Row(number, _action(path, number, line, rows)))
    if not seen_columns:
        raise RecordError(f"{path}: has no line with the columns {','.join(COLUMNS)}")
    return Kept(path, _played(path, facts), tuple(rows), cut)


def _bytes(path: Path) -> bytes:
    try:
        if path.is_file() and path.stat().st_size > MOST_BYTES:
            raise RecordError(f"{path}: is too large for an action file (over {MOST_BYTES} bytes)")
        return path.read_bytes()
    except IsADirectoryError as error:
        raise RecordError(f"{path}: is a folder; an action file is needed") from error
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise RecordError(f"{path}: cannot be read: {reason}") from error
    except ValueError as error:
        raise RecordError(f"{path}: is no name of a file") from error


def _action(path: Path, number: int, line: str, rows: Sequence[Row]) -> Action:
    place = f"{path}:{number}"
    try:
        cells = next(csv.reader([line], strict=True))
    except (csv.Error, StopIteration) as error:
        raise RecordError(f"{place}: is no row of a CSV file: {error}") from error
    if len(cells) != len(COLUMNS):
        raise RecordError(
            f"{place}: has {len(cells)} cells; accepted: {len(COLUMNS)} ({', '.join(COLUMNS)}),"
            " with quotes around a line that has commas"
        )
    try:
        t_s = float(cells[1])
    except ValueError:
        t_s = math.nan
    if not 0.0 <= t_s < math.inf:
        found = ascii(cells[1][:40])
        raise RecordError(f"{place}: t_s is {found}; accepted: seconds since the start, 0 or more")
    if rows and t_s < rows[-1].action.t_s:
        raise RecordError(
            f"{place}: t_s is {t_s!r}, which lies before that of the row above"
            f" ({rows[-1].action.t_s!r}); accepted: the same or later"
        )
    return Action(t_s, cells[2].strip())


def _played(path: Path, facts: dict[str, tuple[int, str]]) -> PlayedOn:
    def fact(name: str, accepted: str, pattern: re.Pattern[str]) -> str | None:
        if name not in facts:
            return None
        number, value = facts[name]
        if not pattern.fullmatch(value):
            raise RecordError(f"{path}:{number}: '{name}' is {value[:40]!a}; accepted: {accepted}")
        return value

    digest = fact("scenario", "64 digits of a digest", _DIGEST)
    if digest is None:
        raise RecordError(f"{path}: does not say of which scenario it is ('# scenario: DIGEST')")
    site = fact("on site", "yes or no", re.compile("yes|no"))
    sees = fact("away sees", "alarms or readings", re.compile("alarms|readings"))
    units = fact("units", "si or us", re.compile("si|us"))
    seed = fact("seed", "a whole number", _NUMBER)
    exercise = fact("exercise", "a whole number", _NUMBER)
    who = fact("as", "a name", re.compile(r".{1,200}"))
    return PlayedOn(
        digest,
        who or "",
        None if site is None else _YES_NO[site],
        cast("AwaySees", sees or "alarms"),
        None if seed is None else int(seed),
        None if exercise is None else int(exercise),
        cast("System", units or "si"),
        facts.get("made by", (0, ""))[1].removeprefix("stationsim "),
    )


def perform(transcript: Transcript, kept: Kept) -> list[Action]:
    """Play an action file; return what was done, time that passed included.

    Parameters
    ----------
    transcript
        A drill that stands at its beginning.
    kept
        The file.

    Raises
    ------
    RecordError
        When a line cannot be read, or its time cannot be right; the message names the line.
    """
    drill, done = transcript.drill, list[Action]()
    for number, action in kept.rows:
        place = f"{kept.path}:{number}"
        if drill.over:
            raise RecordError(f"{place}: the drill is over before this row; accepted: no more rows")
        if action.t_s < drill.now_s - _BEHIND_S:
            raise RecordError(
                f"{place}: t_s is {action.t_s!r}, but by the rows above the drill stands at"
                f" {drill.now_s!r} then; accepted: that or later"
            )
        if action.t_s > drill.episode.duration_s:
            raise RecordError(
                f"{place}: t_s is {action.t_s!r}, which lies behind the end of the episode;"
                f" accepted: up to {drill.episode.duration_s!r}"
            )
        if action.t_s > drill.now_s:
            transcript.wait_until(action.t_s)
        done.append(Action(drill.now_s, action.line))
        if not action.line:
            continue
        try:
            transcript.type(action.line)
        except ActionError as error:
            raise RecordError(f"{place}: {error}") from error
    return done
