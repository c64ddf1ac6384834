"""Why a spill began, and which alarm told of it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationsim.trace import sent_while_spilling
from stationsim.wording.spells import Happened
from stationsim.wording.standing import stood
from stationsim.wording.words import listed, moment

if TYPE_CHECKING:
    from stationsim.results import Result

_JUST_AFTER_S = 1e-3

_UNABLE = {"selector in off": "off", "out of service": "out of service", "pump failed": "failed"}

_MOVES_LESS = {
    "clogged": "clogged",
    "ragging": "full of rags",
    "turning backwards": "turning backwards",
    "air-bound": "air-bound",
    "plug valve closed": "behind a closed plug valve",
    "check valve open": "letting water back",
    "main plugged": "plugged",
    "main air": "full of air",
}
"""Kind of trouble -> what is then said of its subject, when the pumps ran and it was not enough."""

_FLOAT = ("start float", "float stuck down")
_OTHERS = ("fails to prime", "transfer switch stuck", _FLOAT[1])

_NO_VOLTAGE = {"failed": "failed", "tripped": "tripped", "out of fuel": "out of fuel"}
"""State in which a generator gives no voltage -> how it is said."""

_HOLDS_PUMPS = {
    "control breaker open": "the control breaker open",
    "controller stopped": "the controller stopped",
    "downstream dark": "the station downstream dark",
    "downstream limited": "the station downstream limited",
}
"""Kind of trouble that keeps pumps from running -> how it is said."""


def alarm_of_spills(result: Result) -> str:
    """Return which alarm of the spills was sent, and when; empty for a station without alarms.

    Parameters
    ----------
    result
        The run.
    """
    if result.station.alarms.high_level_m is None:
        return ""
    spills, alarms = result.trace.spills, result.trace.alarms
    sent = [
        sent_while_spilling(result.trace, "high level", spill.start_s, spill.stop_s)
        for spill in spills
    ]
    heard = [min(times_s) for times_s in sent if times_s]
    if len(spills) > 1 and heard:
        if len(heard) == len(spills):
            return "; the high-level alarm was sent each time"
        missed = len(spills) - len(heard)
        return f"; no high-level alarm was sent for {'one' if missed == 1 else missed} of them"
    if heard:
        return f"; the high-level alarm was sent at {moment(result, heard[0])}"
    first, last = min(s.start_s for s in spills), max(s.stop_s for s in spills)
    others = [
        row
        for row in alarms
        if row.alarm not in ("high level", "telemetry lost")
        and row.sent_s < last
        and not row.cleared_s < first
    ]
    if not others:
        return "; no alarm was sent while it spilled"
    one = min(others, key=lambda row: row.sent_s)
    when = moment(result, one.sent_s)
    return f"; the high-level alarm was not sent, only '{one.alarm}' at {when}"


def cause_of_spill(result: Result, start_s: float) -> str:
    """Return why a spill began, when that is evident from what stood at that moment; else nothing.

    Parameters
    ----------
    result
        The run.
    start_s
        When the spill began [s].
    """
    station, at_s = result.station, start_s + _JUST_AFTER_S
    runs = result.pump_runs
    running = set(runs.loc[(runs["start_s"] <= at_s) & (runs["stop_s"] > at_s), "pump"])
    wrong = _wrong(result, at_s)
    supply = _supply_of_spill(result, at_s, running, wrong)
    if supply:
        return supply
    names = station.machine_names()
    unable = {
        names[span.machine]: _UNABLE.get(span.cause, "tripped")
        for span in result.trace.unavailable
        if span.machine < len(station.pumps) and span.start_s <= at_s < span.stop_s
    }
    ready = [pump.name for pump in station.pumps if pump.name not in unable]
    less = [
        f"the {who} {how}" if who == "force main" else f"{who} {how}"
        for who, kind in wrong
        if (how := _MOVES_LESS.get(kind)) and who not in unable
    ]
    held = [how for _who, kind in wrong if (how := _HOLDS_PUMPS.get(kind))]
    if unable:
        out = [f"{name} {how}" for name, how in unable.items()]
        return f"with {listed([*out, *less, *held])}"
    if all(name in running for name in ready):
        them = "the pump" if len(ready) == 1 else "the pumps"
        with_less = f", with {listed(less)}" if less else ""
        return f"because more arrived than {them} could lift{with_less}"
    some = [name for name in ready if name in running]
    signal = next((mode for t, mode, _ in reversed(result.trace.signal) if t <= at_s), "right")
    signal = {"off": "wrong", "held": "wrong"}.get(signal, signal)
    held += [] if signal == "right" else [f"the level signal {signal}"]
    held += ["the start float stuck down"] if _FLOAT in wrong else []
    blind = [f"only {listed(some)} running" if some else "no pump running", *held]
    return f"with {listed(blind)}"


def _supply_of_spill(
    result: Result, at_s: float, running: set[str], wrong: list[tuple[str, str]]
) -> str:
    """Return that the pumps had no supply at a moment; nothing when they had."""
    station, power = result.station, result.power
    now = power.loc[(power["start_s"] <= at_s) & (power["stop_s"] > at_s)]
    out = now.loc[(now["source"] == "grid") & (now["state"] == "out")]
    busbar = now.loc[now["source"] == "busbar", "state"]
    dead = len(out) > 0 if busbar.empty else busbar.iloc[0] == "dead"
    if not dead:
        return ""
    what, state = "the grid", "out"
    if out.empty:
        what, state = "the busbar of the pumps", "dead"
    elif set(out["cause"]) == {"phase lost"}:
        what, state = "one phase of the grid", "lost"
    failed = _second_source(result, at_s, wrong)
    if station.engine_pump is None:
        bypass = station.bypass_pump
        if bypass is not None and bypass.pump.name in running:
            lifts = f"{bypass.pump.name} could not lift all that arrived"
            return f"while {what} was {state} and {lifts}{_comma_with(failed)}"
        return f"with {listed([f'{what} {state}', *failed])}"
    name = station.engine_pump.pump.name
    does = "could not lift all that arrived" if name in running else "did not run"
    if name in running and (name, "fails to prime") in wrong:
        does = "drew no water"
    if name not in running:
        does += _why_no_engine(result, at_s)
    return f"while {what} was {state} and {name} {does}{_comma_with(failed)}"


def _second_source(result: Result, at_s: float, wrong: list[tuple[str, str]]) -> list[str]:
    """Return why the generator did not feed the pumps at a moment, as far as it failed."""
    power = result.trace.power
    found = [
        f"the {row.source} {how}"
        for row in power
        if (how := _NO_VOLTAGE.get(row.state))
        and row.source in ("generator", "mobile generator")
        and row.start_s <= at_s < row.stop_s
    ]
    if any(kind == "transfer switch stuck" for _who, kind in wrong):
        found.append("the transfer switch stuck")
    return found


def _why_no_engine(result: Result, at_s: float) -> str:
    """Return in brackets why the engine-driven pump could not run at a moment."""
    machine = len(result.station.pumps)
    causes = [
        _UNABLE.get(span.cause, span.cause)
        for span in result.trace.unavailable
        if span.machine == machine and span.start_s <= at_s < span.stop_s
    ]
    return f" ({causes[0]})" if causes else ""


def _comma_with(said: list[str]) -> str:
    return f", with {listed(said)}" if said else ""


def _wrong(result: Result, at_s: float) -> list[tuple[str, str]]:
    """Return which troubles that matter to a spill stood at a moment: subject and kind."""
    happened = Happened(result, "si")
    found = []
    for kind in (*_MOVES_LESS, *_HOLDS_PUMPS, *_OTHERS):
        for subject, spells in stood(happened, kind).items():
            if any(spell.start_s <= at_s < spell.stop_s for spell in spells):
                found.append((subject, kind))
    return found
