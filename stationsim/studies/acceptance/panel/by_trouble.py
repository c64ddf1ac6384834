"""Sequences in which something fails: the lead, the supply, and what takes its place."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, NamedTuple

from stationsim.episode import ScriptedEvent
from stationsim.studies.acceptance.cautions import (
    AT_TEST_POINT,
    BREAKER,
    CLEAR,
    LICENSED,
    SEAL_TRIED,
    WITHOUT_POWER,
)
from stationsim.studies.acceptance.panel.bench import BEFORE_S, AllStopped, full_s
from stationsim.studies.acceptance.panel.script import Script

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stationsim.station import Station
    from stationsim.studies.acceptance.panel.bench import Bench
    from stationsim.studies.acceptance.panel.script import PanelTest
    from stationsim.trace import EventRow

_RUNS_S = 20.0
_HOLD_S = 30.0
_ENGINE_S = 60.0


class _Failing(NamedTuple):
    """One way in which the lead fails.

    Parameters
    ----------
    name
        What the sequence is called.
    purpose
        What it is for.
    does, undoes
        What the crew does, and how it is put right, after the words 'so many seconds later'.
    events
        What is done.
    """

    name: str
    purpose: str
    does: str
    undoes: str
    events: tuple[ScriptedEvent, ...]


_TAKES_OVER = "and the next pump takes over"


def fail_overs(bench: Bench) -> list[tuple[str, PanelTest | str]]:
    """Return the sequences in which the lead fails, by name; or why there are none.

    Parameters
    ----------
    bench
        The station.
    """
    if len(bench.names) == 1:
        return [("fail-over of the lead", "there is one electric pump: none can take over")]
    start = bench.before(bench.lead_m)
    starts_s = bench.rise_s(start, bench.lead_m) + bench.start_delay_s
    runs_s = _runs_s(bench)
    return [
        (way.name, _played(bench, start, way))
        for way in (
            *_while_running(bench, full_s(starts_s + runs_s), runs_s),
            _does_not_start(bench, starts_s),
        )
    ]


def _played(bench: Bench, start_m: float, way: _Failing) -> PanelTest | str:
    last_s = max(event.at_s + (event.duration_s or 0.0) for event in way.events)
    script = Script(
        name=way.name,
        purpose=way.purpose,
        how=(
            f"Selectors in auto; set the panel so that {bench.lead} leads.",
            *bench.water_told(),
            way.does,
            way.undoes,
        ),
        start_level_m=start_m,
        inflow_m3s=bench.water_m3s,
        events=way.events,
    )
    return bench.play(script, last_s + 5.0)


def _runs_s(bench: Bench) -> float:
    """Return how long the lead runs before something happens to it [s]: early in its run."""
    return max(math.floor(min(_RUNS_S, 0.25 * bench.lead_run_s())), 1.0)


def _while_running(bench: Bench, at_s: float, runs_s: float) -> list[_Failing]:
    """Return the ways in which the lead fails while it runs."""
    lead, unit = bench.lead, bench.station.pumps[0]
    hold_s = max(_HOLD_S, full_s(bench.stagger_s) + 10.0)
    back_s = at_s + hold_s
    later = f"{hold_s:.0f} s later"
    runs = f"About {runs_s:.0f} s after {lead} has started"
    own_reset = unit.motor_heat is not None and unit.most_resets != 0
    hot = ScriptedEvent(at_s, "high temperature", lead, hold_s if own_reset else None)
    reset = ScriptedEvent(back_s, "reset", lead)
    leak_stops = unit.seal_leak == "stop"
    leak = ScriptedEvent(at_s, "seal leak", lead, hold_s, resets_itself=not leak_stops)
    return [
        _Failing(
            "lead out of service",
            f"{lead} is taken out as it runs, {_TAKES_OVER}.",
            f"{runs} turn its selector to off.",
            f"{later} turn it back to auto.",
            (ScriptedEvent(at_s, "off", lead), ScriptedEvent(back_s, "auto", lead)),
        ),
        _Failing(
            "lead trips on overload",
            f"The overload relay of {lead} trips: alarm, {_TAKES_OVER}.",
            f"{runs} {LICENSED} trips its overload relay by the relay's own test button.",
            f"{later} the same person resets it by hand.",
            (ScriptedEvent(at_s, "fails", lead), reset),
        ),
        _Failing(
            "lead too hot",
            f"The temperature switch of {lead} opens: alarm, {_TAKES_OVER}.",
            f"{runs} {LICENSED} opens by its drawings the circuit of its temperature switch:"
            f" {AT_TEST_POINT}.",
            f"{later} the same person closes the circuit"
            + ("." if own_reset else " and resets it by hand."),
            (hot,) if own_reset else (hot, reset),
        ),
        _Failing(
            "seal leak of the lead",
            f"The seal probe of {lead} finds water: alarm, "
            + (f"it stops, {_TAKES_OVER}." if leak_stops else "and it runs on."),
            f"{runs} {LICENSED} simulates water at its seal probe by its drawings: {SEAL_TRIED}.",
            f"{later} the same person ends that"
            + (" and resets it by hand." if leak_stops else "."),
            (leak, replace(reset, at_s=back_s + 2.0)) if leak_stops else (leak,),
        ),
    ]


def _does_not_start(bench: Bench, starts_s: float) -> _Failing:
    """Return the way in which the lead is called and does not start."""
    lead, unit = bench.lead, bench.station.pumps[0]
    hold_s = max(_HOLD_S, full_s(bench.stagger_s) + 10.0)
    back_s = full_s(starts_s + unit.fail_to_start_s) + hold_s
    return _Failing(
        "lead does not start",
        f"{lead} is called and gives no run signal: alarm, {_TAKES_OVER}.",
        f"Before the start level is reached {LICENSED} isolates by its drawings the control circuit"
        f" of {lead}, its selector in auto.",
        f"{hold_s:.0f} s after the alarm, everybody clear of {lead}, the same person closes the"
        " circuit and resets it by hand.",
        (
            ScriptedEvent(0.0, "fails to start", lead, back_s - 1.0),
            ScriptedEvent(back_s, "reset", lead),
        ),
    )


# ---------------------------------------------------------------------- the supply


def power_failure(bench: Bench) -> PanelTest | str:
    """Return the sequence in which the grid fails under the running lead, or why there is none.

    Parameters
    ----------
    bench
        The station.
    """
    station, engine = bench.station, bench.station.engine_pump
    start = bench.before(bench.lead_m)
    starts_s = bench.rise_s(start, bench.lead_m) + bench.start_delay_s
    runs_s = _runs_s(bench)
    lost_s = full_s(starts_s + runs_s)
    lost = ScriptedEvent(lost_s, "grid loss", "grid")
    takes = "the engine-driven pump starts by itself, " if engine is not None else ""
    script = Script(
        name="power failure with the lead running",
        purpose=f"The grid fails: alarm, {takes}and pumps run again when it is back.",
        how=(
            f"Selectors in auto; set the panel so that {bench.lead} leads.",
            *bench.water_told(),
            (
                f"About {runs_s:.0f} s after {bench.lead} has started {LICENSED} opens the main"
                f" breaker (off), {BREAKER}."
            ),
            _without_power(station),
        ),
        start_level_m=start,
        inflow_m3s=bench.water_m3s,
        events=(lost,),
    )
    delay_s = station.alarms.power_failed_delay_s
    back_s = lost_s + max(full_s(delay_s) + _HOLD_S, 2.0 * _HOLD_S)
    closes = f"{back_s - lost_s:.0f} s later the same person closes the breaker, {CLEAR}."
    if engine is not None:
        name = engine.pump.name

        def draws(rows: Sequence[EventRow], running: tuple[str, ...]) -> bool:
            del rows
            return name in running

        draws_s = bench.reaches_s(script, draws)
        if draws_s is None:
            return f"{name} would not be called within a day's work with this water"
        back_s = max(back_s, full_s(draws_s) + _ENGINE_S)
        closes = f"{_ENGINE_S:.0f} s after {name} has begun to pump the same person closes"
        closes += f" the breaker, {CLEAR}."
    script = replace(
        script,
        events=(replace(lost, duration_s=back_s - lost_s),),
        how=(*script.how, closes),
    )
    return bench.play_until(script, _settled(bench, back_s))


def restart(bench: Bench) -> PanelTest | str:
    """Return the sequence in which the grid comes back with the well high, or why there is none.

    Parameters
    ----------
    bench
        The station.
    """
    station, engine = bench.station, bench.station.engine_pump
    back_s = max(full_s(station.alarms.power_failed_delay_s) + 10.0, BEFORE_S)
    events = [ScriptedEvent(0.0, "grid loss", "grid", back_s)]
    held = after = ""
    if engine is not None:
        events.append(ScriptedEvent(0.0, "off", engine.pump.name))
        held = f", {engine.pump.name} in off"
        after = f"; turn {engine.pump.name} to auto again at the end"
    purpose = "When the grid is back the pumps restart in order, spaced as set, and not at once."
    if min(len(bench.starts_m), len(bench.names)) == 1:
        purpose = f"When the grid is back {bench.lead} restarts, after its delays."
    script = Script(
        name="restart after return with the well high",
        purpose=purpose,
        how=(
            f"Set the panel so that {bench.lead} leads.",
            (
                f"Before the well is filled, pumps still off, {LICENSED} opens the main breaker"
                f" (off), {BREAKER}; only then selectors in auto{held}."
            ),
            _without_power(station),
            *bench.water_told(held=True),
            (
                f"{back_s:.0f} s after the water has passed the level at which this begins, the"
                f" same person closes the breaker, {CLEAR}{after}."
            ),
        ),
        start_level_m=bench.top_m,
        inflow_m3s=bench.water_m3s,
        events=tuple(events),
        prepared_s=back_s,
        besides=() if engine is None else ((engine.pump.name, "in auto"),),
    )
    filled = (
        replace(script, start_level_m=bench.before(above, back_s, bench.top_m))
        for above in bench.above_starts()
    )
    return bench.all_start(filled, partial(_settled, bench, back_s))


def _without_power(station: Station) -> str:
    """Return what is said of the time without power: a fixed generator must not feed in it."""
    power = station.standby_power
    if power is None or power.generator is None:
        return WITHOUT_POWER
    return (
        f"{WITHOUT_POWER} Before that {LICENSED} sets the generator to off, so that it does not"
        " start; it goes back to auto at the end."
    )


def _settled(bench: Bench, back_s: float) -> AllStopped:
    """Return what says that all has stopped again after the grid is back."""
    again = bench.station.return_break
    breaks_s = math.inf if again is None else again.after_s
    if again is not None and breaks_s <= 2.0 * _ENGINE_S:
        return AllStopped(1, since_s=back_s + breaks_s + again.length_s)
    return AllStopped(1, since_s=back_s)
