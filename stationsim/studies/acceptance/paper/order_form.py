"""The order of the day as a sheet for the crew: what comes when, with which water, and a tick."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stationsim.forms import Form
from stationsim.studies.acceptance.cautions import FOOTER
from stationsim.studies.acceptance.text import clock_text
from stationsim.units import show

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stationsim.studies.acceptance.day import Day
    from stationsim.units import System

NAME = "fill_in_order"
_HOW = (
    "'at' is when a step begins, after its wait: a reckoning, with 5 min of setting up for each"
    " test and half an hour for what is done by hand. 'level' is where it begins; 'water' is"
    " brought before it and while it lasts."
)
COLUMNS = ("step", "test", "at", "what is done", "level", "water", "wait", "lasts", "done", "note")


def order_form(day: Day, system: System, cautions: Sequence[str]) -> Form:
    """Return the order of the day as a form.

    Parameters
    ----------
    day
        The day.
    system
        ``si`` or ``us``.
    cautions
        What can hurt, one line each.
    """

    def quantity(value: float, kind: str) -> str:
        shown = math.isfinite(value) and value != 0.0
        return show(value, kind, system) if shown else ""  # type: ignore[arg-type]

    rows = tuple(
        (
            float(step.step),
            step.test,
            clock_text(step.clock_s),
            step.what,
            "" if math.isnan(step.from_level_m) else _levels(day, step.from_level_m, system),
            quantity(step.brought_m3, "volume"),
            quantity(step.wait_s, "duration"),
            quantity(step.lasts_s, "duration"),
            None,
            None,
        )
        for step in day.steps
    )
    return Form(
        name=NAME,
        title=f"{day.station.name}: the order of the day of acceptance",
        columns=COLUMNS,
        rows=rows,
        blank=("done", "note"),
        notes=(_HOW,),
        cautions=tuple(cautions),
        footer=FOOTER,
        room={"done": 6, "note": 20},
    )


def _levels(day: Day, level_m: float, system: System) -> str:
    return show(day.station.shown_m(level_m), "level", system)
