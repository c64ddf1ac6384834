"""The words for each kind of trouble of the catalogue, as tables; a run fills them in.

*Standing* trouble begins with the event of its own name and lasts until one of its ends. What takes
a machine out (a *block*) begins with a trip whose cause says which. Losses and sags of the grid
have sentences or clauses of their own.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from stationsim.equipment.faults import BY_KIND

if TYPE_CHECKING:
    from collections.abc import Mapping

    from stationsim.trace import EventRow

WORST, OUT, LESS, MISLEADS, CAN_WAIT = range(5)
"""How bad something is; see ``Told.rank``."""


class Saying(NamedTuple):
    """How a trouble that stands for a while is told.

    Parameters
    ----------
    text
        What a person would say; ``{who}`` stands for the subject, ``{size}`` for the number that
        goes with it, in brackets.
    rank
        How bad it is.
    ends
        Events that end it.
    found
        Events by which it was found out, of a trouble that is hidden until something is called.
    """

    text: str
    rank: int
    ends: tuple[str, ...]
    found: tuple[str, ...] = ()


_SIGNAL = ("level signal right", "level signal less wrong")
_MAIN = ("force main right again",)
_DOWNSTREAM = ("downstream right again",)
_HOLDS = ("check valve holds",)

STANDING: Mapping[str, Saying] = {
    # ---------------------------------------------------------------- pumps
    "fails to start": Saying(
        "{who} would not have started", OUT, ("can start again",), ("no run signal", "crank failed")
    ),
    "clogged": Saying("{who} was clogged{size}", LESS, ("clear again",)),
    "ragging": Saying("rags gathered in {who}{size}", LESS, ("clear again",)),
    "wearing": Saying("{who} was wearing{size}", CAN_WAIT, ("renewed",)),
    "turning backwards": Saying(
        "{who} was turning backwards{size}", LESS, ("turns the right way",)
    ),
    "air-bound": Saying("{who} was air-bound, and moved nothing,", OUT, ("air let out",)),
    "check valve open": Saying("the check valve of {who} stood open{size}", LESS, _HOLDS),
    "check valve slow": Saying("the check valve of {who} was slow to close{size}", LESS, _HOLDS),
    "plug valve closed": Saying(
        "the plug valve behind {who} was closed{size}", OUT, ("plug valve opened",)
    ),
    # ---------------------------------------------------------------- engine-driven pump
    "fails to prime": Saying(
        "{who} would not have primed", OUT, ("can prime again",), ("not primed",)
    ),
    "battery flat": Saying(
        "the battery of {who} was flat", OUT, ("can start again",), ("does not crank",)
    ),
    # ---------------------------------------------------------------- instruments
    "level signal frozen": Saying(
        "the level signal stood still", OUT, (*_SIGNAL, "level signal lost")
    ),
    "level signal lost": Saying(
        "the level signal was gone", OUT, (*_SIGNAL, "level signal frozen")
    ),
    "level signal off": Saying("the level signal was wrong{size}", MISLEADS, _SIGNAL),
    "level signal drifting": Saying("the level signal was drifting{size}", MISLEADS, _SIGNAL),
    "level signal noisy": Saying("the level signal was noisy{size}", MISLEADS, _SIGNAL),
    "level signal late": Saying("the level signal lagged{size}", MISLEADS, _SIGNAL),
    "float stuck up": Saying(
        "the {who} was stuck up, as if covered,", MISLEADS, ("float right", "float stuck down")
    ),
    "float stuck down": Saying(
        "the {who} was stuck down, as if uncovered,", MISLEADS, ("float right", "float stuck up")
    ),
    "float late": Saying("the {who} was late{size}", MISLEADS, ("float right",)),
    # ---------------------------------------------------------------- control
    "controller stopped": Saying("the controller was stopped", WORST, ("controller runs again",)),
    "control breaker open": Saying(
        "the control breaker was open", WORST, ("control breaker closed",)
    ),
    "telemetry lost": Saying("telemetry was lost", MISLEADS, ("telemetry back",)),
    "alarm off": Saying("the {who} alarm was switched off", MISLEADS, ("alarm on",)),
    # ---------------------------------------------------------------- power
    "transfer switch stuck": Saying(
        "the transfer switch was stuck", WORST, ("moves again",), ("does not move",)
    ),
    "generator fails": Saying("the {who} had failed", WORST, ("reset",)),
    "generator fails to start": Saying(
        "the {who} would not have started", WORST, ("can start again",), ("crank failed",)
    ),
    "generator late": Saying("the {who} was late to run up{size}", CAN_WAIT, ("in time again",)),
    # ---------------------------------------------------------------- force main
    "main air": Saying("air stood in the {who}{size}", LESS, _MAIN),
    "main leak": Saying("the {who} leaked{size}", LESS, _MAIN),
    "main broken": Saying("the {who} was broken{size}", WORST, _MAIN),
    "main plugged": Saying("the {who} was plugged{size}", WORST, _MAIN),
    "downstream dark": Saying("the station downstream was dark", WORST, _DOWNSTREAM),
    "downstream limited": Saying("the station downstream was limited{size}", LESS, _DOWNSTREAM),
}
"""Kind of trouble -> how it is told."""


class Block(NamedTuple):
    """How it is told that a machine was taken out: the verb, and the kind of trouble behind it."""

    verb: str
    kind: str


BLOCKS: Mapping[str, Block] = {
    "pump failed": Block("failed{when}", "fails"),
    "high temperature": Block("tripped{when} (high temperature)", "high temperature"),
    "overload": Block("tripped{when} (overload)", "overload"),
    "seal leak": Block("was taken out by a seal leak{when}", "seal leak"),
    "moisture in motor": Block("tripped{when} (moisture in the motor)", "seal leak into motor"),
    "no flow": Block("was stopped{when} for want of flow", ""),
    "low voltage": Block("tripped{when} (low voltage)", "grid sag"),
    "out of service": Block("was taken out of service{when}", "out of service"),
}
"""Cause of the trip -> how it is told."""

FREES = ("reset", "reversed and clear", "dry again", "back in service")
"""Events that free a machine of a block; the detail says of which."""

ELSEWHERE = ("grid loss", "grid sag", "phase lost")
"""Kinds of trouble that are told by words of their own."""


def begins(kind: str) -> tuple[str, ...]:
    """Return the events with which a trouble may begin: its kind, or the phrase of its kind.

    Parameters
    ----------
    kind
        Kind of the trouble.
    """
    return tuple(dict.fromkeys((kind, BY_KIND[kind].phrase)))


_KIND_OF = {word: kind for kind in STANDING for word in begins(kind)}


def ends(kind: str, end: EventRow) -> bool:
    """Return whether an event ends a kind of trouble: its detail may name another one.

    Parameters
    ----------
    kind
        Kind of the trouble.
    end
        One of its ends.
    """
    return _KIND_OF.get(end.detail.removeprefix("no longer: "), kind) == kind
