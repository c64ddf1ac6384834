"""Sequences that the level drives: who leads in turn, all calls, alarms of the level, floats."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING

from stationsim.control.rotation import ClockSettings, SharesSettings, read_shares
from stationsim.episode import ScriptedEvent
from stationsim.inflow.segments import DAY_S
from stationsim.studies.acceptance.cautions import AT_TEST_POINT, LICENSED
from stationsim.studies.acceptance.panel.bench import AllStopped, full_s
from stationsim.studies.acceptance.panel.script import Script
from stationsim.studies.acceptance.panel.turns import in_turn, leads_of, makes_rounds

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from datetime import datetime

    from stationsim.studies.acceptance.panel.bench import Bench, Until
    from stationsim.studies.acceptance.panel.script import PanelTest
    from stationsim.trace import EventRow

ROUNDS = 2
"""How often each pump should have led."""

BY_CLOCK_S = 4.0 * 3600.0
"""Two rounds by the clock are waited for when they take no longer than this [s]."""

_RISES = 1.4  # nearer to what the pumps draw, a small error of theirs moves each gap by far more
_HAND_S = 2.0
_AFTER_S = 10.0
_HOLD_S = 20.0
_LOW_S = 30.0
_TWO_ROUNDS = "alternation over two rounds"
_ALTERNATION = "alternation"
_ONE_BY_ONE = "turn the selectors to auto in order, one right after the other"
_METERS = (
    "The order goes by the hour meters: set them to nought first; pumps whose hours lie within"
    " seconds of each other may change places."
)


def held_off(bench: Bench) -> tuple[ScriptedEvent, ...]:
    """Return the selectors of all electric pumps in off from the beginning on.

    Parameters
    ----------
    bench
        The station.
    """
    return tuple(ScriptedEvent(0.0, "off", name) for name in bench.names)


def to_auto(bench: Bench, at_s: float) -> tuple[ScriptedEvent, ...]:
    """Return the hands that turn the selectors of all electric pumps to auto, one after the other.

    Parameters
    ----------
    bench
        The station.
    at_s
        When the first is turned [s].
    """
    return tuple(
        ScriptedEvent(at_s + n * _HAND_S, "auto", name) for n, name in enumerate(bench.names)
    )


def prepared_s(bench: Bench) -> float:
    """Return how long selectors stand in off before the sequence proper begins [s].

    Parameters
    ----------
    bench
        The station; the panel must have found its start levels reached by then.
    """
    return 10.0 * math.ceil((bench.start_delay_s + 5.0) / 10.0)


# ---------------------------------------------------------------------- who leads


def alternation(bench: Bench) -> tuple[str, PanelTest | str]:
    """Return the sequence that shows who leads in turn; its name, and why not if it cannot be.

    Parameters
    ----------
    bench
        The station.
    """
    plan = bench.station.control
    script = Script(
        name=_TWO_ROUNDS,
        purpose="Every pump leads in its turn, for two rounds.",
        how=(
            f"Selectors in auto; set the panel so that {bench.lead} leads.",
            *bench.water_told(),
            "Leave it alone, and note each start and stop.",
        ),
        start_level_m=bench.stop_m,
        inflow_m3s=bench.water_m3s,
    )
    if len(bench.names) == 1:
        return script.name, "there is one electric pump: it always leads"
    if plan.rotation == "fixed":
        return _fixed(bench, script)
    settings, names = plan.rotation_settings, bench.names
    if isinstance(settings, ClockSettings):
        return _by_clock(bench, script, settings)
    rule = "The lead changes as the panel is set"
    if plan.rotation != "each cycle":
        script = replace(script, name=_ALTERNATION)
    if plan.rotation == "run hours":
        rule = "The pump with the fewest run hours leads each time"
    if isinstance(settings, SharesSettings):
        rule = "The pump that is furthest behind its share of the hours leads each time"
        shares = read_shares(settings.shares, len(names))
        names = tuple(name for name, share in zip(names, shares, strict=True) if share > 0.0)
        if len(names) == 1:
            return script.name, f"{names[0]} alone has a share of the hours: it always leads"
    if plan.rotation in ("run hours", "shares"):
        script = replace(script, how=(*script.how, _METERS))
    made = bench.play_until(script, AllStopped(ROUNDS * len(names)))
    return _as_led(bench, made, script, names, rule)


def _as_led(
    bench: Bench, made: PanelTest | str, script: Script, names: Sequence[str], rule: str
) -> tuple[str, PanelTest | str]:
    """Return a sequence by the name of what comes of it: two rounds, or another alternation."""
    if isinstance(made, str):
        return script.name, made
    leads = leads_of(made.result.trace.events, bench.names)
    if len(set(leads)) < 2:
        only = f"{leads[0]} would lead each of its {len(leads)} cycles" if leads else "none leads"
        return script.name, f"{only}: no change of the lead would show"
    rounds = makes_rounds(leads, names, ROUNDS)
    purpose = f"{rule}: {in_turn(leads)}."
    if rounds and script.name == _TWO_ROUNDS:
        purpose = script.purpose
    name = _TWO_ROUNDS if rounds else _ALTERNATION
    return name, replace(made, name=name, purpose=purpose)


def _fixed(bench: Bench, script: Script) -> tuple[str, PanelTest | str]:
    """Return two cycles in which the lead stays what it is."""
    script = replace(script, name="fixed order over two cycles")
    made = bench.play_until(script, AllStopped(ROUNDS))
    if isinstance(made, str):
        return script.name, made
    leads = leads_of(made.result.trace.events, bench.names)
    told = f"{bench.lead} leads each time" if set(leads) == {bench.lead} else in_turn(leads)
    return script.name, replace(made, purpose=f"Nothing changes the order: {told}.")


def _by_clock(bench: Bench, script: Script, settings: ClockSettings) -> tuple[str, PanelTest | str]:
    """Return two rounds by the clock if they are short, or one change of the lead."""
    lasts_s = ROUNDS * len(bench.names) * settings.every_s
    if lasts_s <= BY_CLOCK_S:
        script = replace(script, name=_ALTERNATION, how=_clock_set(script, bench.start))
        cycles = AllStopped(ROUNDS * len(bench.names))
        by_then = AllStopped(1, since_s=lasts_s)

        def both(rows: Sequence[EventRow], running: tuple[str, ...]) -> bool:
            enough, late = cycles(rows, running), by_then(rows, running)  # both count on
            return enough and late

        made = bench.play_until(script, both)
        return _as_led(bench, made, script, bench.names, "The lead changes at its set times")
    script = replace(script, name="change of the lead by the clock")
    first_s = bench.reaches_s(script, AllStopped(1))
    if first_s is None:
        return script.name, "one cycle would take longer than a day's work with this water"
    ahead_s = 60.0 * math.ceil((first_s + _LOW_S) / 60.0)
    turns = max(math.ceil((ahead_s - settings.at_s) / settings.every_s), 0)
    begins_s = settings.at_s + turns * settings.every_s - ahead_s
    if not 0.0 <= begins_s < DAY_S:
        hours = settings.every_s / 3600.0
        return script.name, f"the lead changes every {hours:g} h, and not on the day of the test"
    midnight = bench.start.replace(hour=0, minute=0, second=0, microsecond=0)
    begins = midnight + timedelta(seconds=begins_s)
    script = replace(script, begins=begins, how=_clock_set(script, begins))

    # the change comes while none runs, or waits for the stop: no event of its own
    def changed(rows: Sequence[EventRow], running: tuple[str, ...]) -> bool:
        return not running and len(set(leads_of(rows, bench.names))) > 1

    made = bench.play_until(script, changed)
    if isinstance(made, str):
        return script.name, made
    leads = leads_of(made.result.trace.events, bench.names)
    purpose = f"The lead changes at the set time: {in_turn(leads)}."
    return script.name, replace(made, purpose=purpose)


def _clock_set(script: Script, begins: datetime) -> tuple[str, ...]:
    """Return what the crew does, with the clock of the panel set before the water runs in."""
    shown = f"{begins:%H:%M:%S}" if begins.second else f"{begins:%H:%M}"
    told = f"Set the clock of the panel to {shown} as the water begins to run in."
    return (script.how[0], told, *script.how[1:])


# ---------------------------------------------------------------------- all calls


def all_calls(bench: Bench) -> PanelTest | str:
    """Return the sequence in which every call is made and ended again, or why there is none.

    Parameters
    ----------
    bench
        The station.
    """
    most = min(len(bench.starts_m), len(bench.names))
    if len(bench.starts_m) == 1:
        return "there is one start level"
    if most == 1:
        return "there is one electric pump"
    risen = _by_rising(bench, most)
    if risen is not None:
        return risen
    wait_s = prepared_s(bench)
    script = Script(
        name="lag and standby starts",
        purpose="From above all start levels every pump that is called starts, spaced as set, and"
        " stops at its stop level.",
        how=(
            f"Selectors in off; set the panel so that {bench.lead} leads.",
            *bench.water_told(held=True),
            (
                f"{wait_s:.0f} s after the water has passed the level at which this begins,"
                f" {_ONE_BY_ONE}."
            ),
        ),
        start_level_m=bench.top_m,
        inflow_m3s=bench.water_m3s,
        events=(
            *held_off(bench),
            *to_auto(bench, wait_s),
        ),
        prepared_s=wait_s,
        held_s=wait_s + _HAND_S * len(bench.names),
    )
    # the panel must have found all start levels reached as the first selector is turned
    by_s = wait_s - bench.start_delay_s
    filled = (
        replace(script, start_level_m=bench.before(above, by_s, bench.top_m))
        for above in bench.above_starts()
    )
    return bench.all_start(filled, AllStopped)


def _by_rising(bench: Bench, most: int) -> PanelTest | None:
    """Return the same with water that rises past each start level; None when it cannot."""
    given = bench.plan.water_m3s
    pumped = bench.flow_m3s(tuple(range(most - 1)), bench.starts_m[most - 1])
    if given is None or given < _RISES * pumped:
        return None
    script = Script(
        name="lag and standby starts",
        purpose="As the water rises each pump starts at its start level, and stops at its stop"
        " level.",
        how=(
            f"Selectors in auto; set the panel so that {bench.lead} leads.",
            "Let the water run in at the stated rate.",
        ),
        start_level_m=bench.before(bench.lead_m),
        inflow_m3s=given,
    )

    def all_called(rows: Sequence[EventRow], running: tuple[str, ...]) -> bool:
        del rows
        return len(running) == most

    called_s = bench.reaches_s(script, all_called)
    if called_s is None:
        return None
    until_s = full_s(called_s) + _HOLD_S
    script = replace(
        script,
        until_s=until_s,
        how=(*script.how, f"{_HOLD_S:.0f} s after the last pump has started shut the water off."),
    )
    made = bench.play_until(script, AllStopped(1, since_s=until_s))
    return None if isinstance(made, str) else made


# ---------------------------------------------------------------------- alarms


def high_level(bench: Bench) -> PanelTest | str:
    """Return the sequence of the high-level alarm, or why there is none.

    Parameters
    ----------
    bench
        The station.
    """
    alarms = bench.station.alarms
    high = alarms.high_level_m
    if high is None:
        return "there is no high-level alarm"
    if high >= bench.crest_m:
        return "the alarm does not lie below the spill"
    wait_s = prepared_s(bench)
    start = bench.before(high, wait_s + _LOW_S)
    raised_s = bench.rise_s(start, high) + alarms.high_level_delay_s
    auto_s = full_s(raised_s) + _AFTER_S
    script = Script(
        name="high-level alarm",
        purpose="The alarm comes at its level, after its delay, and goes when the pumps have drawn"
        " the level down.",
        how=(
            f"Selectors in off; set the panel so that {bench.lead} leads.",
            *bench.water_told(held=True),
            f"{_AFTER_S:.0f} s after the alarm {_ONE_BY_ONE}.",
        ),
        start_level_m=start,
        inflow_m3s=bench.water_m3s,
        events=(
            *held_off(bench),
            *to_auto(bench, auto_s),
        ),
        prepared_s=min(wait_s, 0.5 * raised_s),  # the alarm itself does not belong to it
        held_s=auto_s + _HAND_S * len(bench.names),
        on_hand=("alarm cleared: high level",),
    )
    return bench.play_until(script, _cleared("high level"))


def low_level(bench: Bench) -> PanelTest | str:
    """Return the sequence of the low-level alarm, or why there is none.

    Parameters
    ----------
    bench
        The station.
    """
    alarms, station = bench.station.alarms, bench.station
    low = alarms.low_level_m
    if low is None:
        return "there is no low-level alarm"
    if low >= bench.lead_m:
        return "the alarm does not lie below the start level of the lead"
    drawn = bench.flow_m3s((0,), low) - bench.water_m3s
    if drawn <= 0.0:
        return f"{bench.lead} alone does not draw the water down to it"
    volume = bench.volume_m3(low) + drawn * _LOW_S
    start = min(station.well.level_at(volume), bench.lead_m)
    start = max(math.floor(100.0 * start + 1e-6) / 100.0, low)
    if start <= low:
        start = min(low + 0.01, bench.lead_m)
    script = Script(
        name="low-level alarm",
        purpose="The alarm comes at its level, after its delay, and goes when the water rises.",
        how=(
            *bench.water_told(),
            f"Run {bench.lead} in hand, with somebody at its selector: nothing else stops it.",
            "Listen, or watch its current at the panel; stop at once when it draws air or shakes.",
            f"As the alarm comes turn {bench.lead} back to auto at once.",
        ),
        start_level_m=start,
        inflow_m3s=bench.water_m3s,
        events=(ScriptedEvent(0.0, "hand", bench.lead),),
        on_hand=("alarm cleared: low level",),
    )
    raised_s = bench.reaches_s(script, _raised("low level"))
    if raised_s is None:
        return f"{bench.lead} alone does not draw the water down to it"
    stopped = ScriptedEvent(full_s(raised_s) + _HAND_S, "auto", bench.lead)
    script = replace(script, events=(*script.events, stopped))
    return bench.play_until(script, _cleared("low level"))


def _raised(alarm: str) -> Until:
    return _alarm_event("alarm raised", alarm)


def _cleared(alarm: str) -> Until:
    return _alarm_event("alarm cleared", alarm)


def _alarm_event(event: str, alarm: str) -> Callable[[Sequence[EventRow], tuple[str, ...]], bool]:
    def so(rows: Sequence[EventRow], running: tuple[str, ...]) -> bool:
        del running
        return any(row.event == event and row.cause.startswith(alarm) for row in rows)

    return so


# ---------------------------------------------------------------------- floats


def by_floats(bench: Bench) -> PanelTest | str:
    """Return the sequence in which the backup floats take over, or why there is none.

    Parameters
    ----------
    bench
        The station.
    """
    floats = bench.station.backup_floats
    if floats is None:
        return "there are no backup floats"
    lost_s = 5.0
    lost = ScriptedEvent(lost_s, "level signal lost", "level sensor")
    script = Script(
        name="level signal lost and floats take over",
        purpose="Without a level signal the alarm comes, and the floats start and stop the pumps.",
        how=(
            f"Selectors in auto; set the panel so that {bench.lead} leads.",
            *bench.water_told(),
            (
                f"After {lost_s:.0f} s {LICENSED} disconnects by its drawings the level sensor:"
                f" {AT_TEST_POINT}."
            ),
        ),
        start_level_m=bench.before(bench.lead_m),
        inflow_m3s=bench.water_m3s,
        events=(lost,),
    )
    stopped_s = bench.reaches_s(script, AllStopped(1, since_s=lost_s))
    if stopped_s is None:
        return "the floats would take longer than a day's work with this water"
    back_s = full_s(stopped_s) + _AFTER_S
    script = replace(
        script,
        events=(replace(lost, duration_s=back_s - lost_s),),
        how=(
            *script.how,
            f"{_AFTER_S:.0f} s after the pumps have stopped the same person connects it again.",
        ),
    )
    return bench.play(script, back_s + 5.0)
