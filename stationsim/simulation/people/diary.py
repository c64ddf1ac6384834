"""The diary of the crew: who, or what that comes by itself, did what from when to when."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stationsim.trace import CrewRow

if TYPE_CHECKING:
    from stationsim.simulation.plant import Plant


NO_ANSWER = "no answer"
"""What comes of a phone that rings in vain."""


class Diary:
    """The rows of the crew, open and closed.

    Parameters
    ----------
    plant
        The plant whose trace they are written to.
    """

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self._open: dict[int, tuple[CrewRow, float]] = {}  # and when it is given up [s]
        self._next = 0

    def begin(
        self,
        task: str,
        subject: str,
        planned_s: float,
        person: str = "",
        tool: str = "",
        waited_s: float = 0.0,
        gives_up_s: float = math.inf,
    ) -> int:
        """Write down that something begins now; return the number to end it by.

        Parameters
        ----------
        task, subject
            What is done, and to what.
        planned_s
            How long it is to take [s].
        person, tool
            Who does it, and with what.
        waited_s
            How long it has waited for a person or a tool [s].
        gives_up_s
            Of a phone that nobody hears: how long it rings at most [s].
        """
        now = float(self.plant.clock.now)
        number = self._next
        self._next += 1
        row = CrewRow(task, subject, planned_s, now, math.nan, "", person, tool, float(waited_s))
        self._open[number] = row, now + gives_up_s
        return number

    def end(self, number: int, outcome: str = "done", stop_s: float | None = None) -> None:
        """Write down that something has ended.

        Parameters
        ----------
        number
            What :meth:`begin` gave.
        outcome
            What came of it, in trade words.
        stop_s
            When [s]; None for now.
        """
        found = self._open.pop(number, None)
        if found is not None:
            row, given_up_s = found
            stop = float(self.plant.clock.now) if stop_s is None else stop_s
            if stop > given_up_s:
                stop, outcome = given_up_s, NO_ANSWER
            self.plant.trace.crew.append(row._replace(stop_s=stop, outcome=outcome))

    def close(self, end_s: float) -> None:
        """Close what is open at the end of the run.

        Parameters
        ----------
        end_s
            When that is [s].
        """
        for number in list(self._open):
            self.end(number, "end of run", end_s)
        self.plant.trace.crew.sort(key=lambda row: (row.start_s, row.stop_s))
