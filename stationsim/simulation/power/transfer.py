"""The transfer switch at work: when it calls the generator, when it moves, and what keeps it.

From the loss of the grid it waits for its start delay, so that a short loss starts nothing; then it
calls the generator and, some time after good voltage, moves over. When the grid has been good for
long enough without interruption it moves back, with a break of the supply, and the generator cools
down. A generator that feeds no more while the grid is good is left at once, with the same break; a
move back that takes no time breaks nothing, and pumps run on. A switch that is stuck is found at
its next move: alarm 'transfer failed'. Once it is put right it makes up for that move.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationsim.episode import ScriptedEvent
from stationsim.simulation.clock import SAME_INSTANT_S, SUPPLY

if TYPE_CHECKING:
    from stationsim.equipment.power import TransferSwitch
    from stationsim.simulation.plant import Plant
    from stationsim.simulation.power.generator import Generator

GRID, GENERATOR, MOBILE, DEAD = "grid", "generator", "mobile generator", "dead"
"""What feeds the busbar."""

SWITCH = "transfer switch"
_ALARM = "transfer failed"


class Transfer:
    """The transfer switch between grid and fixed generator.

    Parameters
    ----------
    what
        Its times.
    generator
        The fixed set.
    plant
        The plant that it feeds.
    """

    def __init__(self, what: TransferSwitch, generator: Generator, plant: Plant) -> None:
        self.what = what
        self.generator = generator
        self.plant = plant
        self.position = GRID
        self.moving = False
        self.stuck = False
        self.wanted = False
        self._overdue = False
        self._lost_s = self._ready_s = 0.0
        self._plan = 0

    @property
    def feeds(self) -> str:
        """What it passes on: ``grid``, ``generator`` or ``dead``."""
        if self.moving:
            return DEAD
        if self.position == GRID:
            return GRID if self.plant.supply.grid_on else DEAD
        return GENERATOR if self.generator.at_voltage else DEAD

    # ------------------------------------------------------------------ the grid

    def grid_bad(self) -> None:
        """The grid is not good from now on."""
        self._plan += 1
        self._lost_s = self.plant.t_s
        if self.position == GENERATOR and not self.moving:
            self._no_longer_due("grid lost")
        elif not self.moving:
            self._call_later()

    def _call_later(self) -> None:
        plant = self.plant
        at_s = max(self._lost_s + self.what.start_delay_s, plant.t_s)
        plant.at(at_s, SUPPLY, "supply.transfer.calls", self._plan)

    def calls(self, plan: int) -> None:
        """Call the generator, unless the grid is back.

        Parameters
        ----------
        plan
            For which plan the call was foreseen.
        """
        if plan == self._plan:
            self.wanted = True
            self.generator.call("grid out")

    def grid_good(self) -> None:
        """The grid is good from now on."""
        self._plan += 1
        plant = self.plant
        if self.moving:
            return
        if self.position == GRID:
            self.wanted = False
            self._no_longer_due("grid back")
            self.generator.release("grid back")
            plant.supply.feed("grid back")
        elif self.generator.at_voltage:
            at_s = plant.t_s + self.what.return_after_s
            plant.at(at_s, SUPPLY, "supply.transfer.returns", self._plan)
        else:
            self.returns(self._plan)

    # ------------------------------------------------------------------ the generator

    def generator_ready(self) -> None:
        """The generator has good voltage."""
        plant = self.plant
        self._ready_s = plant.t_s
        if self.position == GENERATOR and not self.moving:
            plant.supply.feed("good voltage")
        elif self.wanted and not plant.supply.grid_on and not self.moving:
            at_s = plant.t_s + self.what.transfer_s
            plant.at(at_s, SUPPLY, "supply.transfer.moves", self._plan)

    def generator_down(self, cause: str) -> None:
        """The generator gives no voltage any more, against its will.

        Parameters
        ----------
        cause
            Why, in trade words.
        """
        self.plant.supply.feed(cause)
        if self.position == GENERATOR and self.plant.supply.grid_on and not self.moving:
            self._plan += 1
            self.returns(self._plan)

    def generator_free(self) -> None:
        """The generator may run again: it is called anew if it is still wanted."""
        if self.wanted:
            self.generator.call("still wanted")

    # ------------------------------------------------------------------ moving

    def moves(self, plan: int) -> None:
        """Move to the generator.

        Parameters
        ----------
        plan
            For which plan the move was foreseen.
        """
        if plan != self._plan or not self.generator.at_voltage:
            return
        if self.plant.t_s < self._ready_s + self.what.transfer_s - SAME_INSTANT_S:
            return  # it has failed and is up again meanwhile
        if self.stuck:
            self._does_not_move()
            return
        self.position = GENERATOR
        self.plant.note(SWITCH, "transferred", "to the generator")
        self.plant.supply.feed("transfer")

    def returns(self, plan: int) -> None:
        """Move back to the grid.

        Parameters
        ----------
        plan
            For which plan the move was foreseen.
        """
        if plan != self._plan:
            return
        if self.stuck:
            self._does_not_move()
            return
        plant = self.plant
        self.wanted = False
        plant.note(SWITCH, "transferred", "back to the grid")
        self.position = GRID
        if self.what.return_break_s > 0.0:
            self.moving = True
            at_s = plant.t_s + self.what.return_break_s
            plant.at(at_s, SUPPLY, "supply.transfer.arrives")
        plant.supply.feed("transfer back")
        self.generator.release("transfer back")

    def arrives(self) -> None:
        """The break of the move back is over."""
        self.moving = False
        if self.plant.supply.grid_on:
            self.plant.supply.feed("transfer back")
        else:
            self._call_later()

    # ------------------------------------------------------------------ stuck

    def sticks(self, event: ScriptedEvent, over_s: float) -> None:
        """It does not move from now on.

        Parameters
        ----------
        event
            What happens.
        over_s
            When it is over [s].
        """
        self.stuck = True
        self.plant.note(SWITCH, event.kind, event.cause, "nobody knows until it has to move")
        self.plant.standing.begin(SWITCH, event.kind, over_s, "supply.transfer.freed")

    def freed(self, _subject: str, _kind: str, cause: str) -> None:
        """Let it move again, and make up for a move (see ``Standing.begin``)."""
        self.stuck = False
        self.plant.note(SWITCH, "moves again", cause)
        if not self._overdue:
            return
        self._no_longer_due(cause)
        self._plan += 1
        if self.position == GRID and not self.plant.supply.grid_on:
            self.moves(self._plan)
        elif self.position == GENERATOR and self.plant.supply.grid_on:
            self.returns(self._plan)

    def _does_not_move(self) -> None:
        self._overdue = True
        self.plant.note(SWITCH, "does not move", "transfer switch stuck")
        self.plant.alarms.condition(_ALARM, SWITCH, 0.0, "transfer switch stuck", on=True)

    def _no_longer_due(self, cause: str) -> None:
        if self._overdue:
            self._overdue = False
            self.plant.alarms.condition(_ALARM, SWITCH, 0.0, cause, on=False)
