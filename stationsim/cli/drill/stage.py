"""What a drill is begun with: options, an action file, the station; all that is wrong at once."""

from __future__ import annotations

import math
import shlex
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from stationsim.cli.studying import prepare

if TYPE_CHECKING:
    from stationsim.cli.studying import Writing
    from stationsim.episode import Episode
    from stationsim.scenario.load import Loaded
    from stationsim.studies.drill.kept.action_file import Kept, PlayedOn
    from stationsim.studies.drill.kept.transcript import Transcript
    from stationsim.units import System

_LONGEST_NAME = 200


@dataclass
class Staged:
    """A drill that is ready to begin, and what it is begun with.

    Parameters
    ----------
    loaded
        The scenario.
    writing, system, folder
        How and where results are written.
    transcript
        The drill at its beginning.
    played
        What it is played on.
    kept
        The lines that it begins with; None for none.
    name
        What the file is called, without the ending.
    """

    loaded: Loaded
    writing: Writing
    system: System
    transcript: Transcript
    played: PlayedOn
    folder: Path
    kept: Kept | None
    name: str


def stage(file: Path, options: dict[str, Any]) -> tuple[float | None, Staged]:
    """Return how time passes, and all that a drill is begun with; all that is wrong at once.

    Parameters
    ----------
    file
        The scenario.
    options
        The options of the command.

    Raises
    ------
    InputError
        When anything is wrong; nothing was played, and nothing written, by then.
    """
    from stationsim.errors import InputError
    from stationsim.studies.drill.kept.keeping import partial_of

    problems: list[str] = []
    factor = _factor(options["real_time"], problems)
    kept = None
    folder = options["out"] or _folder(file, options["exercise"])
    replay, resume = options["replay"], options["resume"]
    if options["quiet"] and replay is None:
        problems.append("--quiet: nobody could answer then; accepted with --replay")
    if replay is not None:
        if resume is not None:
            problems.append("--resume: goes on with a drill; accepted without --replay")
        if factor is not None:
            problems.append("--real-time: a replay asks nobody; accepted without --replay")
    elif resume is not None:
        folder = _without_partial(resume)
        if options["out"] is not None:
            problems.append("--out: the drill goes on where it lies; accepted without --resume")
        options["out"] = folder
    elif partial_of(folder).exists() and not options["force"]:
        problems.append(
            f"{partial_of(folder)}: here lies a drill that was not brought to its end; go on with"
            f" it by --resume {folder}, or put it away by --force"
        )
    try:
        kept = _kept(replay, None if resume is None else folder)
    except InputError as error:
        problems.append(str(error))
    asked = {
        "who": _name(options["who"], problems),
        "on_site": None if options["place"] is None else options["place"] == "on site",
        "away_sees": options["away_sees"],
        "seed": options["seed"],
        "exercise": options["exercise"],
    }
    if kept is not None:
        asked = _as_it_was(asked, kept.played, problems)
        if replay is not None and options["out"] is None:
            folder = _folder(file, asked["exercise"])
        options["units"] = options["units"] or kept.played.units
    if asked["exercise"] is not None and options["events"]:
        problems.append("--event: an exercise has events of its own; accepted without --exercise")
    options["seed"] = asked["seed"]
    (loaded,), writing = prepare([file], folder, options, problems)
    if kept is not None:
        kept.refuse_other(loaded.digest)
    return factor, _ready(loaded, writing, kept, file.stem, asked)


def _folder(file: Path, exercise: int | None) -> Path:
    what = "drill" if exercise is None else f"exercise-{exercise}"
    return Path("results") / f"{file.stem}-{what}"


def _ready(
    loaded: Loaded,
    writing: Writing,
    kept: Kept | None,
    name: str,
    asked: dict[str, Any],
) -> Staged:
    from stationsim import __version__
    from stationsim.studies.drill.drill import Drill
    from stationsim.studies.drill.kept.action_file import PlayedOn
    from stationsim.studies.drill.kept.transcript import Transcript

    system = writing.system(loaded)
    played = PlayedOn(
        loaded.digest,
        asked["who"] or "",
        asked["on_site"],
        asked["away_sees"] or "alarms",
        asked["seed"],
        asked["exercise"],
        system,
        __version__,
    )
    episode, briefing = _episode(loaded, played)
    drill = Drill(
        loaded.station,
        episode,
        who=played.who,
        on_site=played.on_site,
        away_sees=played.away_sees,
        system=system,
    )
    if kept is not None and kept.played.version != __version__:
        click.echo(
            f"warning: {kept.path}: was made by stationsim {kept.played.version or '?'}, and this"
            f" is {__version__}; what happens may differ",
            err=True,
        )
    assert writing.folder is not None  # noqa: S101 - a drill always has one
    return Staged(
        loaded, writing, system, Transcript(drill, briefing), played, writing.folder, kept, name
    )


