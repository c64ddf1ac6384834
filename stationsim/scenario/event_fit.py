"""What of the catalogue can happen at a station: a float that it lacks cannot stick."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from stationsim import units
from stationsim.equipment.faults import FLOATS
from stationsim.scenario.events import Names
from stationsim.scenario.fuel_keys import lacks_of_fuel

if TYPE_CHECKING:
    from stationsim.episode import ScriptedEvent
    from stationsim.scenario.parts import Parts
    from stationsim.units import System

_FLOAT_KEYS = {
    "start float": ("[backup_floats]", "add [backup_floats] with start and stop"),
    "stop float": ("[backup_floats]", "add [backup_floats] with start and stop"),
    "high level float": ("alarms.high_level", "add high_level to [alarms]"),
    "low level float": ("alarms.low_level", "add low_level to [alarms]"),
}
_ALARM_KEYS = {"high level": "high_level", "low level": "low_level"}

_NEED_OWN_FLOW = {
    "clogged": "rags",
    "ragging": "rags",
    "wearing": "wear",
    "plug valve closed": "a valve",
    "turning backwards": "turning backwards",
    "air-bound": "air",
    "check valve open": "a check valve",
    "check valve slow": "a check valve",
}
"""Kinds that change the flow of one pump -> what lessens it."""

_MOST_HAULED_M3S = 0.5
"""More than this no suction hose of a tanker takes: a slip (own limit of plausibility) [m3/s]."""

_TABLES = {
    "transfer switch": ("transfer", "add [transfer], and [generator] if it is not there"),
    "generator": ("transfer", "add [transfer], and [generator] if it is not there"),
    "mobile generator": ("mobile_generator", "add [mobile_generator] with its rated_power"),
    "bypass pump": ("bypass_pump", "add [bypass_pump] with its flow or curve, start and stop"),
}


@dataclass(frozen=True)
class Scene:
    """What there is at a station, as far as events ask.

    Parameters
    ----------
    names
        Its machines.
    pumps
        Its electric pumps.
    tables
        The tables of the file, readable or not.
    by_total
        Whether ``station.total_flow`` counts in place of the pumps' own flows.
    curved
        Whether a pump has a curve, so that the head in the main matters.
    """

    names: Names
    pumps: tuple[str, ...] = ()
    tables: Mapping[str, object] = field(default_factory=dict)
    by_total: bool = False
    curved: bool = False
    system: System = "si"

    @classmethod
    def of(cls, parts: Parts) -> Scene:
        """Return what there is by what could be read of a scenario.

        Parameters
        ----------
        parts
            What could be read of it.
        """
        station = parts.single.get("station")
        pumps = parts.document.get("pump")
        machines = [*(pumps.values() if isinstance(pumps, Mapping) else ())]
        machines += [parts.document.get(one) for one in ("engine_pump", "bypass_pump")]
        return cls(
            names=Names(
                parts.machines,
                parts.engine,
                known=parts.machines is not None,
                floats=tuple(one for one in FLOATS if _has_float(one, parts.document)),
                bypass=parts.bypass,
            ),
            pumps=parts.pumps or (),
            tables=parts.document,
            by_total=station is not None and station.total_flow is not None,
            curved=any(isinstance(one, Mapping) and "curve" in one for one in machines),
            system=parts.system,
        )


def misfit(event: ScriptedEvent, scene: Scene) -> tuple[str, str] | None:
    """Return what keeps an event from happening at a station, and the remedy; None for nothing.

    Parameters
    ----------
    event
        What happens.
    scene
        What there is.
    """
    kind, subject = event.kind, event.subject
    lacking = _not_there(kind, subject, scene)
    if lacking is not None:
        return lacking
    if kind in ("refuelled", "tanker takes"):
        return _no_tank(subject, scene) if kind == "refuelled" else _too_fast(event, scene)
    if kind in _NEED_OWN_FLOW and scene.by_total and subject in scene.pumps:
        reason = (
            f"{subject} has no flow or curve of its own that {_NEED_OWN_FLOW[kind]} could lessen: "
            "station.total_flow counts"
        )
        return reason, "give each pump a flow or a curve in place of station.total_flow"
    if kind in ("main air", "main broken") and not (scene.curved and "force_main" in scene.tables):
        phrase = "air in the main" if kind == "main air" else "a broken main"
        reason = f"{phrase} changes the head, and the pumps of this station have plain flows"
        return reason, "give pumps a curve, and a [force_main]"
    return None


def _not_there(kind: str, subject: str, scene: Scene) -> tuple[str, str] | None:
    """Tell that a station has no such float, set or alarm."""
    if subject in _FLOAT_KEYS:
        return _no_float(subject, scene)
    if subject in _TABLES:
        table, fix = _TABLES[subject]
        if table not in scene.tables:
            does = "can be brought" if subject == "bypass pump" else "feeds it in a run"
            return f"this station has no {subject} that {does}: [{table}] is missing", fix
    if kind == "alarm off" and subject in _ALARM_KEYS and not _has_alarm(subject, scene.tables):
        key = _ALARM_KEYS[subject]
        return f"this station has no {subject} alarm: alarms.{key} is missing", (
            f"add {key} to [alarms]"
        )
    return None


def _no_tank(subject: str, scene: Scene) -> tuple[str, str] | None:
    """Tell that the fuel of what shall be filled is not counted, so that it is always full."""
    engines = {scene.names.engine: "engine_pump", scene.names.bypass: "bypass_pump"}
    place = {"generator": "generator", "mobile generator": "mobile_generator"}.get(
        subject, engines.get(subject, "")
    )
    table = scene.tables.get(place)
    if not isinstance(table, Mapping):
        return None
    lacking = lacks_of_fuel(table)
    if not lacking:
        return None
    missing = " and ".join(f"{place}.{key}" for key in lacking)
    whose = f"the {subject}" if subject.endswith("generator") else subject
    reason = f"the fuel of {whose} is not counted, so there is nothing to fill: {missing} "
    reason += f"{'are' if lacking[1:] else 'is'} missing"
    return reason, f"add {missing}, or take the event out"


def _too_fast(event: ScriptedEvent, scene: Scene) -> tuple[str, str] | None:
    """Tell that no tanker takes so much in so little time."""
    if event.amount / event.per_s <= _MOST_HAULED_M3S:
        return None
    asked, most = (
        units.show(flow, "flow", scene.system)
        for flow in (event.amount / event.per_s, _MOST_HAULED_M3S)
    )
    return f"a tanker would have to take {asked}, and {most} is the most", "give it more time"


def _no_float(subject: str, scene: Scene) -> tuple[str, str] | None:
    place, fix = _FLOAT_KEYS[subject]
    there = _has_float(subject, scene.tables)
    return None if there else (f"this station has no {subject}: {place} is missing", fix)


def _has_float(subject: str, tables: Mapping[str, object]) -> bool:
    if subject in ("start float", "stop float"):
        return "backup_floats" in tables
    return _has_alarm(subject.removesuffix(" float"), tables)


def _has_alarm(name: str, tables: Mapping[str, object]) -> bool:
    alarms = tables.get("alarms")
    return isinstance(alarms, Mapping) and _ALARM_KEYS[name] in alarms
