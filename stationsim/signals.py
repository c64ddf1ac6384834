"""What a controller sees and says.

The panel sees a measured level, the status of each pump and whether there is supply; it never sees
the truth behind them. It answers with commands and with what should wake it next. All of these are
plain named tuples: picklable, cheap, and usable with no simulation at all.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

Verb = Literal["start", "stop"]


def level_text(level_m: float) -> str:
    """Return a level as the panel's log writes it: to the centimetre, or finer where it is set so.

    Parameters
    ----------
    level_m
        Level above the floor [m].
    """
    text = f"{level_m:.3f}"
    return f"{text[:-1] if text.endswith('0') else text} m"


class PumpSeen(NamedTuple):
    """One pump as the panel sees it.

    Parameters
    ----------
    name
        The machine: ``P1``.
    running
        True while its contactor is in.
    ready
        True when the controller may run it: selector in auto, no trip, in service.
    hours_s
        Hour meter at its last stop [s].
    starts
        Start counter.
    started_s
        When it last started [s]; minus infinity when it never did.
    stopped_s
        When it last stopped [s]; minus infinity when it never did.
    min_off_s
        How long it must rest after a stop [s].
    why_not
        Why it is not ready, as the panel shows it; empty while it is.
    """

    name: str
    running: bool
    ready: bool
    hours_s: float
    starts: int
    started_s: float
    stopped_s: float
    min_off_s: float
    why_not: str = ""


class Snapshot(NamedTuple):
    """What the panel sees at one moment.

    Parameters
    ----------
    level_m
        Measured level above the floor [m]; NaN while there is no signal.
    pumps
        The electric pumps, in the order of the scenario.
    supply
        True while the panel and its pumps have power.
    clock_s
        Local time of day and date as seconds since midnight before the first day [s].
    start_float, stop_float
        True while the backup start float, and the backup stop float, is covered.
    controller_on
        False while the controller by level is stopped or has no supply: backup floats, where there
        are any, then run the station by themselves.
    """

    level_m: float
    pumps: tuple[PumpSeen, ...]
    supply: bool
    clock_s: float
    start_float: bool = False
    stop_float: bool = True
    controller_on: bool = True


class Command(NamedTuple):
    """One order of the controller to one pump.

    Parameters
    ----------
    verb
        ``start`` or ``stop``.
    pump
        Index into ``Snapshot.pumps``.
    role
        The part that the pump plays in this run: ``lead``, ``lag``, ``second lag``, ``standby``;
        empty for a stop.
    cause
        Why, in trade words: ``level at lead start 1.50 m``.
    """

    verb: Verb
    pump: int
    role: str
    cause: str


class Note(NamedTuple):
    """Something that a controller wants on record: a start that it refused, a swap that it skipped.

    Parameters
    ----------
    subject
        The machine, or ``station``.
    event
        A word of the vocabulary, such as ``start refused``.
    cause
        Why, in trade words.
    detail
        Numbers and names that belong to it; may be empty.
    """

    subject: str
    event: str
    cause: str
    detail: str = ""


class Decision(NamedTuple):
    """What a controller answers.

    Parameters
    ----------
    commands
        Orders, carried out in this sequence at this instant.
    wake_at_levels_m
        Levels at which it wants its turn [m above floor]; reported when reached from either side.
    wake_at_s
        When it wants its turn at the latest [s]; infinity for never.
    notes
        What it wants on record.
    """

    commands: tuple[Command, ...] = ()
    wake_at_levels_m: tuple[float, ...] = ()
    wake_at_s: float = float("inf")
    notes: tuple[Note, ...] = ()
