"""``stationsim drill``: somebody sees what they could see, says what is done, and is answered."""

from __future__ import annotations

import contextlib
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from stationsim.cli.drill.stage import Staged, how_to_go_on, stage
from stationsim.cli.studying import conclude, source_of, study_options

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stationsim.cli.drill.screen import Talk
    from stationsim.studies.drill.kept.keeping import Keeper
    from stationsim.studies.drill.kept.transcript import Transcript
    from stationsim.studies.drill.told import Action


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--as",
    "who",
    metavar="NAME",
    help="Who you are, of the people of the file.  [default: the first on the call list]",
)
@click.option("--on-site", "place", flag_value="on site", help="You begin before the panel.")
@click.option(
    "--away",
    "place",
    flag_value="away",
    help="You begin away from the station.  [default, where the file names people]",
)
@click.option(
    "--away-sees",
    type=click.Choice(["alarms", "readings"]),
    help="What the far end shows to somebody who is away.  [default: alarms]",
)
@click.option(
    "--real-time",
    metavar="FACTOR",
    help="Time passes while you think: so many seconds in each second, such as 60.",
)
@click.option(
    "--replay",
    type=click.Path(path_type=Path),
    metavar="ACTIONS",
    help="Play the lines of an earlier drill to its end, without asking: its actions.csv.",
)
@click.option(
    "--resume",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Go on with a drill that was not brought to its end; DIR is the folder of its results.",
)
@click.option(
    "--exercise",
    type=click.IntRange(min=1),
    metavar="NUMBER",
    help="Play this exercise, drawn by the seed, instead of what the file scripts.",
)
@click.option(
    "--practice",
    type=click.IntRange(min=1),
    metavar="COUNT",
    help="Play nothing: write so many exercises, a slip for each student, and the key apart.",
)
@click.option(
    "--cards",
    is_flag=True,
    help="Play nothing: write cards for a group round a table, and the key apart.",
)
@click.option(
    "--seed",
    type=click.IntRange(min=0),
    help="Seed instead of the scenario's own, for what happens by chance.",
)
@study_options()
@click.pass_context
def drill(ctx: click.Context, /, file: Path, **options: Any) -> None:
    """Go through what happens at the station of the scenario FILE, with you in the loop.

    You see what you could see where you are: away, the alarms that reach your phone and what
    people on site tell; on site, the panel and what you look at. You type what you ask or do, and
    the station answers; 'help' tells what can be typed. At 'done', or at the end of the episode,
    what was true is laid beside what you were told, with the run in which nobody acts and, where
    the file has a plan, the run by that plan.

    Each line is kept the moment it is typed, in DIR.partial/actions.csv; an interrupt loses
    nothing. At the end it lies in DIR as actions.csv, beside the tables and transcript.txt. Lines
    may come from a pipe, too.

    This is training: it controls nothing, and nothing that worked here is a reason to try it on a
    station.

    \b
    Examples:
        stationsim drill my-station.toml
        stationsim drill my-station.toml --as "second operator" --away-sees readings
        stationsim drill my-station.toml --on-site --event "07:10 grid loss for 4 h"
        stationsim drill my-station.toml --real-time 60
        stationsim drill my-station.toml --resume results/my-station-drill
        stationsim drill my-station.toml --replay actions.csv --out results/again
        stationsim drill my-station.toml --practice 12 --seed 42
        stationsim drill my-station.toml --exercise 7 --seed 42
        stationsim drill my-station.toml --cards
    """  # noqa: D301 - \b is click's mark
    for stream in (sys.stdout, sys.stderr):
        with contextlib.suppress(AttributeError, ValueError):
            stream.reconfigure(errors="replace")  # type: ignore[union-attr]
    if options["cards"]:
        from stationsim.cli.drill.papers import hand_out_cards

        hand_out_cards(file, options)
        return
    if options["practice"] is not None:
        from stationsim.cli.drill.papers import hand_out_exercises

        hand_out_exercises(file, options)
        return
    factor, staged = stage(file, options)
    if options["replay"] is not None:
        _replay(staged)
        return
    again = how_to_go_on(file, options, staged.folder)
    if not _play(staged, factor, again):
        ctx.exit(1)


# ---------------------------------------------------------------------- playing


def _replay(staged: Staged) -> None:
    """Play an action file to its end without asking."""
    from stationsim.cli.drill.screen import Talk
    from stationsim.studies.drill.kept.action_file import perform
    from stationsim.studies.drill.told import Action

    assert staged.kept is not None  # noqa: S101 - it is what is played
    transcript = staged.transcript
    actions = perform(transcript, staged.kept)
    if not transcript.drill.over:
        actions.append(Action(transcript.drill.now_s, "done"))
        transcript.type("done")
    if not staged.writing.quiet:
        talk = Talk(transcript, None)
        talk.open()
        talk.all()
        talk.over()
    _conclude(staged, transcript, actions)


