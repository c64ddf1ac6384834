"""Why a pump did not run while the panel went by its backup floats."""

from __future__ import annotations

import math

from stationsim.why.held import controls_out
from stationsim.why.said import cause_text, lasting, short, span
from stationsim.why.scene import SAME_INSTANT_S, Answer, Scene
from stationsim.wording import listed

_AT_ONCE_S = 1e-3


def of_floats(scene: Scene, name: str) -> Answer | None:
    """Return why the floats did not start a pump; None while the panel goes by the level.

    Parameters
    ----------
    scene
        The moment.
    name
        The pump.
    """
    floats, turn = scene.station.backup_floats, scene.turn
    if floats is None or not turn.by_floats:
        return None
    taken = scene.of("level sensor", "level signal distrusted")
    taken += scene.of("panel", "floats take over")
    row = scene.before(sorted(taken, key=lambda row: row.t_s))
    since_s = 0.0 if row is None else row.t_s
    why = "" if row is None else f": {cause_text(scene.station, row.cause, scene.system)}"
    head = f"{name} did not run: the panel went by its backup floats"
    more = [f"It had done so since {scene.clock(since_s)}{why}.", *_nobody(scene), saw(scene)]
    if not turn.seen.stop_float:
        hangs = scene.level(floats.stop_m)
        more += float_otherwise(scene, "stop float", floats.stop_m, water=False)
        verdict = f"{head}, and the backup stop float ({hangs}) was uncovered, so none may run"
    elif not turn.seen.start_float:
        last = scene.last_run(name)
        from_s = max(since_s, 0.0 if last is None else last.stop_s)
        other = _another_took(scene, from_s)
        if other:
            return Answer(name, f"{head}, and {other}.", more)
        peak = scene.peak(from_s, scene.at_s)
        if peak.level_m >= floats.start_m:
            more += float_otherwise(scene, "start float", floats.start_m, water=False)
            hangs = scene.level(floats.start_m)
            verdict = f"{head}, and the backup start float ({hangs}) showed no water"
            return Answer(name, f"{verdict}.", more)
        below = short(floats.start_m - peak.level_m, scene.system)
        verdict = (
            f"{head}, and the level peaked at {scene.level(peak.level_m)}"
            f" ({scene.clock(peak.at_s)}), {below} below the backup start float,"
            f" {scene.level(floats.start_m)}"
        )
    else:
        verdict = f"{head}; {_covered(scene, name)}"
    return Answer(name, f"{verdict}.", more)


def _nobody(scene: Scene) -> list[str]:
    """Return why the controller by level did not decide, when that is why the floats do."""
    opened, stopped = controls_out(scene)
    said = []
    if opened is not None:
        said.append(f"The control breaker was open since {scene.clock(opened.t_s)}.")
    if stopped is not None:
        said.append(f"The controller was stopped since {scene.clock(stopped.t_s)}.")
    return said


def float_otherwise(scene: Scene, name: str, level_m: float, *, water: bool) -> list[str]:
    """Return that a float showed another thing than the truth, and why.

    Parameters
    ----------
    scene
        The moment.
    name
        Which float.
    level_m
        Where it hangs [m above floor].
    water
        Whether it showed water.
    """
    if (scene.level_at(scene.at_s) >= level_m) == water:
        return []
    row = scene.before(scene.of(name, "float stuck up", "float stuck down", "float late"))
    right = scene.before(scene.of(name, "float right"))
    if row is None or (right is not None and right.t_s >= row.t_s):
        return []
    how = row.event.removeprefix("float ")
    return [f"In truth, which no panel sees, the {name} was {how} since {scene.clock(row.t_s)}."]


def _another_took(scene: Scene, from_s: float) -> str:
    """Return which pump was started when the start float was last covered; empty for none."""
    floats = scene.station.backup_floats
    assert floats is not None  # noqa: S101  (asked only of a station that has them)
    index = scene.last_turn
    while index >= 0 and not scene.turns[index].seen.start_float:
        index -= 1
    if index < 0 or index == scene.last_turn:
        return ""
    left_s = scene.turns[index + 1].t_s
    names = []
    while index >= 0 and scene.turns[index].seen.start_float:
        turn = scene.turns[index]
        names += [scene.names[c.pump] for c in turn.decision.commands if c.verb == "start"]
        index -= 1
    if left_s < from_s or not names:
        return ""
    begun_s = scene.turns[index + 1].t_s
    stayed = ""
    if floats.lag_delay_s > 0.0:
        stayed = (
            f"; one more is called each time it stays covered for {lasting(floats.lag_delay_s)}"
        )
    covered = span(scene.result, begun_s, left_s)
    if left_s - begun_s < 1.0:
        covered = f"at {scene.clock(begun_s)}"
    return f"when the start float was last covered, {covered}, they called {listed(names)}{stayed}"


def _covered(scene: Scene, name: str) -> str:
    """Return why a covered start float had not started this pump."""
    floats, turn = scene.station.backup_floats, scene.turn
    assert floats is not None  # noqa: S101  (asked only of a station that has them)
    unit = next(pump for pump in scene.station.pumps if pump.name == name)
    last = scene.last_run(name)
    rested_s = -math.inf if last is None else last.stop_s + unit.min_off_s
    if rested_s > scene.at_s + SAME_INSTANT_S:
        return f"it had to rest {lasting(unit.min_off_s)} after its stop, {scene.until(rested_s)}"
    if turn.decision.wake_at_s <= scene.at_s + _AT_ONCE_S:
        return "they start one pump at a time, the next one at once"
    if turn.decision.wake_at_s < math.inf:
        return (
            "they start one pump at a time, the next when the start float has stayed covered for"
            f" {lasting(floats.lag_delay_s)}, {scene.until(turn.decision.wake_at_s)}"
        )
    return "the start float was covered, and other pumps were taken first"


def saw(scene: Scene) -> str:
    """Return what the panel saw at the moment beside the true level.

    Parameters
    ----------
    scene
        The moment.
    """
    seen = scene.seen_at(scene.at_s)
    told = "had no signal" if math.isnan(seen) else f"saw {scene.level(seen)}"
    if any(controls_out(scene)):
        return f"Nobody looked at the level signal; in truth the level was {_true(scene)}."
    return f"The panel {told}; in truth the level was {scene.level(scene.level_at(scene.at_s))}."


def _true(scene: Scene) -> str:
    return scene.level(scene.level_at(scene.at_s))
