"""What ``stationsim drill`` writes for a class or a group: exercises or cards, with a key."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from stationsim.cli.studying import prepare, source_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stationsim.cli.studying import Writing
    from stationsim.study_result import StudyResult
    from stationsim.units import System

_PLAYS = ("who", "place", "away_sees", "real_time", "replay", "resume", "exercise")
_OF_CARDS = ("who", "away_sees")
_NAMES = {"who": "--as", "place": "--on-site or --away"}


def played_too(options: dict[str, Any], option: str, besides: Sequence[str] = ()) -> list[str]:
    """Return what is wrong when papers are written and something is to be played, too.

    Parameters
    ----------
    options
        The options of the command.
    option
        The one that asks for papers.
    besides
        Options that count for them as well.
    """
    return [
        f"{_NAMES.get(name, '--' + name.replace('_', '-'))}: belongs to a drill that is played;"
        f" accepted without {option}"
        for name in _PLAYS
        if options[name] is not None and name not in besides
    ]


def hand_out_exercises(file: Path, options: dict[str, Any]) -> None:
    """Write exercises for a class, and the key apart.

    Parameters
    ----------
    file
        The scenario.
    options
        The options of the command.

    Raises
    ------
    InputError
        When anything is wrong; nothing was written by then.
    """
    from stationsim.cli.drill.stage import command_words
    from stationsim.studies.drill.exercises.practice import MOST_EXERCISES, practice, write_practice
    from stationsim.studies.drill.exercises.slips import NOT_LOCKED

    problems = played_too(options, "--practice")
    if options["practice"] > MOST_EXERCISES:
        problems.append(
            f"--practice: {options['practice']} are too many; accepted: 1 to {MOST_EXERCISES}"
        )
    folder = Path("results") / f"{file.stem}-practice"
    (loaded,), writing = prepare([file], folder, options, problems)
    system = writing.system(loaded)
    seed = loaded.episode.seed if options["seed"] is None else options["seed"]
    command = shlex.join(command_words(Path(file.name), options))
    found = practice(
        loaded.station,
        loaded.episode,
        options["practice"],
        seed,
        [source_of(loaded, file.stem)],
        command=command,
    )

    def besides(study: StudyResult, within: Path) -> None:
        from stationsim.pages import write_page, write_sheets

        sheets = [form for form in study.to_fill_in(system) if form.parts]
        if sheets:
            write_sheets(sheets, within)
        if writing.page:
            write_page(study, within, system, figures={})

    assert writing.folder is not None  # noqa: S101 - papers always have one
    write_practice(
        found, writing.folder, writing.formats, system=system, force=writing.force, besides=besides
    )
    places = {"To hand out": "students", "The key, which tells the truth": "key"}
    _tell(found.students, writing, system, places, NOT_LOCKED)


def hand_out_cards(file: Path, options: dict[str, Any]) -> None:
    """Write cards for a group round a table, and the key apart.

    Parameters
    ----------
    file
        The scenario.
    options
        The options of the command.

    Raises
    ------
    InputError
        When anything is wrong; nothing was written by then.
    """
    from stationsim.pages.cards import CARDS_FOLDER, CARDS_PAGE, KEY_FOLDER, KEY_PAGE, write_cards
    from stationsim.studies.drill.cards.deck import cards
    from stationsim.studies.drill.cards.text import NOT_LOCKED

    problems = played_too(options, "--cards", _OF_CARDS)
    if options["practice"] is not None:
        problems.append("--practice: writes other papers; accepted without --cards")
    if options["page"]:
        problems.append("--page: cards and key are pages already; leave it out")
    folder = Path("results") / f"{file.stem}-cards"
    (loaded,), writing = prepare([file], folder, options, problems)
    system = writing.system(loaded)
    found = cards(
        loaded.station,
        loaded.episode,
        [source_of(loaded, file.stem)],
        who=options["who"] or "",
        away_sees=options["away_sees"] or "alarms",
        system=system,
    )
    assert writing.folder is not None  # noqa: S101 - papers always have one
    write_cards(
        found.cards, found.key, writing.folder, formats=writing.formats, force=writing.force
    )
    places = {
        "Cards to print": f"{CARDS_FOLDER}/{CARDS_PAGE}",
        "The key, which tells the truth": f"{KEY_FOLDER}/{KEY_PAGE}",
    }
    _tell(found.cards, writing, system, places, NOT_LOCKED)


def _tell(
    handed: StudyResult,
    writing: Writing,
    system: System,
    places: dict[str, str],
    not_locked: str,
) -> None:
    """Print what is handed out, where it lies, and how well its key is kept."""
    if writing.quiet or writing.folder is None:
        return
    for sentence in handed.sentences(system):
        click.echo(sentence)
    click.echo()
    for what, place in places.items():
        click.echo(f"{what}: {writing.folder / place}")
    click.echo(not_locked)
    for line in handed.cautions:
        click.echo(f"- {line}")
    click.echo(handed.caution)
