"""Times for which something stood, from the events of a run, and how they are said."""

from __future__ import annotations

import re
from collections import defaultdict
from typing import TYPE_CHECKING, NamedTuple

from stationsim.units import show
from stationsim.wording.words import at_end, moment, times

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from stationsim.results import Result
    from stationsim.trace import EventRow
    from stationsim.units import System

_LENGTH = re.compile(r"\b(\d+(?:\.\d+)?(?:e-?\d+)?) m\b")
BY_CHANCE = "by chance"


class Spell(NamedTuple):
    """A time for which something stood: when, how it began and ended; no end within the run."""

    start_s: float
    stop_s: float
    begun: EventRow
    ended: EventRow | None


class Told(NamedTuple):
    """One thing to tell.

    Parameters
    ----------
    at_s
        When it first happened [s].
    rank
        How bad it was: 0 the whole station, 1 a pump or a person, 2 less water than should be,
        3 what misleads, 4 what can wait. The worst is told first.
    text
        What a person would say.
    """

    at_s: float
    rank: int
    text: str


class Happened:
    """What happened in a run, by word and by subject.

    Parameters
    ----------
    result
        The run.
    units
        ``si`` or ``us``.
    """

    def __init__(self, result: Result, units: System) -> None:
        self.result, self.units = result, units
        self._rows: dict[str, list[EventRow]] = defaultdict(list)
        for row in sorted(result.trace.events, key=lambda row: row.t_s):
            if row.event not in ("start", "stop"):
                self._rows[row.event].append(row)
        self.chances_s = {row.t_s for row in self._rows["random fault"]}
        """When something came by chance [s]."""

    def of(self, *events: str, subject: str = "") -> list[EventRow]:
        """Return the rows of some events, in the order of time.

        Parameters
        ----------
        events
            Words of the vocabulary.
        subject
            Whose; empty for anybody's.
        """
        rows = [row for word in events for row in self._rows.get(word, ())]
        return sorted(
            (row for row in rows if subject in ("", row.subject)), key=lambda row: row.t_s
        )

    def subjects(self, *events: str) -> list[str]:
        """Return whom some events befell, in the order of time."""
        return list(dict.fromkeys(row.subject for row in self.of(*events)))

    def spells(
        self, begins: Sequence[EventRow], ends: Sequence[EventRow], also: Callable[..., bool]
    ) -> list[Spell]:
        """Return for how long something stood; what begins again while it stands counts once.

        Parameters
        ----------
        begins, ends
            What begins it, and what may end it, in the order of time.
        also
            Asked with the beginning and a possible end, whether it is one.
        """
        found: list[Spell] = []
        for row in begins:
            if found and row.t_s < found[-1].stop_s:
                continue
            ended = next((end for end in ends if end.t_s >= row.t_s and also(row, end)), None)
            over_s = self.result.trace.end_s if ended is None else ended.t_s
            found.append(Spell(row.t_s, over_s, row, ended))
        return found

    # ------------------------------------------------------------------ how they are said

    def at(self, t_s: float) -> str:
        """Return a moment as people say it."""
        return moment(self.result, t_s)

    def lasting(self, spells: Sequence[Spell]) -> str:
        """Return how long some spells lasted in all."""
        return show(sum(s.stop_s - s.start_s for s in spells), "duration", self.units)

    def ends(self, spell: Spell) -> bool:
        """Return whether the run was over before a spell was."""
        return at_end(self.result, spell.stop_s)

    def since(self, spells: Sequence[Spell]) -> str:
        """Return since when and for how long something stood that nobody turned."""
        begins = self.at(spells[0].start_s)
        if len(spells) > 1:
            return f"{begins} on, {times(len(spells))}, for {self.lasting(spells)} in all"
        return f"{begins} to the end" if self.ends(spells[0]) else self._for(spells)

    def _for(self, spells: Sequence[Spell]) -> str:
        return f"{self.at(spells[0].start_s)} for {self.lasting(spells)}"

    def turned(self, spells: Sequence[Spell]) -> str:
        """Return when a selector was turned, and for how long it stayed so."""
        open_ = self.ends(spells[-1])
        if len(spells) == 1:
            begins = self.at(spells[0].start_s)
            return f"at {begins} (to the end)" if open_ else f"at {self._for(spells)}"
        still = ", still so at the end" if open_ else ""
        first = f"{times(len(spells))}, first at {self.at(spells[0].start_s)}"
        return f"{first}, for {self.lasting(spells)} in all{still}"

    def often(self, rows: Sequence[EventRow]) -> str:
        """Return when something happened: the moment, or how often and when first."""
        first = f"at {self.at(rows[0].t_s)}"
        return first if len(rows) == 1 else f"{times(len(rows))}, first {first}"

    def size(self, rows: Sequence[EventRow]) -> str:
        """Return the detail of events in brackets when they all have the same; else nothing."""
        details = {row.detail for row in rows}
        if len(details) > 1 or not (detail := next(iter(details), "")):
            return ""
        detail = detail.replace(" (standard deviation)", ", standard deviation")
        return f" ({self.in_units(detail.removesuffix(' late'))})"

    def in_units(self, detail: str) -> str:
        """Return a detail with its lengths in the units asked for."""
        if self.units == "si":
            return detail
        return _LENGTH.sub(lambda m: show(float(m.group(1)), "length", self.units), detail)

    def chance(self, rows: Sequence[EventRow]) -> str:
        """Return that some events came by chance: all of them, or so many."""
        came = sum(row.t_s in self.chances_s or row.cause == BY_CHANCE for row in rows)
        if not came:
            return ""
        return f" ({BY_CHANCE})" if came == len(rows) else f" ({times(came)} {BY_CHANCE})"
