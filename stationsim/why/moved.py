"""A pump that ran and moved nothing: that it did so, why, and what the panel saw of it."""

from __future__ import annotations

from bisect import bisect_right
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stationsim.why.scene import SAME_INSTANT_S, Scene
from stationsim.wording import listed
from stationsim.wording.spells import Happened
from stationsim.wording.standing import stood

if TYPE_CHECKING:
    from stationsim.trace import PumpRun

_NOTHING_M3S = 1e-6
_OF_A_PUMP = {
    "air-bound": "it was air-bound",
    "plug valve closed": "the plug valve behind it was closed",
    "fails to prime": "its pump was not primed",
}
"""Trouble with which a pump may run and move nothing -> how it is said of it."""

_OF_THE_MAIN = "the force main was shut"
_HEAD = "the head was more than it gives"
_SHUT = "0 %"
"""How the detail of a valve or a main begins that lets nothing through."""


class InVain(NamedTuple):
    """A run in which nothing is moved at the moment.

    Parameters
    ----------
    clause
        That it moved nothing, and why, as a clause for the verdict.
    seen
        What the panel saw of it, a sentence each.
    """

    clause: str
    seen: list[str]


def moved_nothing(scene: Scene, name: str, run: PumpRun) -> InVain | None:
    """Return that a machine that ran moved nothing at the moment; None when it moved water.

    Parameters
    ----------
    scene
        The moment.
    name
        The machine.
    run
        Its run.
    """
    if flow_m3s(scene, run.machine) > _NOTHING_M3S:
        return None
    engine = run.machine >= len(scene.station.pumps)
    did = "drew no water" if engine else "moved nothing"
    return InVain(f"in truth it {did}{_why(scene, name)}", [_panel_saw(scene, name, run, engine)])


def flow_m3s(scene: Scene, machine: int) -> float:
    """Return what a machine moved at the moment [m3/s].

    Parameters
    ----------
    scene
        The moment.
    machine
        Index of the machine.
    """
    trace = scene.trace
    leg = max(bisect_right(trace.leg_t_s, scene.at_s + SAME_INSTANT_S) - 1, 0)
    lineup = trace.lineups[trace.leg_lineup[leg]]
    if machine not in lineup.running:
        return 0.0
    which = lineup.running.index(machine)
    volume_m3 = float(scene.result.sampled(np.array([scene.at_s])).volume_m3[0])
    band = max(bisect_right(lineup.edge_m3, volume_m3) - 1, 0)
    above_m3 = volume_m3 - lineup.edge_m3[band]
    return lineup.pump_m3s[which][band] + lineup.pump_slope[which][band] * above_m3


def _why(scene: Scene, name: str) -> str:
    """Return what stood at the moment that lets a pump move nothing."""
    happened = Happened(scene.result, scene.system)

    def stands(kind: str, subject: str) -> bool:
        spells = stood(happened, kind).get(subject, [])
        now = [s for s in spells if s.start_s <= scene.at_s + SAME_INSTANT_S < s.stop_s]
        part = kind in ("plug valve closed", "main plugged")
        return any(not part or s.begun.detail.startswith(_SHUT) for s in now)

    found = [how for kind, how in _OF_A_PUMP.items() if stands(kind, name)]
    if stands("main plugged", "force main"):
        found.append(_OF_THE_MAIN)
    return f", for {listed(found or [_HEAD])}"


def _panel_saw(scene: Scene, name: str, run: PumpRun, engine: bool) -> str:  # noqa: FBT001
    """Return what the panel saw of a machine that ran and moved nothing."""
    if engine:
        failed = [row for row in scene.of(name, "not primed") if _within(row.t_s, run)]
        until = f", until it was failed at {scene.clock(failed[0].t_s)} (not primed)"
        return f"The panel saw an engine that ran{until if failed else ''}."
    saw = "The panel saw the run signal"
    noted = [
        row.raised_s
        for row in scene.trace.alarms
        if row.alarm == "no flow" and row.subject == name and _within(row.raised_s, run)
    ]
    if noted:
        return f"{saw}; it told of no flow at {scene.clock(noted[0])}."
    unit = scene.station.pumps[run.machine]
    if unit.no_flow_after_s is None:
        return f"{saw}: it does not look for flow."
    return f"{saw}, and did not tell of no flow."


def _within(t_s: float, run: PumpRun) -> bool:
    return run.start_s - SAME_INSTANT_S <= t_s <= run.stop_s + SAME_INSTANT_S
