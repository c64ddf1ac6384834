"""A well that was pumped down to the floor: by whom, and who ran on."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from stationsim.units import show
from stationsim.wording.sayings import OUT
from stationsim.wording.spells import Told
from stationsim.wording.words import listed

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stationsim.trace import EventRow
    from stationsim.wording.spells import Happened, Spell

_EMPTY_M = 0.001
_WORTH_TELLING_S = 60.0


class Dry:
    """A well that was pumped down to the floor: by whom, and who ran on.

    Parameters
    ----------
    happened
        What happened in the run.
    """

    def __init__(self, happened: Happened) -> None:
        self.happened = happened
        self.result = result = happened.result
        rows = happened.of("well empty")
        self._rows: dict[str, list[EventRow]] = {}
        if not rows:
            return
        runs, at_s = result.pump_runs, np.array([row.t_s for row in rows])
        for name in result.station.machine_names():
            own = runs.loc[runs["pump"] == name]
            if own.empty:
                continue
            last = np.searchsorted(own["start_s"].to_numpy(float), at_s, side="right") - 1
            ran = (last >= 0) & (own["stop_s"].to_numpy(float)[last] >= at_s)
            if np.any(ran):
                self._rows[name] = [rows[i] for i in np.flatnonzero(ran)]
        begins, ends = result.course.spans_above(_EMPTY_M)
        end_s = result.trace.end_s
        self._edges = np.concatenate(([0.0], np.column_stack((begins, ends)).ravel(), [end_s]))
        spans = np.diff(self._edges)
        spans[1::2] = 0.0
        self._so_far = np.concatenate(([0.0], np.cumsum(spans)))

    def by(self, name: str, spells: Sequence[Spell]) -> str:
        """Return what a machine in hand did to the water; it is then not told again."""
        rows = [
            row
            for row in self._rows.get(name, [])
            if any(spell.start_s <= row.t_s <= spell.stop_s for spell in spells)
        ]
        if not rows:
            return ""
        told = set(rows)
        left = {
            other: [row for row in those if row not in told] for other, those in self._rows.items()
        }
        self._rows = {other: those for other, those in left.items() if those}
        at = self.happened.often(rows)
        return f", pumped the well down to the floor {at}{self._ran_on([name])}"

    def untold(self) -> list[Told]:
        """Return what nobody's hand did."""
        if not self._rows:
            return []
        names = list(self._rows)
        rows = list(dict.fromkeys(row for name in names for row in self._rows[name]))
        rows.sort(key=lambda row: row.t_s)
        at = self.happened.often(rows)
        text = f"{listed(names)} pumped the well down to the floor {at}{self._ran_on(names)}"
        return [Told(rows[0].t_s, OUT, text)]

    def _ran_on(self, names: list[str]) -> str:
        runs = self.result.pump_runs
        longest = 0.0
        for name in names:
            own = runs.loc[runs["pump"] == name]
            stop, start = own["stop_s"].to_numpy(float), own["start_s"].to_numpy(float)
            over = np.interp(stop, self._edges, self._so_far)
            longest = max(
                longest, float(np.sum(over - np.interp(start, self._edges, self._so_far)))
            )
        if longest < _WORTH_TELLING_S:
            return ""
        return f" and ran on an empty well for {show(longest, 'duration', self.happened.units)}"