def _play(staged: Staged, factor: float | None, again: str) -> bool:
    """Play a drill; return whether it was brought to its end."""
    from stationsim.cli.drill.screen import Talk
    from stationsim.studies.drill.kept.action_file import perform
    from stationsim.studies.drill.kept.keeping import Keeper

    keeper = Keeper(staged.folder, staged.transcript.drill.episode)
    if staged.kept is None:
        keeper.begin(staged.played, force=staged.writing.force)
    else:
        keeper.go_on(staged.kept, perform(staged.transcript, staged.kept))
    talk = Talk(staged.transcript, keeper)
    try:
        talk.open()
        if staged.kept is not None:
            talk.resume()
            if staged.kept.torn:
                click.echo("The last line had not been kept whole, and is left out.\n")
        _ask_until_over(talk, factor)
        talk.over()
        _end(staged, keeper, paced=factor is not None)
    except (KeyboardInterrupt, EOFError) as stop:
        _keep_what_passed(talk, keeper, paced=factor is not None)
        _say_where(keeper, again, interrupted=isinstance(stop, KeyboardInterrupt))
        return False
    finally:
        if keeper.path.exists() and not keeper.kept():
            keeper.discard()
    return True


def _ask_until_over(talk: Talk, factor: float | None) -> None:
    from stationsim.cli.drill.lines import WaitedLines, lines_at_hand
    from stationsim.cli.drill.screen import Paced, converse

    if talk.drill.over:
        return
    if factor is None:
        converse(talk, lines_at_hand())
    else:
        Paced(talk, WaitedLines(), factor).run()


def _keep_what_passed(talk: Talk, keeper: Keeper, *, paced: bool) -> None:
    """Keep the time that has passed since the last line; a line that is being done is kept."""
    from stationsim.studies.drill.told import Action

    now_s = talk.drill.now_s
    last_s = keeper.actions[-1].t_s if keeper.actions else 0.0
    if paced and not talk.within_line and not talk.drill.over and now_s > last_s:
        keeper.keep(Action(now_s, ""))


def _say_where(keeper: Keeper, again: str, *, interrupted: bool) -> None:
    what = "stopped" if interrupted else "no more lines came"
    if not keeper.path.exists():  # they lie with the results already
        click.echo(f"\n{what}; the results are written: {keeper.folder}", err=True)
        return
    kept = keeper.kept()
    if not kept:
        click.echo(f"\n{what}; nothing had been typed, so nothing is kept", err=True)
        return
    count = sum(1 for one in kept if one.line)
    lines = "1 line is" if count == 1 else f"{count} lines are"
    click.echo(f"\n{what}; {lines} kept in {keeper.path}", err=True)
    click.echo(f"go on with: {again}", err=True)


def _end(staged: Staged, keeper: Keeper, *, paced: bool) -> None:
    """Write what came of the drill, and then take the kept lines away."""
    from stationsim.studies.drill.kept.action_file import FILE, perform, read
    from stationsim.studies.drill.told import Action

    drill, transcript = staged.transcript.drill, staged.transcript
    actions = list(keeper.actions)
    if paced:
        at_end = drill.now_s >= drill.episode.duration_s
        if at_end and (not actions or actions[-1].line or actions[-1].t_s < drill.now_s):
            keeper.keep(Action(drill.now_s, ""))
        # what was played in many small steps is told as its lines will always tell it
        transcript = transcript.again()
        actions = perform(transcript, read(keeper.path))
    try:
        _conclude(staged, transcript, actions)
    finally:
        with contextlib.suppress(OSError):
            if (staged.folder / FILE).read_text("utf-8") == _actions_text(staged, actions):
                keeper.discard()


def _actions_text(staged: Staged, actions: Sequence[Action]) -> str:
    from stationsim.studies.drill.kept.action_file import whole_text

    return whole_text(staged.played, actions, staged.transcript.drill.episode)


def _conclude(staged: Staged, transcript: Transcript, actions: Sequence[Action]) -> None:
    from stationsim.studies.drill.account.study import debrief
    from stationsim.studies.drill.kept.action_file import FILE

    result = debrief(transcript.drill, [source_of(staged.loaded, staged.name)])
    more = {FILE: _actions_text(staged, actions), "transcript.txt": transcript.text()}
    conclude(result, staged.writing, staged.system, more)
