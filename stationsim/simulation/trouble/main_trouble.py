"""Trouble with the force main and with the station at its far end.

Air and plugs cost head. A break lets all out on the way, at less head. A leak leaves the hydraulics
as they are (a few percent through a hole change the head by less than anybody could tell) and takes
its part of what is pumped. Of leak and break only a second meter tells, at the far end.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationsim.episode import EventKind, ScriptedEvent
from stationsim.equipment.faults import BY_KIND
from stationsim.simulation.trouble.conditions import MainCondition

if TYPE_CHECKING:
    from stationsim.simulation.plant import Plant
    from stationsim.simulation.trouble.happening import Handlers

HELD_DARK = "held, downstream dark"
"""Why the panel holds pumps back while the station that receives is dark."""

HELD_LIMITED = "held, downstream limited"
"""Why it holds some back while that station takes few pumps at once."""


class MainTrouble:
    """What is wrong with the force main of a plant, and downstream of it.

    Parameters
    ----------
    plant
        The plant that it belongs to.
    """

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self._size: dict[str, float] = {}

    def handlers(self) -> Handlers:
        """Return what is done at each kind of event."""
        return {
            "main air": self._in_main,
            "main leak": self._in_main,
            "main broken": self._in_main,
            "main plugged": self._in_main,
            "downstream dark": self._downstream,
            "downstream limited": self._downstream,
        }

    def _in_main(self, event: ScriptedEvent, over_s: float) -> None:
        kind, size = event.kind, event.amount
        if kind == "main plugged":
            size = event.flow_left
        told: dict[str, str] = {
            "main air": f"{size:g} m of head",
            "main leak": f"{100.0 * size:g} % of what is pumped",
            "main broken": f"at {100.0 * size:g} % of the way",
            "main plugged": f"{100.0 * size:g} % of a flow left at the same head",
        }
        self.plant.note(event.subject, BY_KIND[kind].phrase, event.cause, told[kind])
        self._size[kind] = size
        self._changed()
        self.plant.standing.begin(event.subject, kind, over_s, "force_main.right_again")

    def right_again(self, subject: str, kind: EventKind, cause: str) -> None:
        """The main is free of one trouble (see ``Standing.begin``)."""
        del self._size[kind]
        self._changed()
        self.plant.note(subject, "force main right again", cause, BY_KIND[kind].phrase)

    def _changed(self) -> None:
        plant, size = self.plant, self._size
        condition = MainCondition(
            size.get("main plugged", 1.0), size.get("main air", 0.0), size.get("main broken", 1.0)
        )
        if condition != plant.conditions.main._replace(drains_m3s=0.0):
            plant.conditions.set_main(
                condition._replace(drains_m3s=plant.conditions.main.drains_m3s)
            )
        part = 0.0 if "main broken" in size else 1.0 - size.get("main leak", 0.0)
        if part != (plant.trace.arriving[-1][1] if plant.trace.arriving else 1.0):
            plant.trace.arriving.append((plant.t_s, part))

    # ------------------------------------------------------------------ downstream

    def _downstream(self, event: ScriptedEvent, over_s: float) -> None:
        plant = self.plant
        dark = event.kind == "downstream dark"
        most = 0 if dark else round(event.amount)
        told = "takes nothing" if dark else f"takes no more than {most} at once"
        plant.note(event.subject, event.kind, event.cause, told)
        plant.permits.limit(HELD_DARK if dark else HELD_LIMITED, most)
        plant.standing.begin(event.subject, event.kind, over_s, "force_main.takes_again")

    def takes_again(self, subject: str, kind: str, cause: str) -> None:
        """The station that receives takes water again (see ``Standing.begin``)."""
        self.plant.note(subject, "downstream right again", cause, kind)
        self.plant.permits.lift(HELD_DARK if kind == "downstream dark" else HELD_LIMITED)
