"""Why an electric pump ran, or did not: trips and hands, supply, floats, and then the level."""

from __future__ import annotations

from math import isnan
from typing import TYPE_CHECKING

from stationsim.why.by_floats import float_otherwise, of_floats
from stationsim.why.by_level import of_level
from stationsim.why.held import no_controls, no_supply, of_held, reversing
from stationsim.why.in_vain import refusals
from stationsim.why.moved import moved_nothing
from stationsim.why.said import cause_text, lasting, role_text, span
from stationsim.why.scene import SAME_INSTANT_S, Answer, Scene, Spell
from stationsim.wording import at_end

if TYPE_CHECKING:
    from stationsim.equipment.pumps import PumpUnit
    from stationsim.trace import PumpRun

_LONGEST = "maximum run time"
_BY_FORCE = (
    "high temperature", "pump failed", "seal leak", "out of service", "power lost", "grid sag",
    "phase lost", "transfer back", "generator fails", "generator tripped", "out of fuel",
    "overload", "moisture in motor", "no flow", "control power lost", "controller stopped",
    "fails to prime", "held, downstream dark", "held, downstream limited", "held by the generator",
    "mobile generator disconnected",
)  # fmt: skip


def of_pump(scene: Scene, name: str) -> Answer:
    """Return why an electric pump ran at the moment, or why it did not.

    Parameters
    ----------
    scene
        The moment.
    name
        The pump.
    """
    run = scene.run_now(name)
    if run is not None:
        return _ran(scene, name, run)
    found = (
        of_unable(scene, name)
        or _no_run_signal(scene, name)
        or no_supply(scene, name)
        or no_controls(scene, name)
        or _in_hand(scene, name)
        or of_held(scene, name)
        or of_floats(scene, name)
        or of_level(scene, name)
    )
    more = [*found.more, *before_and_after(scene, name)]
    last = scene.last_run(name)
    if last is not None and scene.at_s - last.stop_s <= SAME_INSTANT_S:
        verdict = f"{name} stopped at this very moment, {stopped(scene, last)}."
        return Answer(name, verdict, [found.verdict, *more])
    return Answer(name, found.verdict, more)


def before_and_after(scene: Scene, name: str) -> list[str]:
    """Return the last run of a machine before the moment, and its next start.

    Parameters
    ----------
    scene
        The moment.
    name
        The machine.
    """
    last, later = scene.last_run(name), scene.next_run(name)
    said = []
    if last is None:
        said.append("It had not run before.")
    else:
        ran = span(scene.result, last.start_s, last.stop_s)
        said.append(f"Last run: as {last.role} {ran}, {stopped(scene, last)}.")
    if later is None:
        said.append("It did not start again before the end of the run.")
    else:
        cause = cause_text(scene.station, later.started_by, scene.system)
        said.append(f"Next start: {scene.clock(later.start_s)}, as {later.role}: {cause}.")
    return said


def stopped(scene: Scene, run: PumpRun) -> str:
    """Return why a run ended; what ended by force is said so.

    Parameters
    ----------
    scene
        The moment.
    run
        The run.
    """
    cause = run.stopped_by
    if cause == _LONGEST:
        most = getattr(scene.station.control.settings, "max_run_s", None)
        longest = "" if most is None else f", {lasting(most)}"
        return f"stopped by force: {_LONGEST}{longest}"
    if cause == "backup stop float":
        return "stopped by force at low level: backup stop float uncovered"
    if cause in _BY_FORCE:
        return f"stopped by force: {cause.removeprefix('held, ')}"
    return f"stopped by: {cause_text(scene.station, cause, scene.system)}"


# ---------------------------------------------------------------------- it ran


def _ran(scene: Scene, name: str, run: PumpRun) -> Answer:
    result = scene.result
    cause = cause_text(scene.station, run.started_by, scene.system)
    since = scene.clock(run.start_s)
    part = "in hand" if run.role == "hand" else f"as {role_text(run.role)}"
    verdict = f"{name} ran {part}, since {since}: {cause}."
    if run.role == "exercise":
        verdict = f"{name} ran for an exercise, since {since}, whatever the level."
    vain = moved_nothing(scene, name, run)
    more = []
    if vain is not None:
        verdict = f"{verdict.removesuffix('.')}; {vain.clause}."
        more += vain.seen
    mode, turned_s = scene.selector(name)
    if mode == "hand":
        more.append(
            f"Its selector stood in hand since {scene.clock(turned_s)}: a person ran it, whatever"
            " the level."
        )
    more += _saw_otherwise(scene, run)
    floats = scene.station.backup_floats
    if floats is not None and run.started_by == "backup start float":
        more += float_otherwise(scene, "start float", floats.start_m, water=True)
    skipped = [
        row
        for row in scene.of(name, "swap skipped")
        if run.start_s <= row.t_s <= scene.at_s + SAME_INSTANT_S
    ]
    if skipped:
        row = skipped[-1]
        most = lasting(scene.station.control.settings.max_run_s)
        more.append(
            f"At {scene.clock(row.t_s)} it had run for its longest time, {most}, and the swap was"
            f" skipped: {row.cause} ({row.detail})."
        )
    lasted = lasting(run.stop_s - run.start_s)
    if at_end(result, run.stop_s):
        more.append(f"It ran on to the end of the run ({lasted}).")
    else:
        more.append(f"At {scene.clock(run.stop_s)}, after {lasted}, {stopped(scene, run)}.")
    return Answer(name, verdict, more)


def _saw_otherwise(scene: Scene, run: PumpRun) -> list[str]:
    """Return what the panel saw at a start, when it was not so."""
    true, seen = scene.level_at(run.start_s), scene.seen_at(run.start_s)
    if run.role in ("hand", "exercise") or abs(true - seen) <= 0.005:
        return []
    saw = "the panel had no signal" if isnan(seen) else f"the panel saw {scene.level(seen)}"
    return [f"When it started {saw}; in truth the level was {scene.level(true)}."]


