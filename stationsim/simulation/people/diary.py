"""The diary of the crew: who, or what that comes by itself, did what from when to when."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stationsim.trace import CrewRow

if TYPE_CHECKING:
    from stationsim.simulation.plant import Plant


class Diary:
    """The rows of the crew, open and closed.

    Parameters
    ----------
    plant
        The plant whose trace they are written to.
    """

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self._open: dict[int, CrewRow] = {}
        self._next = 0

    def begin(
        self,
        task: str,
        subject: str,
        planned_s: float,
        person: str = "",
        tool: str = "",
        waited_s: float = 0.0,
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
        """
        now = float(self.plant.clock.now)
        number = self._next
        self._next += 1
        self._open[number] = CrewRow(
            task, subject, planned_s, now, math.nan, "", person, tool, float(waited_s)
        )
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
        row = self._open.pop(number, None)
        if row is not None:
            stop = float(self.plant.clock.now) if stop_s is None else stop_s
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
