"""The answer from now in words: one screen that can be read on a phone at three in the morning."""

from __future__ import annotations

import math
from datetime import timedelta
from typing import TYPE_CHECKING

from stationsim.studies.rehearse.days import REACH_S
from stationsim.units import show
from stationsim.wording import day_of, level_text, listed

if TYPE_CHECKING:
    from stationsim.studies.rehearse.now import LineupRow, Now
    from stationsim.units import System

_REACH = f"{REACH_S / 3600.0:.0f} h"

FIRST = "Keep out of the wet well: gas, drowning. Pumps may start by themselves."
"""The caution that stands on the screen itself."""


def minutes_text(seconds: float) -> str:
    """Return a time as people at a well say it: minutes up to ten hours, then hours, or never.

    Parameters
    ----------
    seconds
        The time [s].
    """
    if math.isnan(seconds):
        return "-"
    if math.isinf(seconds):
        return "never"
    if seconds == 0.0:
        return "now"
    minutes = seconds / 60.0
    if minutes < 600.0:
        return f"{minutes:.0f} min" if minutes >= 1.0 else f"{seconds:.0f} s"
    return f"{minutes / 60.0:.0f} h"


def clock(now: Now, after_s: float) -> str:
    """Return the clock time of a moment from now, with its day when that is another one.

    Parameters
    ----------
    now
        The moment from which it counts.
    after_s
        How much later [s].
    """
    begins = now.episode.moment(now.asked.at_s)
    when = begins + timedelta(seconds=after_s + 30.0)  # to the nearest minute, as the minutes are
    text = f"{when:%H:%M}"
    return text if when.date() == begins.date() else f"{day_of(when)} {text}"


def lines(now: Now, system: System) -> list[str]:
    """Return the screen.

    Parameters
    ----------
    now
        What was found.
    system
        ``si`` or ``us``.
    """
    asked = now.asked
    begins = now.episode.moment(asked.at_s)
    level = level_text(now.station, asked.level_m, system)
    found = [
        now.station.name,
        f"{day_of(begins)} {begins:%H:%M}, level {level}, inflow {_flow(now.inflow_m3s, system)}",
    ]
    if asked.out:
        found.append(f"cannot run: {', '.join(asked.out)}")
    if asked.rise is not None:
        found.append(f"day's inflow x {now.scale:.2f}, from the timed change")
    found += ["", f"{'running':<12}{'alarm':>8}{'spill':>9}{'at':>7}{'stop level':>12}"]
    for row in now.rows:
        name = row.lineup if len(row.lineup) <= 12 else row.lineup.replace(" + ", "+")
        at = clock(now, row.spill_s).rsplit(" ", 1)[-1] if math.isfinite(row.spill_s) else ""
        alarm, stop = minutes_text(row.alarm_s), minutes_text(row.stop_s)
        found.append(
            f"{name:<12}{alarm:>8}{minutes_text(row.spill_s):>9}{at:>7}"
            f"{stop if row.machines or row.stop_s == 0.0 else '-':>12}"
        )
    if any(math.isinf(value) for row in now.rows for value in (row.alarm_s, row.spill_s)):
        found.append(f"(never: not within {_REACH}, on this inflow)")
    return [*found, "", FIRST]


def sentences(now: Now, system: System) -> list[str]:
    """Return what a person would say.

    Parameters
    ----------
    now
        What was found.
    system
        ``si`` or ``us``.
    """
    nothing, others = now.rows[0], now.rows[1:]
    told = [_of_nothing(now, nothing)]
    spilling = [row for row in others if row.spill_s == 0.0]
    down = [row for row in others if math.isfinite(row.stop_s) and row not in spilling]
    if nothing.stop_s == 0.0:
        told.append("The water stands at the stop level or below it.")
    elif down:
        parts = [f"{row.lineup} in {minutes_text(row.stop_s)}" for row in down]
        told.append(f"Down to the stop level with {listed(parts)}.")
    told += [
        f"Takes less than arrives: {row.lineup} ({_flow(row.flow_m3s, system)}); it goes on"
        " spilling."
        for row in spilling
    ]
    lost = [row for row in others if 0.0 < row.spill_s < math.inf and row not in down]
    told += [
        f"Not enough: {row.lineup} ({_flow(row.flow_m3s, system)}); it spills in"
        f" {minutes_text(row.spill_s)}, at {clock(now, row.spill_s)}."
        for row in lost
    ]
    held = [row for row in others if row not in (*down, *lost, *spilling)]
    if held:
        names = listed([row.lineup for row in held])
        told.append(
            f"With {names} it neither spills nor falls to the stop level within {_REACH}, on this"
            " inflow."
        )
    if not math.isnan(now.steady_spill_s):
        told.append(
            f"x {now.scale:.2f} is far from the day's inflow: time it once more. Were the"
            " difference rain or a broken pipe, which does not swing with the day, nothing running"
            f" would mean a spill in {minutes_text(now.steady_spill_s)}."
        )
    told.append(_of_tanker(now, system))
    return told


def _of_nothing(now: Now, row: LineupRow) -> str:
    if row.spill_s == 0.0:
        return (
            "It spills now, and goes on until as much is taken away as arrives. Spills are reported"
            " as the law of the place says."
        )
    if math.isinf(row.spill_s):
        return f"With nothing running it does not spill within {_REACH}."
    spill = f"spill in {minutes_text(row.spill_s)}, at {clock(now, row.spill_s)}"
    if math.isnan(row.alarm_s):
        return f"Nothing running: {spill}."
    if row.alarm_s == 0.0:
        return f"Nothing running: the water stands at the alarm level or above it; {spill}."
    alarm = f"high-level alarm in {minutes_text(row.alarm_s)}, at {clock(now, row.alarm_s)}"
    return f"Nothing running: {alarm}; {spill}."


def _of_tanker(now: Now, system: System) -> str:
    size = show(now.asked.tanker_m3, "volume", system)
    per_h = 3600.0 / now.asked.tanker_m3
    text = f"A tanker of {size} holds the level with {now.inflow_m3s * per_h:.1f} loads an hour"
    if now.greatest_m3s > 1.01 * now.inflow_m3s:
        later = clock(now, now.greatest_at_s - now.asked.at_s)
        text += f"; at {later} it would take {now.greatest_m3s * per_h:.1f}"
    return text + "."


def _flow(flow_m3s: float, system: System) -> str:
    return show(flow_m3s, "flow", system)
