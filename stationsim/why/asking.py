"""What is asked: a scenario, or a folder of results that holds one; and the moment."""

from __future__ import annotations

import re
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from stationsim.errors import InputError
from stationsim.saving import load_result, read_manifest
from stationsim.scenario.events import MOMENTS, EventTextError, read_moment
from stationsim.scenario.load import load
from stationsim.why.screen import check, lines
from stationsim.why.watching import watched

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stationsim.episode import Episode
    from stationsim.results import Result
    from stationsim.saving import SavedResult
    from stationsim.scenario.load import Loaded
    from stationsim.station import Station

_ISO = re.compile(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d")
_ROUNDED_S = 6e-4  # the table of events gives its moments to the millisecond
_SAYS = ("time", "subject", "event", "cause")


def ask_why(
    station: Station, episode: Episode, at: str, pump: str = "", system: str = "si"
) -> list[str]:
    """Return why a pump ran at a moment or did not, as lines; of each pump shortly, or of one all.

    Parameters
    ----------
    station, episode
        What stands there, and what happens to it; they are run once more.
    at
        The moment as text: ``day 3 07:10``, or a time of the table of events.
    pump
        Which machine; empty for a short answer for each.
    system
        ``si`` or ``us``.

    Raises
    ------
    InputError
        When the moment cannot be read or lies outside the run, or there is no such machine.
    """
    asked_s = moment_s(at, episode.start)
    check(station, episode, asked_s, pump)
    seen = watched(station, episode)
    return lines(seen, of_an_event_s(asked_s, seen.result), pump, system)


class Asked(NamedTuple):
    """A scenario, and the results that stood beside it; None when a scenario file was named."""

    loaded: Loaded
    saved: SavedResult | None


def asked(
    place: Path,
    *,
    sets: Sequence[str] = (),
    events: Sequence[str] = (),
    rains: Sequence[str] = (),
) -> Asked:
    """Return the scenario of a file, or of a folder of results.

    Parameters
    ----------
    place
        A scenario file, or a folder that ``stationsim run`` has made.
    sets, events, rains
        Changes from outside, as for ``run``.

    Raises
    ------
    InputError
        When there is nothing that can be run again.
    """
    if not place.is_dir():
        return Asked(load(place, sets=sets, events=events, rains=rains), None)
    study = read_manifest(place).get("study")
    if study is not None:
        message = (
            f"{place}: these results are those of '{study}'; name a scenario file, or a folder"
        )
        raise InputError(f"{message} that 'stationsim run' has made")
    saved = load_result(place)
    file = place / "scenario.toml"
    if not file.is_file():
        raise InputError(
            f"{place}: these results hold no scenario.toml (they were set up in Python), so"
            " the run cannot be asked; name a scenario file, or a folder that"
            " 'stationsim run' has made"
        )
    loaded = load(file, sets=sets, events=events, rains=rains)
    return Asked(loaded, None if sets or events or rains else saved)


def disagreement(saved: SavedResult | None, result: Result, place: Path) -> str:
    """Return what to say when a saved record is not that of the run; nothing when it is.

    Parameters
    ----------
    saved
        The results that stood in the folder; None when there were none to compare.
    result
        The run of its scenario.
    place
        The folder.
    """
    if saved is None:
        return ""
    then, now = (
        table[list(_SAYS)].astype(str).to_numpy().tolist()
        for table in (saved.tables["events"], result.events)
    )
    if then == now:
        return ""
    by = saved.manifest.get("version", "unknown")
    first = next((n for n, (a, b) in enumerate(zip(then, now, strict=False)) if a != b), None)
    where = "one is longer than the other"
    if first is not None:
        where = f"the first difference is at {then[first][0]}"
    return (
        f"note: the events in {place} are not those of a new run of its scenario ({where}): the"
        f" record was made by another version of stationsim (it says {by}), or was changed. What"
        " follows is answered from the scenario saved there."
    )


def moment_s(text: str, start: datetime) -> float:
    """Return a moment in seconds since the start of the episode [s].

    Parameters
    ----------
    text
        As in the text of an event (``day 3 07:10``), or as in a table (ISO 8601).
    start
        Local time at which the episode begins.

    Raises
    ------
    InputError
        When it cannot be read.
    """
    at_s = _iso_s(text, start)
    if at_s is not None:
        return at_s
    try:
        return read_moment(text, start)
    except EventTextError as error:
        accepted = ", ".join(f"'{one}'" for one in MOMENTS)
        accepted = f"; accepted: {accepted}, or a time of the table of events"
        if str(error).endswith("are accepted"):
            accepted = ", and so is a time of the table of events"
        raise InputError(f"--at '{text}': {error}{accepted}") from error


def of_an_event_s(at_s: float, result: Result) -> float:
    """Return the moment of the event that a rounded moment stands for; else the moment itself [s].

    The table of events gives its moments to the millisecond: what stands there has then happened.

    Parameters
    ----------
    at_s
        The moment [s].
    result
        The run.
    """
    near = [row.t_s for row in result.trace.events if abs(row.t_s - at_s) <= _ROUNDED_S]
    return max(near, default=at_s)


def _iso_s(text: str, start: datetime) -> float | None:
    if not _ISO.match(text.strip()):
        return None
    try:
        when = datetime.fromisoformat(text.strip())
    except ValueError:
        return None
    if when.tzinfo is None:
        when = when.replace(tzinfo=start.tzinfo)
    return (when - start) / timedelta(seconds=1.0)
