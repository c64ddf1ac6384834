"""The 24-hour table in words: what a planner reads, and the sentences that a person would say."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stationsim.studies.rehearse.routine import ROUTINE
from stationsim.units import show
from stationsim.wording import level_text, listed

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stationsim.studies.rehearse.hours import HourRow, HoursAsked, StationHours
    from stationsim.units import System

_LATE_M3 = 0.05
_MOST_HOURS_NAMED = 4
_LEAST_ERROR = 0.005
_MOST_BY_HAND = 2
_LONG_S = 10.0 * 3600.0
_MOST_SHOWN_S = 9999.5 * 60.0


def whole_minutes(seconds: float) -> str:
    """Return a time in whole minutes for a table; ``-`` where there is none, ``never`` for never.

    Parameters
    ----------
    seconds
        The time [s].
    """
    if math.isnan(seconds):
        return "-"
    if math.isinf(seconds):
        return "never"
    return f"{seconds / 60.0:.0f}" if seconds < _MOST_SHOWN_S else ">9999"


def minutes(seconds: float) -> str:
    """Return a time for a sentence: in minutes, from ten hours on in hours.

    Parameters
    ----------
    seconds
        The time [s].
    """
    if _LONG_S <= seconds < math.inf:
        return f"{seconds / 3600.0:.0f} h"
    found = whole_minutes(seconds)
    return f"{found} min" if found[0].isdigit() else "a very long time" if ">" in found else found


def lines(found: Sequence[StationHours], asked: HoursAsked, system: System) -> list[str]:
    """Return the table for the screen: all hours of one station, or several stations ranked.

    Parameters
    ----------
    found
        The stations.
    asked
        What was asked.
    system
        ``si`` or ``us``.
    """
    if len(found) > 1:
        return _ranking(found, asked, system)
    one = found[0]
    blocks = one.blocks
    heads = [f"{block[0].day} {block[0].weather}" for block in blocks]
    start = _start(one, asked, system)
    n, by_hand = len(blocks), len(blocks) <= _MOST_BY_HAND
    wide = 25 if by_hand else 14
    hand_head = "by hand" if by_hand else ""
    hand_told = "; by hand: volume over the flow then" if by_hand else ""
    told = [
        f"{one.station.name}: power lost at the hour, nothing pumped, {start}.",
        f"Minutes to the high-level alarm and to the spill{hand_told}.",
        *_conditions(one, asked, system),
        "",
        ("       " + "".join(f"|{head:^{wide}}" for head in heads)).rstrip(),
        (" hour  " + f"|{'alarm':>6}{'spill':>7}{hand_head:>{wide - 13}}" * n).rstrip(),
    ]
    for hour in range(24):
        row = f" {hour:02d}:00 "
        for block in blocks:
            at = block[hour]
            error = "" if math.isnan(at.hand_error) else f" {100 * at.hand_error:+.0f} %"
            hand = f"{whole_minutes(at.hand_s)}{error:>7}"
            row += f"|{whole_minutes(at.alarm_s):>6}{whole_minutes(at.spill_s):>7}"
            row += f"{hand:>{wide - 13}}" if by_hand else " "
        told.append(row.rstrip())
    return told


def _conditions(one: StationHours, asked: HoursAsked, system: System) -> list[str]:
    """Return what else the table stands on, a line each."""
    told = []
    if one.has_wet:
        wet = []
        if one.storms:
            when = "at the hour"
            if asked.storm_peak_s:
                side = "after" if asked.storm_peak_s > 0.0 else "before"
                when = f"{show(abs(asked.storm_peak_s), 'duration', system)} {side} it"
            wet.append(f"the scenario's storm, moved so that it brings most {when}")
        if asked.added_m3s:
            wet.append(f"{show(asked.added_m3s, 'flow', system)} more at all times")
        told.append(f"Wet: {' and '.join(wet)}.")
    if asked.upstream:
        lag = show(asked.upstream_lag_s, "duration", system)
        when = f"{lag} after the cut" if asked.upstream_lag_s > 0.0 else "with the cut"
        told.append(
            f"Of the inflow {100 * asked.upstream:.0f} % comes from stations that go dark too, and"
            f" stops {when}."
        )
    if asked.same_day:
        told.append("The same day follows on itself.")
    return told


def _start(one: StationHours, asked: HoursAsked, system: System) -> str:
    if isinstance(asked.start_level, str) and asked.start_level in ROUTINE:
        return f"water where the routine has it at that hour ({asked.start_level})"
    level = level_text(one.station, one.hours[0].start_level_m, system)
    name = f"{asked.start_level}, " if isinstance(asked.start_level, str) else ""
    return f"water at {name}{level}"


def _ranking(found: Sequence[StationHours], asked: HoursAsked, system: System) -> list[str]:
    from stationsim.studies.rehearse.hours import ranked

    names = {one.name: one.station.name for one in found}
    wide = max(len(name) for name in names.values())
    late_head = "" if asked.response_s is None else "hours too late"
    told = [
        "Power lost at the worst hour, nothing pumped; what spills first stands first.",
        "Minutes to the high-level alarm, to the spill, and from the alarm level to the spill.",
        "",
        (
            f"     {'station':{wide}}  {'':4}{'worst hour':>11}{'inflow':>12}{'alarm':>7}"
            f"{'spill':>7}{'from alarm':>12}{late_head:>16}"
        ),
    ]
    for row in ranked(found, asked):
        hour = f"{row.worst_day} {row.worst_hour:02d}:00"
        late = "" if math.isnan(row.hours_too_late) else f"{row.hours_too_late:.0f}"
        told.append(
            f"{row.rank:>3}  {names[row.station]:{wide}}  {row.weather:4}{hour:>11}"
            f"{show(row.inflow_m3s, 'flow', system):>12}{whole_minutes(row.alarm_s):>7}"
            f"{whole_minutes(row.spill_s):>7}{whole_minutes(row.from_alarm_s):>12}{late:>16}"
        )
    return [line.rstrip() for line in told]


def sentences(found: Sequence[StationHours], asked: HoursAsked, system: System) -> list[str]:
    """Return what a person would say.

    Parameters
    ----------
    found
        The stations.
    asked
        What was asked.
    system
        ``si`` or ``us``.
    """
    if len(found) > 1:
        order = sorted(found, key=lambda one: min(row.spill_s for row in one.hours))
        first, last = order[0], order[-1]
        if not math.isfinite(min(row.spill_s for row in first.hours)):
            return ["With nothing pumped no station spills within three days, whatever the hour."]
        told = [f"{first.station.name} spills first. {_worst(first, system)}"]
        told.append(f"{last.station.name} holds longest. {_worst(last, system)}")
        for one in order[:2]:
            response = _response(one, asked, system)
            if response:
                told.append(f"{one.station.name}: {response[0].lower()}{response[1:]}")
        return told
    one = found[0]
    told = [
        _worst(one, system),
        _response(one, asked, system),
        _from_alarm(one),
        _hand(one),
        _pump_down(one, asked, system),
        _engine(one),
        _generator(one, system),
    ]
    return [sentence for sentence in told if sentence]


def _weather(one: StationHours, row: HourRow) -> str:
    return f", {row.weather}" if one.has_wet else ""


def _when(one: StationHours, row: HourRow) -> str:
    return f"{row.day} {row.hour:02d}:00{_weather(one, row)}"


def _worst(one: StationHours, system: System) -> str:
    if not math.isfinite(min(row.spill_s for row in one.hours)):
        return "With nothing pumped it does not spill within three days, whatever the hour."
    told = []
    for hours in _by_weather(one):
        row = min(hours, key=lambda row: row.spill_s)
        alarm = ""
        if not math.isnan(row.alarm_s):
            alarm = f"high-level alarm after {minutes(row.alarm_s)}, "
        flow = show(row.inflow_m3s, "flow", system)
        told.append(
            f"{_when(one, row)}, {flow} arriving, {alarm}spill after {minutes(row.spill_s)}"
        )
    return f"Worst hour: {'; '.join(told)}."


def _response(one: StationHours, asked: HoursAsked, system: System) -> str:
    """Return whether a response in time comes in time, and what it costs where it does not."""
    if asked.response_s is None:
        return ""
    late: list[str] = []
    spare: list[HourRow] = []
    for hours in _by_weather(one):
        weather = hours[0].weather
        missed = [row for row in hours if row.spill_s < asked.response_s]
        spare += [row for row in hours if row.spill_s >= asked.response_s]
        if missed:
            own = [
                row
                for row in one.spilled
                if row.weather == weather and row.after_s == asked.response_s
            ]
            worst = max(own, key=lambda row: row.spilled_m3)
            kind = f"{weather} hours" if one.has_wet else "hours"
            late.append(
                f"at {len(missed)} of {len(hours)} {kind}"
                f" ({show(worst.spilled_m3, 'volume', system)} spilled by then at"
                f" {worst.day} {worst.hour:02d}:00)"
            )
    told = f"A response of {minutes(asked.response_s)} comes"
    if late:
        told += f" too late {' and '.join(late)}"
    if spare:
        pick = max if late else min
        row = pick(spare, key=lambda row: row.spill_s)
        left = minutes(row.spill_s - asked.response_s)
        side = "most" if late else "least"
        when = "; else in time" if late else " before the spill at every hour of the table"
        told += when
        if math.isfinite(row.spill_s):
            told += f", with {left} to spare at {side} ({_when(one, row)})"
    return f"{told}."


def _by_weather(one: StationHours) -> list[list[HourRow]]:
    """Return the rows of dry weather, and those of wet weather when there are any."""
    found = [[row for row in one.hours if row.weather == weather] for weather in ("dry", "wet")]
    return [rows for rows in found if rows]


def _from_alarm(one: StationHours) -> str:
    hours = [row for row in one.hours if math.isfinite(row.from_alarm_s)]
    if not hours:
        return ""
    row = min(hours, key=lambda row: row.from_alarm_s)
    return (
        f"Counted from the alarm level at the hour, the shortest time to the spill is"
        f" {minutes(row.from_alarm_s)} ({_when(one, row)})."
    )


def _hand(one: StationHours) -> str:
    """Return how wrong volume over present flow is, at its worst both ways."""
    known = [row for row in one.hours if not math.isnan(row.hand_error)]
    if not known:
        return ""
    long = max(known, key=lambda row: row.hand_error)
    short = min(known, key=lambda row: row.hand_error)
    parts = []
    if long.hand_error >= _LEAST_ERROR:
        parts.append(f"{100 * long.hand_error:.0f} % too long ({_when(one, long)})")
    if short.hand_error <= -_LEAST_ERROR:
        parts.append(f"{-100 * short.hand_error:.0f} % too short ({_when(one, short)})")
    if not parts:
        return "Reckoned by hand, volume over the flow of the hour, the minutes are the same here."
    return f"Reckoned by hand, volume over the flow of the hour, it is up to {' and '.join(parts)}."


def _pump_down(one: StationHours, asked: HoursAsked, system: System) -> str:
    table = one.pump_down
    if not table:
        return ""
    outage = show(asked.outage_s, "duration", system)
    told = []
    for name in dict.fromkeys(row.pumps for row in table):
        rows = [row for row in table if row.pumps == name]
        never = [row for row in rows if not math.isfinite(row.pump_down_s)]
        if never:
            hours = [f"{hour:02d}:00" for hour in sorted({row.hour for row in never})]
            more = " and more" if len(hours) > _MOST_HOURS_NAMED else ""
            cut = listed(hours[:_MOST_HOURS_NAMED]) + more
            told.append(f"{name} cannot within three days (cut at {cut})")
            continue
        worst = max(rows, key=lambda row: row.pump_down_s)
        verb = "takes" if rows[0].number == 1 else "take"
        wet = f", {worst.weather}" if one.has_wet else ""
        at = f"{worst.day} {worst.hour:02d}:00{wet}"
        told.append(f"{name} {verb} up to {minutes(worst.pump_down_s)} (cut at {at})")
    spilled = max(row.spilled_m3 for row in table)
    lost = f" and up to {show(spilled, 'volume', system)} spilled" if spilled > _LATE_M3 else ""
    return f"After {outage} without power{lost}, pumping down to the stop level: {', '.join(told)}."


def _engine(one: StationHours) -> str:
    engine = one.station.engine_pump
    if engine is None:
        return ""
    fuel = ""
    if engine.fuel_m3_per_s > 0.0 and math.isfinite(engine.tank_m3):
        hours = engine.tank_m3 / engine.fuel_m3_per_s / 3600.0
        fuel = f"; its tank lasts {hours:.0f} h of running"
    return f"The engine-driven pump {engine.pump.name} is left out of all this{fuel}."


def _generator(one: StationHours, system: System) -> str:
    """Return that the generator is left out, and when it would feed the pumps."""
    power = one.station.standby_power
    if power is None or power.generator is None:
        return ""
    what, switch = power.generator, power.transfer
    voltage_s = switch.start_delay_s + what.crank_s + what.run_up_s + switch.transfer_s
    after = f"{show(voltage_s, 'duration', system)} after the loss"
    if power.boot_s > 0.0:
        booted = show(voltage_s + power.boot_s, "duration", system)
        after += f", and the panel has booted after {booted}"
    fuel = ""
    rate = what.fuel_rate_m3_per_s(what.rated_w) if math.isfinite(what.rated_w) else 0.0
    if rate > 0.0 and math.isfinite(what.tank_m3):
        hours = what.tank_m3 / rate / 3600.0
        fuel = f"; its tank lasts {hours:.0f} h at its rated output"
    return (
        "The generator is left out of all this; when it fires at once it feeds the pumps' busbar"
        f" {after}{fuel}."
    )
