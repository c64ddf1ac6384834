"""Why the controller by level did not run a pump: its part in the cycle and what it waits for.

The part of a pump at a turn of the controller follows from what the controller held in mind then:
the calls that nobody fills go, in order, to the pumps that are ready, in the order of the rotation.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from stationsim.why.by_floats import saw
from stationsim.why.in_vain import at_limit, in_vain, refusals
from stationsim.why.said import lasting, role_text, short
from stationsim.why.scene import SAME_INSTANT_S, Answer, Scene
from stationsim.wording import listed

if TYPE_CHECKING:
    from stationsim.control.staging import StagingSettings
    from stationsim.trace import PumpRun
    from stationsim.why.watching import Turn

_SAME_LEVEL_M = 1e-9
_SEEN_OTHERWISE_M = 0.005
_BACK = {
    "panel up": "the panel was up",
    "controller runs again": "the controller ran again",
    "control breaker closed": "the control breaker was closed",
}
"""Event after which the restart delay runs -> how it is said."""


class Part(NamedTuple):
    """The call that a pump would fill next; None when none is left for it."""

    call: int | None
    order: tuple[int, ...]


def part_at(turn: Turn, pump: int, calls: int) -> Part | None:
    """Return the part of a pump after a turn; None while it has none (it runs, it is not ready).

    Parameters
    ----------
    turn
        The turn.
    pump
        Index of the pump.
    calls
        How many start levels there are.
    """
    memory = turn.memory
    free = _free(turn)
    if memory is None or pump not in free:
        return None
    taken = {call for _one, call in memory.on}
    left = [call for call in range(calls) if call not in taken]
    place = free.index(pump)
    return Part(left[place] if place < len(left) else None, memory.order)


def _free(turn: Turn) -> list[int]:
    """Return the pumps that may take a call after a turn, in the order in which they would."""
    memory = turn.memory
    if memory is None or turn.by_floats or not turn.seen.supply:
        return []
    on = {one for one, _call in memory.on}
    stopped = {c.pump for c in turn.decision.commands if c.verb == "stop"}
    return [
        n
        for n in memory.order
        if n not in on
        and turn.seen.pumps[n].ready
        and (n in stopped or not turn.seen.pumps[n].running)
    ]


def _lead(turn: Turn) -> int | None:
    """Return which pump leads after a turn: who took that call, or is ready and would take it."""
    memory = turn.memory
    if memory is None or turn.by_floats or not turn.seen.supply:
        return None
    taken = [one for one, call in memory.on if call == 0]
    return next(iter([*taken, *_free(turn)]), None)


def of_level(scene: Scene, name: str) -> Answer:
    """Return why the controller by level did not run a pump.

    Parameters
    ----------
    scene
        The moment.
    name
        The pump.
    """
    settings, pump = scene.station.control.settings, scene.names.index(name)
    memory = scene.turn.memory
    stages = settings.stages() if memory is not None else ()
    part = part_at(scene.turn, pump, len(stages))
    if memory is None or part is None:
        return Answer(
            name,
            f"{name} did not run: the controller ({scene.station.control.controller}) had given it"
            " no order to start, and why is not on record.",
        )
    found = _relieved(scene, name)
    if found is None and part.call is not None and part.call < memory.calls:
        found = _waits(scene, name, stages[part.call][0])
    found = found or _passed_over(scene, name)
    if found is None and part.call is None:
        spare = "it was spare: there are more pumps than start levels"
        found = Answer(name, f"{name} did not run: {spare}{_behind(scene, pump)}.")
    if found is None:
        assert part.call is not None  # noqa: S101  (told above)
        return _not_reached(scene, name, part, settings)
    if part.call is not None and part.call >= memory.calls:
        role, start_m, _stop = stages[part.call]
        found.more.append(f"It stood by as {role_text(role)}: {role} start {scene.level(start_m)}.")
    return found


# ---------------------------------------------------------------------- its part


def _order_since_s(scene: Scene, lead: int | None = None) -> float:
    """Return since when the order has been what it is, and a pump has led if one is named [s]."""
    last = scene.last_turn
    order = scene.turn.memory.order if scene.turn.memory else ()
    while last > 0:
        before = scene.turns[last - 1]
        if before.memory is None or before.memory.order != order:
            break
        if lead is not None and _lead(before) != lead:
            break
        last -= 1
    return scene.turns[last].t_s if last > 0 else 0.0


def _part_since_s(scene: Scene, pump: int, part: Part, calls: int) -> float:
    """Return since when a pump has had the same part without a break [s]."""
    first = scene.last_turn
    while first > 0 and part_at(scene.turns[first - 1], pump, calls) == part:
        first -= 1
    return scene.turns[first].t_s if first > 0 else 0.0


def _behind(scene: Scene, pump: int) -> str:
    """Return who leads and since when: `` behind P2, which led since Wed 06:50``."""
    memory = scene.turn.memory
    assert memory is not None  # noqa: S101  (asked only where it is known)
    lead = _lead(scene.turn)
    if lead is None or lead == pump:
        return ""
    name = scene.names[lead]
    run = scene.run_now(name)
    if lead != memory.order[0] and run is not None:  # it took the place of another, or its call
        return f" behind {name}, which ran as lead since {scene.clock(run.start_s)}"
    if lead != memory.order[0]:
        since_s = _order_since_s(scene, lead)
        since = f"since {scene.clock(since_s)}" if since_s > 0.0 else "from the start"
        return f" behind {name}, which had the lead {since}{_instead(scene, lead)}"
    if scene.station.control.rotation == "fixed":
        return f" behind {name}, which always leads"
    since_s = _order_since_s(scene)
    since = f"since {scene.clock(since_s)}" if since_s > 0.0 else "from the start"
    return f" behind {name}, which had the lead {since}"


def _instead(scene: Scene, lead: int) -> str:
    """Return which pumps stand before the one that leads, and could not lead."""
    memory, pumps = scene.turn.memory, scene.turn.seen.pumps
    assert memory is not None  # noqa: S101  (asked only where it is known)
    before = memory.order[: memory.order.index(lead)]
    over = [f"{scene.names[n]} ({pumps[n].why_not})" for n in before if not pumps[n].ready]
    return f" in place of {listed(over)}" if over else ""


def rotation_text(scene: Scene) -> str:
    """Return which rotation settles who leads."""
    kind = scene.station.control.rotation
    return {
        "each cycle": "the lead changes at each stop of all pumps",
        "run hours": "at each stop of all pumps the one with the fewest run hours takes the lead",
        "shares": "at each stop of all pumps the one furthest behind its share of the hours leads",
        "clock": "the lead changes at set times, when no pump runs",
        "fixed": "the order is fixed",
    }.get(kind, f"'{kind}' settles who leads")


# ---------------------------------------------------------------------- why not


def _relieved(scene: Scene, name: str) -> Answer | None:
    """Return that the pump had run too long and another has its call, in the same cycle still."""
    last = scene.last_run(name)
    if last is None or last.stopped_by != "maximum run time":
        return None
    index = scene.last_turn
    while index >= 0 and scene.turns[index].t_s > last.stop_s + SAME_INSTANT_S:
        memory = scene.turns[index].memory
        if memory is None or memory.calls == 0:
            return None
        index -= 1
    by = _started_at(scene, last.stop_s, f"takes over from {name}")
    other = "another pump" if by is None else scene.names[by.machine]
    most = lasting(scene.station.control.settings.max_run_s)
    return Answer(
        name,
        f"{name} did not run: it had been stopped by force at {scene.clock(last.stop_s)}, after its"
        f" longest run of {most}, and {other} had taken over as {last.role}.",
    )


def _started_at(scene: Scene, at_s: float, begins: str) -> PumpRun | None:
    for run in scene.trace.runs:
        if abs(run.start_s - at_s) <= SAME_INSTANT_S and run.started_by.startswith(begins):
            return run
    return None


def _called_at(scene: Scene, at_s: float) -> str:
    """Return which pump started, or was called in vain, at a moment."""
    when = scene.clock(at_s)
    run = _started_at(scene, at_s, "")
    if run is not None:
        return f"{scene.names[run.machine]} started at {when}"
    for turn in reversed(scene.turns[: scene.last_turn + 1]):
        called = [c.pump for c in turn.decision.commands if c.verb == "start"]
        if abs(turn.t_s - at_s) <= SAME_INSTANT_S and called:
            return f"{scene.names[called[-1]]} was called at {when}"
    return f"another pump was called at {when}"


def _waits(scene: Scene, name: str, role: str) -> Answer:
    """Return what keeps a pump whose call stands from being started."""
    memory, settings = scene.turn.memory, scene.station.control.settings
    assert memory is not None  # noqa: S101  (asked only where it is known)
    pump, at_s = scene.names.index(name), scene.at_s
    unit, last = scene.station.pumps[pump], scene.last_run(name)
    rested_s = -math.inf if last is None else last.stop_s + unit.min_off_s
    head = f"{name} did not run yet: it was called as {role_text(role)}, but"
    returns = scene.of("grid", "grid back", "phases back") + scene.of("panel", "panel up")
    returns += scene.of("panel", "controller runs again", "control breaker closed")
    back = scene.before(sorted(returns, key=lambda row: row.t_s))
    hold_s = -math.inf if back is None else back.t_s + settings.restart_delay_s
    if memory.next_start_s > at_s + SAME_INSTANT_S:
        until = scene.until(memory.next_start_s)
        if abs(hold_s - memory.next_start_s) <= SAME_INSTANT_S and back is not None:
            delay = lasting(settings.restart_delay_s)
            what = _BACK.get(back.event, "the supply was back")
            why = f"{what} at {scene.clock(back.t_s)} and the restart delay of {delay}"
        else:
            gap_s = settings.stagger_s
            if memory.after_power_loss and settings.restart_stagger_s is not None:
                gap_s = settings.restart_stagger_s
            why = f"{_called_at(scene, memory.next_start_s - gap_s)} and the stagger of"
            why += f" {lasting(gap_s)}"
        return Answer(name, f"{head} {why} held it back {until}.")
    limit_s = memory.under_limit_s[pump]
    if limit_s > max(rested_s, at_s + SAME_INSTANT_S):
        why = f"{at_limit(settings)},"
        return Answer(name, f"{head} {why} and waited {scene.until(limit_s)}.", _refused(scene))
    if rested_s > at_s + SAME_INSTANT_S and last is not None:
        why = (
            f"its minimum off time of {lasting(unit.min_off_s)} after its stop at"
            f" {scene.clock(last.stop_s)} was not over: it rested {scene.until(rested_s)}"
        )
        return Answer(name, f"{head} {why}.", _refused(scene))
    return Answer(name, f"{head} other pumps were taken first.", _refused(scene))


def _refused(scene: Scene) -> list[str]:
    calls_since_s = _calls_since_s(scene)
    return refusals(scene, calls_since_s)


def _calls_since_s(scene: Scene) -> float:
    index = scene.last_turn
    while index > 0:
        memory = scene.turns[index - 1].memory
        if memory is None or memory.calls == 0:
            break
        index -= 1
    return scene.turns[index].t_s


def _passed_over(scene: Scene, name: str) -> Answer | None:
    """Return that a pump that stands later in the order was started in its place."""
    memory, pump = scene.turn.memory, scene.names.index(name)
    assert memory is not None  # noqa: S101  (asked only where it is known)
    later = memory.order[memory.order.index(pump) + 1 :]
    for other, call in memory.on:
        run = scene.run_now(scene.names[other])
        if other not in later or run is None:
            continue
        turn = _turn_of_start(scene, other, run.start_s)
        if turn is None or turn.memory is None or turn.memory.order != memory.order:
            continue
        state = turn.seen.pumps[pump]
        if state.running and state.ready:
            continue
        role = scene.station.control.settings.stages()[call][0]
        if not state.ready:
            why = f"{name} could not be run then ({state.why_not})"
        elif turn.memory.under_limit_s[pump] > turn.t_s + SAME_INSTANT_S:
            why = f"{name} was at its limit of starts in an hour"
        else:
            rest_s = scene.station.pumps[pump].min_off_s
            why = f"{name} had to rest {lasting(rest_s)} after its stop"
        return Answer(
            name,
            f"{name} did not run: {scene.names[other]} had been started in its place as {role} at"
            f" {scene.clock(run.start_s)}, because {why}, and ran on.",
        )
    return None


def _turn_of_start(scene: Scene, pump: int, at_s: float) -> Turn | None:
    for index in range(scene.last_turn, -1, -1):
        turn = scene.turns[index]
        if turn.t_s < at_s - SAME_INSTANT_S:
            return None
        if any(c.verb == "start" and c.pump == pump for c in turn.decision.commands):
            return turn
    return None


def _not_reached(scene: Scene, name: str, part: Part, settings: StagingSettings) -> Answer:
    """Return by how much the level missed the start level of a pump, or for how long it stood."""
    pump, at_s = scene.names.index(name), scene.at_s
    stages = settings.stages()
    assert part.call is not None  # noqa: S101  (asked only of a pump with a call)
    role, start_m, _stop_m = stages[part.call]
    since_s = _part_since_s(scene, pump, part, len(stages))
    seen, true = scene.seen_peak(since_s, at_s), scene.peak(since_s, at_s)
    start = f"its {role} start, {scene.level(start_m)}"
    who = f"it was {role_text(role)}{_behind(scene, pump)}, and " if part.call else ""
    verb = "did not start" if since_s < at_s else "did not run"
    head = f"{name} {verb}: {who}"
    otherwise = not abs(seen.level_m - true.level_m) <= _SEEN_OTHERWISE_M
    whose = "the panel saw the level" if otherwise else "the level"
    more: list[str] = []
    if seen.level_m >= start_m - _SAME_LEVEL_M:
        why, more = in_vain(scene, name, part.call, since_s)
        verdict = head + why
    elif math.isnan(seen.level_m):
        verdict = f"{head}the panel had no level signal"
    else:
        below = short(start_m - seen.level_m, scene.system)
        if at_s - seen.at_s <= SAME_INSTANT_S:
            stood = "at" if otherwise else "stood at"
            verdict = f"{head}{whose} {stood} {scene.level(seen.level_m)}, {below} below {start}"
        else:
            peaked = "peak at" if otherwise else "peaked at"
            when = scene.clock(seen.at_s)
            verdict = f"{head}{whose} {peaked} {scene.level(seen.level_m)} ({when}), {below} below"
            verdict += f" {start}"
    if otherwise:
        more.append(
            f"In truth the level peaked at {scene.level(true.level_m)} ({scene.clock(true.at_s)})."
        )
    if scene.signal_wrong:
        more.append(saw(scene))
    since = scene.clock(since_s) if since_s > 0.0 else "the start"
    more.append(f"It had this part since {since}; {rotation_text(scene)}.")
    return Answer(name, f"{verdict}.", more)
