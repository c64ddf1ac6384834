"""Followers: whoever wants to know of every start, every stop and every lineup.

Most runs have none; a trouble that counts hours, starts or fuel joins ``Plant.followers`` when it
begins and leaves when it is over, so that others do not pay for it.
"""

from __future__ import annotations

from stationsim.simulation.machines import Machine


class Follower:
    """Follows the machines of a plant; each method does nothing unless it is overridden."""

    def started(self, machine: Machine) -> None:
        """A machine has begun to run.

        Parameters
        ----------
        machine
            Which machine.
        """

    def stopped(self, machine: Machine) -> None:
        """A machine has stopped.

        Parameters
        ----------
        machine
            Which machine; why stands in its ``stopped_by``.
        """

    def lined_up(self) -> None:
        """Another lineup, or another condition of one, draws from this instant on."""
