"""The diary of those who act in a drill: who, or what that comes by itself, did what, and when."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stationsim.trace import CrewRow

if TYPE_CHECKING:
    from stationsim.studies.drill.crew.hands import Listener


class Diary:
    """The rows of a crew, those that are over and those that are open.

    Parameters
    ----------
    listener
        Whose time it goes by.
    """

    def __init__(self, listener: Listener) -> None:
        self.listener = listener
        self.rows: list[CrewRow] = []
        self._open: dict[int, CrewRow] = {}
        self._number = 0

    def begin(
        self, task: str, subject: str, planned_s: float, person: str = "", tool: str = ""
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
        """
        now_s = self.listener.now_s
        self._number += 1
        row = CrewRow(task, subject, planned_s, now_s, math.nan, "", person, tool)
        self._open[self._number] = row
        return self._number

    def end(self, number: int, outcome: str = "done") -> None:
        """Write down that something has ended now.

        Parameters
        ----------
        number
            What :meth:`begin` gave.
        outcome
            What came of it, in trade words.
        """
        row = self._open.pop(number)
        self.rows.append(row._replace(stop_s=self.listener.now_s, outcome=outcome))

    def close(self, end_s: float) -> list[CrewRow]:
        """Close what is open at the end of the run; return all rows.

        Parameters
        ----------
        end_s
            When that is [s].
        """
        for number in list(self._open):
            row = self._open.pop(number)
            self.rows.append(row._replace(stop_s=end_s, outcome="end of run"))
        self.rows.sort(key=lambda row: (row.start_s, row.stop_s))
        return self.rows
