"""Why a pump with an engine ran, or did not: its own start rule, cranking, fuel, and hands."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationsim.why.electric import before_and_after, of_unable, stopped
from stationsim.why.held import grid_text
from stationsim.why.moved import moved_nothing
from stationsim.why.said import cause_text, lasting, short
from stationsim.why.scene import SAME_INSTANT_S, Answer, Scene
from stationsim.wording import at_end

if TYPE_CHECKING:
    from stationsim.equipment.engine_pump import EnginePump
    from stationsim.trace import PowerRow, PumpRun


def of_engine(scene: Scene, name: str) -> Answer:
    """Return why a pump with an engine ran at the moment, or why it did not.

    Parameters
    ----------
    scene
        The moment.
    name
        Its name.
    """
    what = scene.station.engine_named(name)
    assert what is not None  # noqa: S101  (asked only of one that stands there)
    run = scene.run_now(name)
    if run is not None:
        return _ran(scene, name, run)
    phase = _phase(scene, name)
    if phase is not None and phase.state == "not connected":
        return _not_there(scene, name, phase)
    found = None
    if phase is not None and phase.state == "failed":
        found = _in_vain(scene, name, what)
    found = found or of_unable(scene, name)
    if found is not None and phase is not None and phase.state == "failed":
        found = _no_water(scene, name, found) or found
    if found is None and phase is not None and phase.state == "starting":
        found = _starting(scene, name, what, phase)
    if found is None and phase is not None and phase.state == "out of fuel":
        found = Answer(
            name,
            f"{name} did not run: its tank was empty since {scene.clock(phase.start_s)}.",
            [_filled(scene, name)],
        )
    rule = _floats if what is scene.station.bypass_pump else _rule
    found = found or rule(scene, name, what)
    return Answer(name, found.verdict, [*found.more, *before_and_after(scene, name)])


def _filled(scene: Scene, name: str) -> str:
    """Return when an empty tank was filled; or that it never was."""
    fills = [
        row.t_s
        for row in scene.trace.events
        if row.event == "refuelled" and row.subject == name and row.t_s > scene.at_s
    ]
    if not fills:
        return "Nobody refuelled it in this run."
    return f"It was refuelled at {scene.clock(min(fills))}."


def _not_there(scene: Scene, name: str, phase: PowerRow) -> Answer:
    """Return that a bypass pump was not connected, since when and until when."""
    now_s = scene.at_s + SAME_INSTANT_S
    since = "nobody had brought it yet"
    if any(
        row.task == "connect bypass pump" and row.start_s <= now_s < row.stop_s
        for row in scene.trace.crew
    ):
        since = "somebody was connecting it"
    elif phase.cause == "bypass pump disconnected":
        since = f"it had been taken off at {scene.clock(phase.start_s)}"
    verdict = f"{name} did not run: it was not connected; {since}."
    return Answer(name, verdict, before_and_after(scene, name))


def _floats(scene: Scene, name: str, what: EnginePump) -> Answer:
    """Return that the floats of a bypass pump did not call it."""
    start = scene.level(what.start_level_m)
    rule = f"Once connected it starts by its own floats, with the level at or above {start}."
    phase, last = _phase(scene, name), scene.last_run(name)
    mode, turned_s = scene.selector(name)
    since_s = max(
        0.0 if phase is None else phase.start_s, 0.0 if last is None else last.stop_s, turned_s
    )
    peak = scene.peak(since_s, scene.at_s)
    below = what.start_level_m - peak.level_m
    if below <= 0.0 or mode == "hand":
        return Answer(name, f"{name} did not run: it was not called.", [rule])
    stood = f"the level stood at {scene.level(peak.level_m)}"
    if scene.at_s - peak.at_s > SAME_INSTANT_S:
        stood = f"the level peaked at {scene.level(peak.level_m)} ({scene.clock(peak.at_s)})"
    verdict = (
        f"{name} did not run: {stood}, {short(below, scene.system)} below its start level, {start}."
    )
    return Answer(name, verdict, [rule])


def _phase(scene: Scene, name: str) -> PowerRow | None:
    """Return the phase of the engine at the moment; None when the record has none."""
    for row in scene.trace.power:
        if row.source == name and row.start_s <= scene.at_s + SAME_INSTANT_S < row.stop_s:
            return row
    own = [row for row in scene.trace.power if row.source == name]
    return own[-1] if own and at_end(scene.result, scene.at_s) else None


def _ran(scene: Scene, name: str, run: PumpRun) -> Answer:
    cause = cause_text(scene.station, run.started_by, scene.system)
    more = []
    mode, turned_s = scene.selector(name)
    if mode == "hand":
        more.append(f"Its selector stood in hand since {scene.clock(turned_s)}.")
    vain = moved_nothing(scene, name, run)
    called = [row for row in scene.of(name, "engine called") if row.t_s <= run.start_s]
    if called and run.start_s - called[-1].t_s > SAME_INSTANT_S:
        took, did = lasting(run.start_s - called[-1].t_s), "pumped" if vain is None else "ran"
        more.append(f"It was called at {scene.clock(called[-1].t_s)} and {did} {took} later.")
    out = scene.grid_out
    driven = run.role == "engine-driven"
    if out is None and mode == "auto" and driven and not _dead(scene):
        more.append("The grid was back; it ran on to its stop level.")
    lasted = lasting(run.stop_s - run.start_s)
    if at_end(scene.result, run.stop_s):
        more.append(f"It ran on to the end of the run ({lasted}).")
    else:
        more.append(f"At {scene.clock(run.stop_s)}, after {lasted}, {stopped(scene, run)}.")
    verdict = f"{name} ran as {run.role} pump, since {scene.clock(run.start_s)}: {cause}."
    if run.role == "exercise":
        since = scene.clock(run.start_s)
        verdict = f"{name} ran for an exercise, since {since}, whatever the level."
    if vain is not None:
        verdict = f"{verdict.removesuffix('.')}; {vain.clause}."
        more += vain.seen
    return Answer(name, verdict, more)


def _tries(scene: Scene, name: str, since_s: float, to_s: float) -> int:
    rows = scene.of(name, "crank failed")
    return sum(since_s <= row.t_s <= to_s + SAME_INSTANT_S for row in rows)


def _starting(scene: Scene, name: str, what: EnginePump, phase: PowerRow) -> Answer:
    cause = cause_text(scene.station, phase.cause, scene.system)
    tried = _tries(scene, name, phase.start_s, scene.at_s)
    vain = f" (cranked in vain, {tried} of {what.crank_tries} tries)" if tried else ""
    verdict = (
        f"{name} did not run yet: it was called at {scene.clock(phase.start_s)} ({cause}) and was"
        f" still starting{vain}."
    )
    takes_s = what.start_delay_s + what.crank_s + what.warm_up_s + what.prime_s
    more = [f"From the call to full flow it takes {lasting(takes_s)} when it fires at once."]
    given_up = [
        row
        for row in scene.of(name, "call given up", "trip", "out of service", "off")
        if abs(row.t_s - phase.stop_s) <= 1e-3
    ]
    if given_up:
        row = given_up[0]
        came = f"{row.event}: {row.cause}" if row.cause else row.event
        more.append(f"It did not come to that: {came}, {scene.clock(row.t_s)}.")
    return Answer(name, verdict, more)


def _in_vain(scene: Scene, name: str, what: EnginePump) -> Answer | None:
    spells = [spell for spell in scene.unable(name) if spell.kind == "pump failed"]
    called = scene.before(scene.of(name, "engine called"))
    if not spells or called is None:
        return None
    failed_s = spells[-1].start_s
    tried = _tries(scene, name, called.t_s, failed_s)
    starts = [row for row in scene.trace.power if row.source == name and row.state == "starting"]
    if not tried or not any(abs(row.stop_s - failed_s) <= 1e-3 for row in starts):
        return None
    verdict = (
        f"{name} did not run: called at {scene.clock(called.t_s)}, it cranked in vain ({tried} of"
        f" {what.crank_tries} tries) and was failed at {scene.clock(failed_s)}."
    )
    cleared = of_unable(scene, name)
    return Answer(name, verdict, [] if cleared is None else cleared.more)


def _dead(scene: Scene) -> bool:
    return scene.busbar is not None and scene.busbar.state == "dead"


def _no_water(scene: Scene, name: str, found: Answer) -> Answer | None:
    """Return that it could not be primed, or did not crank; None for another failure."""
    failed = scene.before(scene.of(name, "not primed", "does not crank"))
    tripped = [spell for spell in scene.unable(name) if spell.kind == "pump failed"]
    if failed is None or not tripped or abs(tripped[-1].start_s - failed.t_s) > 1e-3:
        return None
    when = scene.clock(failed.t_s)
    if failed.event == "not primed":
        why = f"it had run and drawn no water, and was failed at {when} (not primed)"
    else:
        why = f"it did not crank when it was called at {when}: {failed.cause}"
    return Answer(name, f"{name} did not run: {why}.", found.more)


def _rule(scene: Scene, name: str, what: EnginePump) -> Answer:
    """Return that the start rule of the engine was not met."""
    start = scene.level(what.start_level_m)
    rule = f"It starts by its own rule: the grid out, and the level at or above {start}."
    out = scene.grid_out
    bus = scene.busbar
    what_failed = grid_text(scene)
    if bus is not None and bus.state == "dead":
        out = (bus.start_s, bus.stop_s)
        what_failed = "the busbar of the pumps was dead"
    if bus is not None and bus.state not in ("dead", "grid"):
        return Answer(name, f"{name} did not run: the {bus.state} fed the pumps.", [rule])
    if out is None:
        return Answer(name, f"{name} did not run: the grid was on.", [rule])
    last = scene.last_run(name)
    mode, turned_s = scene.selector(name)
    since_s = max(out[0], 0.0 if last is None else last.stop_s, turned_s)
    peak = scene.peak(since_s, scene.at_s)
    below = what.start_level_m - peak.level_m
    head = f"{name} did not run: {what_failed} since {scene.clock(out[0])}, but"
    if below <= 0.0 or mode == "hand":
        return Answer(name, f"{head} it was not called.", [rule])
    stood = f"the level stood at {scene.level(peak.level_m)}"
    if scene.at_s - peak.at_s > SAME_INSTANT_S:
        stood = f"the level peaked at {scene.level(peak.level_m)} ({scene.clock(peak.at_s)})"
    verdict = f"{head} {stood}, {short(below, scene.system)} below its start level, {start}."
    return Answer(name, verdict, [rule])
