"""Why a sound pump was held back: by a generator, the station downstream, a sag, dead controls."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationsim.why.said import lasting, span
from stationsim.why.scene import SAME_INSTANT_S, Answer, Scene
from stationsim.wording import listed

if TYPE_CHECKING:
    from stationsim.trace import EventRow, PowerRow

_DARK = "held, downstream dark"
_LIMITED = "held, downstream limited"
_BY_GENERATOR = "held by the generator"
_LOW = "voltage low"
_PHASE = "phase lost"

_DOING = {
    "stopped": "was not called yet",
    "starting": "was starting",
    "running": "had good voltage and was not switched over yet",
    "cooling down": "was cooling down",
    "failed": "had failed",
    "tripped": "had tripped",
    "out of fuel": "had run out of fuel",
}
"""State of a generator -> what it did while the busbar was dead."""


def of_held(scene: Scene, name: str) -> Answer | None:
    """Return that a pump was held back though it could run; None when nothing held it.

    Parameters
    ----------
    scene
        The moment.
    name
        The pump.
    """
    if scene.selector(name)[0] != "auto":
        return None
    why = scene.turn.seen.pumps[scene.names.index(name)].why_not
    head = f"{name} did not run: it was held back, for"
    if why == _DARK:
        return Answer(name, f"{head} the station downstream was dark{_since(scene, why)}.")
    if why == _LIMITED:
        said = f"{head} the station downstream was limited{_since(scene, why)}"
        return Answer(name, f"{said}{_beside(scene, name)}.")
    if why == _BY_GENERATOR:
        return Answer(name, f"{head} {_generator(scene, name)}{_beside(scene, name)}.")
    if why == _LOW:
        return Answer(name, f"{head} the voltage of the grid was low, in a sag{_sag(scene)}.")
    return None


def _since(scene: Scene, why: str) -> str:
    event = why.removeprefix("held, ")
    row = scene.before(scene.of("downstream station", event))
    if row is None:
        return ""
    detail = f", and {row.detail}" if row.detail and event != "downstream dark" else ""
    return f" since {scene.clock(row.t_s)}{detail}"


def _sag(scene: Scene) -> str:
    row = scene.before(scene.of("grid", "grid sag"))
    return "" if row is None else f" at {scene.clock(row.t_s)} ({row.detail})"


def _beside(scene: Scene, name: str) -> str:
    """Return which other pumps ran and so took what was allowed."""
    running = [
        pump.name
        for pump in scene.station.pumps
        if pump.name != name and scene.run_now(pump.name) is not None
    ]
    return f"; {listed(running)} ran" if running else ""


def _generator(scene: Scene, name: str) -> str:
    """Return what the generator that feeds the pumps lets run."""
    bus, power = scene.busbar, scene.station.standby_power
    if bus is None or power is None:
        return "the generator carries no more pumps"
    what = power.generator if bus.state == "generator" else power.mobile
    since = scene.clock(bus.start_s)
    said = f"the {bus.state} fed the pumps since {since}"
    if what is not None and what.may_start and name not in what.may_start:
        return f"{said}, and only {listed(what.may_start)} may run on it"
    if what is not None and what.most_running is not None:
        pumps = "pump" if what.most_running == 1 else "pumps"
        return f"{said}, and carries no more than {what.most_running} {pumps} at once"
    return f"{said}, and carries no more pumps"


# ---------------------------------------------------------------------- the supply


def no_supply(scene: Scene, name: str) -> Answer | None:
    """Return that the pumps had no supply, or that the panel was booting; None when neither.

    Parameters
    ----------
    scene
        The moment.
    name
        The pump.
    """
    out, bus = scene.grid_out, scene.busbar
    if bus is not None and bus.state != "dead":
        return _boots(scene, name, bus)
    if bus is not None:
        out = (bus.start_s, bus.stop_s)
    if out is None:
        return None
    more = []
    last = scene.last_run(name)
    if last is not None and abs(last.stop_s - out[0]) <= SAME_INSTANT_S:
        more.append(f"It ran as {last.role} until the supply failed.")
    lasted = span(scene.result, out[0], min(out[1], scene.trace.end_s))
    if bus is not None:
        more.append(f"Then {grid_text(scene)}{generators(scene)}.")
        return Answer(name, f"{name} did not run: its busbar was dead {lasted}.", more)
    if scene.grid_cause == _PHASE:
        verdict = f"{name} did not run: one phase of the grid was lost {lasted}"
        more.append("The phase relay lets no motor run meanwhile.")
        return Answer(name, f"{verdict}.", more)
    return Answer(name, f"{name} did not run: it needs the grid, which was out {lasted}.", more)


def grid_text(scene: Scene) -> str:
    """Return how the grid was.

    Parameters
    ----------
    scene
        The moment.
    """
    if scene.grid_out is None:
        return "the grid was good"
    return "one phase of the grid was lost" if scene.grid_cause == _PHASE else "the grid was out"


def generators(scene: Scene) -> str:
    """Return what the generator and the transfer switch did while the busbar was dead.

    Parameters
    ----------
    scene
        The moment.
    """
    said = ""
    for name in ("generator", "mobile generator"):
        row = scene.source(name)
        if row is None or (name == "mobile generator" and row.state == "stopped"):
            continue
        since = scene.clock(row.start_s)
        doing = _DOING.get(row.state, row.state)
        stuck = scene.before(scene.of("transfer switch", "does not move", "moves again"))
        if row.state == "running" and stuck is not None and stuck.event == "does not move":
            doing = "ran"
        when = "" if row.state == "stopped" else f" since {since}"
        said += f", and the {name} {doing}{when}"
        if doing == "ran" and stuck is not None:
            said += f", but the transfer switch had not moved at {scene.clock(stuck.t_s)}"
    return said


def _boots(scene: Scene, name: str, bus: PowerRow) -> Answer | None:
    """Return that the panel had not booted yet since the busbar was live again."""
    power = scene.station.standby_power
    boots_s = 0.0 if power is None or power.generator is None else power.boot_s
    up_s = bus.start_s + boots_s
    if bus.start_s <= 0.0 or scene.at_s >= up_s - SAME_INSTANT_S or not _was_dead(scene, bus):
        return None
    since = scene.clock(bus.start_s)
    verdict = f"{name} did not run: its busbar was live again since {since} (fed by the"
    return Answer(name, f"{verdict} {bus.state}), and the panel was booting {scene.until(up_s)}.")


def _was_dead(scene: Scene, bus: PowerRow) -> bool:
    """Return whether the busbar was dead before it was fed as it is: else nothing boots."""
    before = [
        row
        for row in scene.trace.power
        if row.source == "busbar" and abs(row.stop_s - bus.start_s) <= SAME_INSTANT_S
    ]
    return not before or any(row.state == "dead" for row in before)


# ---------------------------------------------------------------------- the controls


def no_controls(scene: Scene, name: str) -> Answer | None:
    """Return that the control breaker was open, or that the controller was stopped.

    Parameters
    ----------
    scene
        The moment.
    name
        The pump.
    """
    floats = scene.station.backup_floats
    own = floats is not None and floats.supply == "own"
    opened, stopped = controls_out(scene)
    if opened is not None and not own:
        since = scene.clock(opened.t_s)
        more = ["No contactor holds without control power, in hand neither."]
        return Answer(
            name, f"{name} did not run: the control breaker was open since {since}.", more
        )
    nobody = stopped if stopped is not None else opened
    if nobody is None or floats is not None or scene.selector(name)[0] == "hand":
        return None
    since = scene.clock(nobody.t_s)
    return Answer(name, f"{name} did not run: the controller was stopped since {since}.")


def controls_out(scene: Scene) -> tuple[EventRow | None, EventRow | None]:
    """Return since when the control breaker was open, and the controller stopped; None if not.

    Parameters
    ----------
    scene
        The moment.
    """
    opened = scene.before(scene.of("panel", "control breaker open", "control breaker closed"))
    stopped = scene.before(scene.of("panel", "controller stopped", "controller runs again"))
    return (
        opened if opened is not None and opened.event == "control breaker open" else None,
        stopped if stopped is not None and stopped.event == "controller stopped" else None,
    )


def reversing(scene: Scene, name: str, begun: EventRow) -> str:
    """Return that the panel was reversing a pump against rags; empty when it was not.

    Parameters
    ----------
    scene
        The moment.
    name
        The pump.
    begun
        The trip that stood.
    """
    if not begun.detail.startswith("reversing"):
        return ""
    unit = next(pump for pump in scene.station.pumps if pump.name == name)
    tries = [
        row
        for row in scene.of(name, "reversed in vain", "reversing given up")
        if begun.t_s <= row.t_s <= scene.at_s + SAME_INSTANT_S
    ]
    if tries and (tries[-1].event == "reversing given up" or len(tries) >= unit.reverse_tries):
        last = tries[-1]
        return f"Reversing it did not help ({last.event} at {scene.clock(last.t_s)})."
    number = len(tries) + 1
    over_s = (tries[-1].t_s if tries else begun.t_s) + unit.reverse_s
    return (
        f"The panel was reversing it to clear rags, try {number} of {unit.reverse_tries}, for"
        f" {lasting(unit.reverse_s)}, {scene.until(over_s)}."
    )
