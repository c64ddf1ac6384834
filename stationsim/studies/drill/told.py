"""The log of a drill: what was typed, told and ordered, what was looked at, and when."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Literal, NamedTuple

if TYPE_CHECKING:
    from stationsim.simulation.looking import Shown, Sight
    from stationsim.simulation.session import Session

By = Literal["phone", "panel", "crew", "passer-by", "answer", "refused"]
AwaySees = Literal["alarms", "readings"]


class Action(NamedTuple):
    """A line that was typed, and when.

    Parameters
    ----------
    t_s
        Where the drill stood [s].
    line
        What was typed.
    """

    t_s: float
    line: str


class Told(NamedTuple):
    """Something that the person who plays was told.

    Parameters
    ----------
    t_s
        When [s].
    by
        How they came to know: ``phone``, ``panel``, ``crew``, ``passer-by``; ``answer`` to what was
        asked or ordered, ``refused`` for what could not be done.
    text
        What they were told.
    who
        Who told it; empty for nobody in particular.
    event
        Which event of the run it tells of, counted from nought; -1 for none.
    """

    t_s: float
    by: By
    text: str
    who: str = ""
    event: int = -1


class Decided(NamedTuple):
    """Something that was ordered, and what was known then.

    Parameters
    ----------
    t_s
        When [s].
    line
        What was typed.
    verb
        What kind of thing it was.
    place
        Where the person who plays was.
    level_m, level_seen_m
        Where the water stood, and what they could read of it; NaN for nothing [m above floor].
    action
        Which of the lines it was, counted from nought.
    """

    t_s: float
    line: str
    verb: str
    place: str
    level_m: float
    level_seen_m: float
    action: int


class Looked(NamedTuple):
    """A look at the panel, by the person who plays or for them, and what it showed.

    Parameters
    ----------
    t_s
        When [s].
    by, who
        As in :class:`Told`.
    shown
        What the panel showed.
    sight
        What somebody found there with their own eyes; None where nobody looked.
    closely
        Whether they had looked around, too.
    """

    t_s: float
    by: By
    who: str
    shown: Shown
    sight: Sight | None = None
    closely: bool = False


class Log:
    """What the person who plays has been told, and has looked at, until they are done.

    Parameters
    ----------
    session
        The run whose time it goes by.
    """

    def __init__(self, session: Session) -> None:
        self.session = session
        self.told: list[Told] = []
        self.looks: list[Looked] = []
        self.attention = False  # whether something was told that ends a wait before its time
        self.left_s = math.inf  # when the person who plays was done [s]

    @property
    def closed(self) -> bool:
        """True when the person who plays was done: they hear nothing any more."""
        return self.left_s < math.inf

    def close(self) -> None:
        """The person who plays is done."""
        self.left_s = min(self.left_s, self.session.now_s)

    def tell(
        self,
        by: By,
        text: str,
        who: str = "",
        *,
        at_s: float | None = None,
        event: int = -1,
        attention: bool = False,
    ) -> None:
        """Write down that the person who plays is told something; nothing once they are done.

        Parameters
        ----------
        by, text, who, event
            As in :class:`Told`.
        at_s
            When [s]; None for now.
        attention
            Whether it ends a wait before its time.
        """
        self.attention = self.attention or attention
        if self.closed and by not in ("answer", "refused"):
            return
        now_s = self.session.now_s
        self.told.append(Told(now_s if at_s is None else at_s, by, text, who, event))

    def answer_first(self, text: str, known: int, at_s: float) -> None:
        """Write an answer down before all that was told of what it has begun.

        Parameters
        ----------
        text
            The answer.
        known
            How many lines had been told before it was begun [-].
        at_s
            When that was [s].
        """
        self.told.insert(known, Told(at_s, "answer", text))

    def look(
        self, by: By, who: str, shown: Shown, sight: Sight | None = None, *, closely: bool = False
    ) -> None:
        """Write down a look at the panel; none once the person who plays is done.

        Parameters
        ----------
        by, who, shown, sight, closely
            As in :class:`Looked`.
        """
        if not self.closed:
            self.looks.append(Looked(self.session.now_s, by, who, shown, sight, closely))
