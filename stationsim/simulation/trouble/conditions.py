"""The condition of machines and main, as the lineup has to know it.

Losses of a pump come from several troubles at once (rags, wear, a valve) and multiply. Whatever
changes here makes another lineup from this instant on; equal conditions share one.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from stationsim.simulation.plant import Plant


class PumpCondition(NamedTuple):
    """What troubles leave of one machine.

    Parameters
    ----------
    flow_left, head_left
        Part of its flow and of its head that is left [-]; a flow of nought: it moves nothing.
    runs_back
        Part of its own flow that runs back through it while it stands [-].
    """

    flow_left: float = 1.0
    head_left: float = 1.0
    runs_back: float = 0.0


class MainCondition(NamedTuple):
    """What troubles leave of the force main.

    Parameters
    ----------
    flow_left
        It loses at this part of a flow what it lost at the whole [-]; nought: it is shut.
    air_m
        Head that trapped air costs [m].
    way
        Part of the way that the water goes: less than one when it is broken there [-].
    drains_m3s
        Flow at which it runs back into the well while no pump moves any water [m3/s].
    """

    flow_left: float = 1.0
    air_m: float = 0.0
    way: float = 1.0
    drains_m3s: float = 0.0


SOUND_PUMP = PumpCondition()
SOUND_MAIN = MainCondition()

ConditionKey = tuple[tuple[PumpCondition, ...], MainCondition]


class Conditions:
    """The conditions of all machines and of the main.

    Parameters
    ----------
    plant
        The plant that they belong to.
    count
        How many machines there are.
    """

    def __init__(self, plant: Plant, count: int) -> None:
        self.plant = plant
        self._losses: list[dict[str, tuple[float, float]]] = [{} for _ in range(count)]
        self._back = [0.0] * count
        self._main = SOUND_MAIN
        self.key: ConditionKey = ((SOUND_PUMP,) * count, SOUND_MAIN)

    @property
    def main(self) -> MainCondition:
        """The condition of the main."""
        return self._main

    def of(self, machine: int) -> PumpCondition:
        """Return the condition of a machine.

        Parameters
        ----------
        machine
            Its index.
        """
        return self.key[0][machine]

    def lose(self, machine: int, kind: str, flow_left: float, head_left: float = 1.0) -> None:
        """Let a trouble leave a part of a machine's flow and head; it takes the place of its like.

        Parameters
        ----------
        machine
            Index of the machine.
        kind
            The trouble.
        flow_left, head_left
            What is left [-].
        """
        self._losses[machine][kind] = (flow_left, head_left)
        self._changed()

    def regain(self, machine: int, kind: str) -> None:
        """Take a trouble's loss away.

        Parameters
        ----------
        machine
            Index of the machine.
        kind
            The trouble.
        """
        if self._losses[machine].pop(kind, None) is not None:
            self._changed()

    def run_back(self, machine: int, part: float) -> None:
        """Let water run back through a machine while it stands.

        Parameters
        ----------
        machine
            Index of the machine.
        part
            Part of its own flow [-]; nought: its check valve holds.
        """
        self._back[machine] = part
        self._changed()

    def set_main(self, main: MainCondition) -> None:
        """Let the main be in another condition.

        Parameters
        ----------
        main
            The condition.
        """
        self._main = main
        self._changed()

    def drain(self, flow_m3s: float) -> None:
        """Let the water of the main run back.

        Parameters
        ----------
        flow_m3s
            At which flow [m3/s]; nought: it stands.
        """
        self._main = self._main._replace(drains_m3s=flow_m3s)
        self.key = (self.key[0], self._main)

    def ragged(self, machine: int) -> bool:
        """Return whether rags hold a machine back: its motor then heats more.

        Parameters
        ----------
        machine
            Index of the machine.
        """
        return "clogged" in self._losses[machine] or "ragging" in self._losses[machine]

    def _changed(self) -> None:
        pumps = tuple(
            PumpCondition(
                # in one order, so that what came first changes no digit
                math.prod(losses[kind][0] for kind in sorted(losses)),
                math.prod(losses[kind][1] for kind in sorted(losses)),
                # a valve that is shut behind the pump holds back what its check valve lets through
                back * losses.get("plug valve closed", (1.0, 1.0))[0],
            )
            for losses, back in zip(self._losses, self._back, strict=True)
        )
        self.key = (pumps, self._main)
        self.plant.heating.look_at_all()
