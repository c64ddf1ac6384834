"""Looking at a plant from outside: what its panel shows, and what stands there.

Looking commits nothing, so it changes no bit of what follows. What the panel shows is what a
controller would be told, and the alarms; the truth behind it is in :class:`Sight`, and is for those
who stand on site and look for themselves.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stationsim.people.response import Task
from stationsim.simulation.panel.alarms import TELEMETRY_LOST
from stationsim.simulation.people.site import Site
from stationsim.trace import AlarmRow, seen_levels

if TYPE_CHECKING:
    from stationsim.people.response import TaskKind
    from stationsim.simulation.machines import Mode
    from stationsim.simulation.plant import Plant

_BY_LOOKING: tuple[TaskKind, ...] = ("set right", "clear rags", "pull a pump")


class MachineShown(NamedTuple):
    """One machine as its panel shows it.

    Parameters
    ----------
    name
        The machine: ``P1``.
    running
        True while its contactor is in, or its engine drives it.
    mode
        Where its selector stands: ``auto``, ``hand`` or ``off``.
    taken_out
        Why it may not run, in trade words, as its panel shows it; empty when it may.
    engine
        Of a pump with an engine, how the engine stands: ``stopped``, ``starting`` ...; else empty.
    since_s
        Since when it runs, or stands [s]; minus infinity when it has never run.
    hours_s
        Hour meter [s].
    starts
        Start counter [-].
    """

    name: str
    running: bool
    mode: Mode
    taken_out: tuple[str, ...]
    engine: str
    since_s: float
    hours_s: float
    starts: int


class Shown(NamedTuple):
    """What the panel of a station shows at a moment.

    Parameters
    ----------
    at_s
        When [s].
    level_m
        The level that it reads [m above floor]; NaN while there is no signal.
    machines
        The electric pumps, then those with an engine of their own.
    grid_on
        True while the grid is good.
    busbar
        What feeds the pumps: ``grid``, ``generator``, ``mobile generator`` or ``dead``.
    generators
        Each generator set that is there, a mobile one while it is connected, and how it stands.
    alarms
        The alarms that stand, and of what, in the order in which they were raised.
    floats
        Backup start float, then backup stop float: True while it shows water; empty where there are
        none.
    dark
        True while the control breaker is open: then neither level nor floats are shown, and alarms
        only where they have a supply of their own.
    """

    at_s: float
    level_m: float
    machines: tuple[MachineShown, ...]
    grid_on: bool
    busbar: str
    generators: tuple[tuple[str, str], ...]
    alarms: tuple[tuple[str, str], ...]
    floats: tuple[bool, ...]
    dark: bool


class Sight(NamedTuple):
    """What somebody on site finds who looks for themselves.

    Parameters
    ----------
    level_m
        Where the water stands [m above floor].
    spilling
        True while water leaves the system.
    amiss
        What does not look, or sound, as it should: the kind of step that it takes, and of what.
    fuel
        What is in the tanks: whose, and what part of its fill at the start [-].
    """

    level_m: float
    spilling: bool
    amiss: tuple[tuple[TaskKind, str], ...]
    fuel: tuple[tuple[str, float], ...]


def volume_now(plant: Plant, now_s: float) -> float:
    """Return the stored volume at a moment that is not yet committed [m3].

    Parameters
    ----------
    plant
        The plant.
    now_s
        When [s], with nothing due before it.
    """
    return plant.v_m3 if now_s <= plant.t_s else plant.water.volume_at(now_s)


def panel_shows(plant: Plant, now_s: float) -> Shown:
    """Return what the panel shows now.

    Parameters
    ----------
    plant
        The plant.
    now_s
        When [s], with nothing due before it.
    """
    level_m = plant.station.well.level_at(volume_now(plant, now_s))
    seen = seen_levels(plant.trace, np.array([now_s]), np.array([level_m]))
    sets = [one for one in (plant.engine, plant.bypass) if one is not None]
    phases = {one.name: one.phase for one in sets}
    supply = plant.supply
    mobile = supply.mobile if supply.mobile_connected else None
    generators = [one for one in (supply.generator, mobile) if one is not None]
    dark = plant.panel.dark
    floats: tuple[bool, ...] = ()
    if plant.station.backup_floats is not None and not dark:
        floats = (plant.floats.start, plant.floats.stop)
    # the far end raises 'telemetry lost' by itself: the panel knows nothing of it
    standing = tuple(one for one in plant.recorder.alarms_standing() if one[0] != TELEMETRY_LOST)
    machines = tuple(
        MachineShown(
            machine.unit.name,
            machine.running,
            machine.mode,
            tuple(machine.blocks),
            phases.get(machine.unit.name, ""),
            machine.started_s if machine.running else machine.stopped_s,
            machine.hours_s + (now_s - machine.started_s if machine.running else 0.0),
            machine.starts,
        )
        for machine in plant.machines
    )
    return Shown(
        now_s,
        math.nan if dark else float(seen[0]),
        machines,
        supply.grid_on,
        supply.source,
        tuple((one.name, one.phase) for one in generators),
        () if plant.alarms.dead else standing,
        floats,
        dark,
    )


def found_on_site(plant: Plant, site: Site, now_s: float) -> Sight:
    """Return what somebody on site finds now.

    Parameters
    ----------
    plant
        The plant.
    site
        The same, as somebody sees it who stands there.
    now_s
        When [s], with nothing due before it.
    """
    amiss = [(kind, one) for kind in _BY_LOOKING for one in site.wants(Task(kind))]
    engines = [one for one in (plant.engine, plant.bypass) if one is not None]
    sets = [one for one in (plant.supply.generator, plant.supply.mobile) if one is not None]
    since_s = max(now_s - plant.t_s, 0.0)  # what runs has burnt since the last thing that happened
    fuel = []
    for one in engines:
        burns = one.phase == "running" and one.fuel_part < 1.0 and one.what.tank_m3 > 0.0
        burnt = since_s * one.what.fuel_m3_per_s / one.what.tank_m3 if burns else 0.0
        fuel.append((one.name, max(one.fuel_part - burnt, 0.0)))
    fuel += [(one.name, one.fuel.part_left) for one in sets]
    return Sight(
        plant.station.well.level_at(volume_now(plant, now_s)),
        plant.spilling.since_s is not None,
        tuple(amiss),
        tuple(fuel),
    )


def alarms_so_far(plant: Plant) -> list[AlarmRow]:
    """Return every alarm that has come so far; those that stand have no time at which they went.

    Parameters
    ----------
    plant
        The plant.
    """
    recorder = plant.recorder
    standing = [
        AlarmRow(alarm, subject, raised_s, math.nan, math.nan, sent_s)
        for (alarm, subject), (raised_s, sent_s) in recorder.standing().items()
    ]
    return [*plant.trace.alarms, *standing]