# ---------------------------------------------------------------------- it could not


def of_unable(scene: Scene, name: str) -> Answer | None:
    """Return that a machine could not be run at the moment: trip, out of service, off.

    Parameters
    ----------
    scene
        The moment.
    name
        The machine.
    """
    spells = scene.unable(name)
    if not spells:
        return None
    first = spells[-1]
    said = " and ".join(_unable_text(scene, spell) for spell in reversed(spells))
    more = [_who_clears(scene, spell) for spell in spells]
    more += _called_in_vain(scene, name, first)
    more += [one for spell in spells if (one := reversing(scene, name, spell.begun))]
    last = scene.last_run(name)
    if last is not None and abs(last.stop_s - first.start_s) <= SAME_INSTANT_S:
        more.append(f"It ran as {last.role} until then and was stopped by it.")
    for row in scene.of(name, "reset refused"):
        if first.start_s <= row.t_s <= scene.at_s + SAME_INSTANT_S:
            more.append(f"A reset at {scene.clock(row.t_s)} was refused: {row.cause}.")
    fed = scene.busbar is not None and scene.busbar.state != "dead"
    electric = {pump.name for pump in scene.station.pumps}
    if scene.grid_out is not None and not fed and name in electric:
        more.append("Besides, the grid was out.")
    more += refusals(scene, first.start_s)
    return Answer(name, f"{name} did not run: {said}.", more)


def _unable_text(scene: Scene, spell: Spell) -> str:
    since = scene.clock(spell.start_s)
    if spell.kind == "off":
        return f"its selector stood in off since {since}"
    if spell.kind == "out of service":
        return f"it was out of service since {since}"
    if spell.kind == "seal leak":
        return f"it was taken out by a seal leak at {since}"
    if spell.kind == "no flow":
        return f"the panel had stopped it at {since}, for it ran and moved nothing (no flow)"
    return f"it had tripped at {since} ({spell.kind})"


def _who_clears(scene: Scene, spell: Spell) -> str:
    """Return who may free a machine, and when somebody or something did."""
    by_itself = spell.begun.detail.startswith("for ")
    if spell.kind == "off":
        who = "Only a person can turn the selector back"
    elif spell.kind == "out of service":
        who = "Whoever took it out gives it back when the work is done"
    elif spell.kind in ("moisture in motor", "seal leak") and not by_itself:
        who = "A crew on site has to dry it"
    elif by_itself:
        who = "It is free again by itself when the condition is over"
    elif spell.ended is not None and spell.ended.cause == "by itself":
        who = "It is free again by itself"
    elif spell.begun.detail == "to the end of the run":
        who = "Its condition lasts to the end of the run, and no reset is taken while it lasts"
    else:
        who = "A person has to reset it, once the condition is over"
    if spell.ended is None:
        return f"{who}; nothing of the kind happened before the end of the run."
    how = {"in auto": "turned to auto", "in hand": "turned to hand"}.get(spell.ended.event)
    how = how or f"{spell.ended.event} {spell.ended.cause}".replace(" work done", ", work done")
    return f"{who}: {how} at {scene.clock(spell.ended.t_s)}."


def _called_in_vain(scene: Scene, name: str, spell: Spell) -> list[str]:
    """Return that a trip came of a call without a run signal."""
    if spell.kind != "pump failed":
        return []
    called = [row for row in scene.of(name, "no run signal") if row.t_s <= spell.start_s]
    wait_s = _unit(scene, name).fail_to_start_s if called else 0.0
    if not called or spell.start_s - called[-1].t_s > wait_s + 1e-3:
        return []
    row = called[-1]
    waited = f"waited {lasting(wait_s)} and " if wait_s > 0.0 else ""
    said = (
        f"It was {row.detail} at {scene.clock(row.t_s)} and gave no run signal; the panel"
        f" {waited}took it for failed."
    )
    return [said, *_in_truth(scene, name, row.t_s)]


def _in_truth(scene: Scene, name: str, at_s: float) -> list[str]:
    past = [r for r in scene.of(name, "fails to start") if r.t_s <= at_s + SAME_INSTANT_S]
    if not past:
        return []
    since = scene.clock(past[-1].t_s)
    return [f"In truth, which no panel sees, it would not have started from {since} on."]


def _unit(scene: Scene, name: str) -> PumpUnit:
    return next(pump for pump in scene.station.pumps if pump.name == name)


def _no_run_signal(scene: Scene, name: str) -> Answer | None:
    row = scene.before(scene.of(name, "no run signal"))
    wait_s = _unit(scene, name).fail_to_start_s
    if row is None or scene.at_s >= row.t_s + max(wait_s, 2.0 * SAME_INSTANT_S):
        return None
    waits = "took it for failed at once"
    if wait_s > 0.0:
        waits = f"waited {scene.until(row.t_s + wait_s)} before taking it for failed"
    return Answer(
        name,
        f"{name} did not run: it was {row.detail} at {scene.clock(row.t_s)} and gave no run signal;"
        f" the panel {waits}.",
        _in_truth(scene, name, row.t_s),
    )


def _in_hand(scene: Scene, name: str) -> Answer | None:
    mode, turned_s = scene.selector(name)
    last = scene.last_run(name)
    if mode != "hand" or last is None:
        return None
    rest_s = _unit(scene, name).min_off_s
    return Answer(
        name,
        f"{name} did not run: its selector stood in hand since {scene.clock(turned_s)}, but it had"
        f" to rest {lasting(rest_s)} after its stop, {scene.until(last.stop_s + rest_s)}.",
    )