def _episode(loaded: Loaded, played: PlayedOn) -> tuple[Episode, list[str]]:
    """Return what happens, and what is said of it at the beginning."""
    number = played.exercise
    if number is None:
        return loaded.episode, []
    from stationsim.studies.drill.exercises.practice import exercise
    from stationsim.units import show

    seed = loaded.episode.seed if played.seed is None else played.seed
    episode = exercise(loaded.station, loaded.episode, number, seed).episode
    lasts = show(episode.duration_s, "duration", "si")
    said = (
        f"This is exercise {number} of seed {seed}, which ends after {lasts} at the latest. Nobody"
        " has told you of anything that is wrong."
    )
    return episode, [said]


def _factor(text: str | None, problems: list[str]) -> float | None:
    if text is None:
        return None
    try:
        factor = float(text)
    except ValueError:
        factor = math.nan
    if not 0.0 < factor < math.inf:
        problems.append(
            f"--real-time: {text!a} is no factor; accepted: a number above 0, such as 60"
        )
    return factor


def _name(text: str | None, problems: list[str]) -> str | None:
    if text is not None and not (
        text.strip() == text and text.isprintable() and 0 < len(text) <= _LONGEST_NAME
    ):
        problems.append("--as: is no name; accepted: the name of somebody, in plain characters")
        return None
    return text


_OPTIONS = {
    "who": "--as",
    "on_site": "--on-site or --away",
    "away_sees": "--away-sees",
    "seed": "--seed",
    "exercise": "--exercise",
}
_SITES = {None: "where the file has them", True: "on site", False: "away"}


def _as_it_was(asked: dict[str, Any], played: PlayedOn, problems: list[str]) -> dict[str, Any]:
    """Return what a drill was played with; who asks for something else is told."""
    was = {name: getattr(played, name) for name in _OPTIONS} | {"who": played.who or None}
    for name, option in _OPTIONS.items():
        if asked[name] not in (None, was[name]):
            said = _SITES[was[name]] if name == "on_site" else was[name] or "not given"
            problems.append(f"{option}: the lines were played otherwise ({said}); leave it out")
    return was


def _without_partial(folder: Path) -> Path:
    return folder.with_name(folder.name.removesuffix(".partial")) if folder.name else folder


def _kept(replay: Path | None, resume: Path | None) -> Kept | None:
    """Return the action file that is to be played or gone on with."""
    from stationsim.errors import RecordError
    from stationsim.studies.drill.kept.action_file import FILE, read
    from stationsim.studies.drill.kept.keeping import partial_of

    if replay is not None:
        return read(replay)
    if resume is None:
        return None
    path = partial_of(resume) / FILE
    if not path.exists():
        raise RecordError(f"--resume: no drill is kept in {path.parent}; nothing to go on with")
    return read(path, torn=True)


def command_words(file: Path, options: dict[str, Any]) -> list[str]:
    """Return how a drill of this file, with what was changed from outside, is begun.

    Parameters
    ----------
    file
        The file.
    options
        The options of the command.
    """
    words = ["stationsim", "drill", str(file)]
    for name, key in (("--set", "sets"), ("--event", "events"), ("--rain", "rains")):
        for value in options[key]:
            words += [name, value]
    return words


def how_to_go_on(file: Path, options: dict[str, Any], folder: Path) -> str:
    """Return the command line that goes on with the drill.

    Parameters
    ----------
    file, options
        As of :func:`command_words`.
    folder
        Of its results.
    """
    words = command_words(file, options)
    if options["real_time"] is not None:
        words += ["--real-time", options["real_time"]]
    return shlex.join([*words, "--resume", str(folder)])
