"""What a person in a drill is told: events, the panel, what is known of the station and the plan.

Nobody is told a cause that only the truth knows. Of an event what is told is its word, and the
reason only where the panel itself shows it; trouble that is over by itself is not told, unless a
crew has put it right.
"""

from __future__ import annotations

import math
from datetime import timedelta
from typing import TYPE_CHECKING

from stationsim.outline import set_levels
from stationsim.units import show
from stationsim.vocabulary import seen_by
from stationsim.wording import level_text
from stationsim.wording.words import date_of, day_of, listed

if TYPE_CHECKING:
    from stationsim.chance import Range
    from stationsim.episode import Episode
    from stationsim.people.response import Person, Response
    from stationsim.simulation.looking import MachineShown, Shown, Sight
    from stationsim.station import Station
    from stationsim.trace import EventRow
    from stationsim.units import System

CAUTIONS = (
    "This is training: it controls nothing. What worked here is no reason to try it on a station.",
    (
        "On site, gas, drowning, moving machines and live parts kill: permit, training, a second"
        " person and isolation come first, as local rules ask."
    ),
    (
        "Engines and generators: fumes, hot parts, fuel, and no back-feed into the grid; those who"
        " are licensed for it make connections."
    ),
    "Report a spill, and keep people from it, as local rules say: a drill replaces none of it.",
)
"""What stands at the start of every drill."""

CARD_CAUTION = (
    "Training only. Permits, isolation, gas tests, a second person and local rules come first."
)
"""What stands on every card."""

_WEEK_S = 7.0 * 86400.0
_HALF_MINUTE_S = 30.0

_SHOWN_TO_ANYBODY = frozenset(
    {
        "start", "stop", "start refused", "swap skipped", "trip", "reset", "reset refused",
        "out of service", "back in service", "no run signal", "crank failed",
        "reversed and clear", "reversed in vain", "reversing given up", "seal leak",
        "level signal lost", "level signal distrusted", "level signal trusted",
        "controller stopped", "controller runs again", "floats take over", "floats hand back",
        "control breaker open", "control breaker closed", "grid lost", "grid back", "phase lost",
        "phases back", "transferred", "does not move", "generator called", "generator fails",
        "mobile generator connected", "mobile generator disconnected", "bypass pump connected",
        "bypass pump disconnected", "refuelled", "refuelling refused", "tanker takes",
        "tanker full", "tanker not full", "connection refused", "panel up", "does not crank",
        "not primed", "exercise begins", "exercise ends", "alarm raised", "alarm cleared",
        "spill begins", "spill ends", "in hand", "off", "in auto", "engine called",
        "call given up", "out of fuel", "downstream dark", "downstream limited",
        "downstream right again", "well empty", "nothing to put right",
    }
)  # fmt: skip
"""Events that whoever stands on site sees, hears or reads as they happen."""

_CALLS_FOR_ATTENTION = frozenset(
    {
        "trip", "start refused", "no run signal", "does not move", "generator fails", "grid lost",
        "grid back", "phase lost", "phases back", "alarm raised", "spill begins", "spill ends",
        "out of fuel", "controller stopped", "control breaker open", "floats take over",
        "level signal lost", "level signal distrusted", "not primed", "does not crank",
        "connection refused", "downstream dark", "downstream limited", "well empty",
    }
)  # fmt: skip
"""Events that end a wait, though its time is not over."""

_REASONS_SHOWN = (
    "level at", "selector in", "by hand", "by the crew", "power lost", "power back", "supply back",
    "grid back", "grid out", "maximum run time", "takes over from P", "backup start float",
    "backup stop float", "minimum off time", "held by the generator", "busbar dead",
    "exercise", "high temperature", "overload", "moisture in motor", "no flow", "low voltage",
    "pump failed", "seal leak", "to the generator", "back to the grid",
    "the busbar is live", "it is connected", "it is not connected", "no pump is ready",
)  # fmt: skip
"""Beginnings of causes that the panel shows, or that whoever did it knows."""

_BY_CREW = ("put right on site", "by the crew")


def clock_text(episode: Episode, t_s: float) -> str:
    """Return a moment of a drill: weekday and clock, with the date in a long one.

    Parameters
    ----------
    episode
        The episode.
    t_s
        Seconds since its start [s].
    """
    when = episode.moment(t_s) + timedelta(seconds=_HALF_MINUTE_S)
    date = f" {date_of(when)}" if episode.duration_s > _WEEK_S else ""
    return f"{day_of(when)}{date} {when:%H:%M}"


def alarm_of(row: EventRow) -> str:
    """Return which alarm an event tells of: the part before its reason.

    Parameters
    ----------
    row
        An alarm that is raised, cleared or sent.
    """
    return row.cause.partition(":")[0]


def alarm_text(alarm: str, subject: str, *, over: bool = False) -> str:
    """Return an alarm as a phone or a panel says it.

    Parameters
    ----------
    alarm, subject
        Which, and of what.
    over
        True when its condition is over.
    """
    whose = f", {subject}" if subject != "station" and subject not in alarm else ""
    return f"alarm {alarm}{whose}{': over' if over else ''}"


def event_text(row: EventRow) -> str:
    """Return what whoever stands on site is told of an event; empty for what nobody would see.

    Parameters
    ----------
    row
        What has happened.
    """
    if row.event in ("alarm raised", "alarm cleared"):
        return alarm_text(alarm_of(row), row.subject, over=row.event == "alarm cleared")
    mended = row.cause.startswith(_BY_CREW)
    seen = seen_by(row.event) != "nobody"
    if not seen or not (row.event in _SHOWN_TO_ANYBODY or mended):
        return ""
    turned = row.event in ("in hand", "off", "in auto")  # whoever did it knows
    reason = f" ({row.cause})" if row.cause.startswith(_REASONS_SHOWN) and not turned else ""
    subject = "" if row.event.startswith(row.subject) else f"{row.subject}: "
    return f"{subject}{row.event}{reason}"


def at_the_far_end(row: EventRow) -> bool:
    """Return whether an alarm is one of the far end's own, which nobody on site sees.

    Parameters
    ----------
    row
        What has happened.
    """
    return row.event.startswith("alarm ") and alarm_of(row) == "telemetry lost"


def refused(row: EventRow) -> bool:
    """Return whether an event is something that the plant did not take.

    Parameters
    ----------
    row
        What has happened.
    """
    return row.event in ("connection refused", "refuelling refused")


def by_crew(row: EventRow) -> bool:
    """Return whether an event is what somebody did on site, who tells of it.

    Parameters
    ----------
    row
        What has happened.
    """
    return row.cause.startswith(_BY_CREW) or row.event in (
        "nothing to put right", "connection refused", "refuelling refused", "reset refused",
        "in hand", "off", "in auto",
    )  # fmt: skip


def worth_a_call(row: EventRow) -> bool:
    """Return whether somebody on site rings for an event, or tells of it who did it.

    Parameters
    ----------
    row
        What has happened.
    """
    return calls_for_attention(row) or row.event == "alarm cleared" or by_crew(row)


def calls_for_attention(row: EventRow) -> bool:
    """Return whether an event, seen on site, ends a wait.

    Parameters
    ----------
    row
        What has happened.
    """
    return row.event in _CALLS_FOR_ATTENTION


def machine_text(machine: MachineShown, at_s: float) -> str:
    """Return one machine as its panel shows it.

    Parameters
    ----------
    machine
        The machine.
    at_s
        The present [s].
    """
    state = "running" if machine.running else machine.engine or "stopped"
    if not machine.running and machine.taken_out:
        state = f"stopped, out: {listed(machine.taken_out)}"
    words = [state, "in auto" if machine.mode == "auto" else f"in {machine.mode}"]
    if at_s - machine.since_s < 1.0:
        words.append("just now")
    elif math.isfinite(machine.since_s):
        words.append(f"for {show(at_s - machine.since_s, 'duration', 'si')}")
    count = "1 start" if machine.starts == 1 else f"{machine.starts} starts"
    words.append(f"{count}, {machine.hours_s / 3600.0:.1f} h")
    return f"{machine.name} {', '.join(words)}"


def panel_lines(shown: Shown, station: Station, system: System) -> list[str]:
    """Return what the panel shows, a line for each thing.

    Parameters
    ----------
    shown
        What it shows.
    station
        Says what levels are counted from.
    system
        ``si`` or ``us``.
    """
    if shown.dark:
        level = "the panel is dark: no level, no floats"
    elif math.isnan(shown.level_m):
        level = "level: no signal"
    else:
        level = f"level {level_text(station, shown.level_m, system)} by the panel"
    fed = "pumps without supply" if shown.busbar == "dead" else f"pumps fed by the {shown.busbar}"
    lines = [f"{level}; grid {'on' if shown.grid_on else 'out'}, {fed}"]
    if shown.floats:
        words = ["covered" if one else "not covered" for one in shown.floats]
        lines.append(f"backup start float {words[0]}, backup stop float {words[1]}")
    lines += [machine_text(one, shown.at_s) for one in shown.machines]
    lines += [f"{name}: {phase}" for name, phase in shown.generators]
    alarms = [alarm_text(*one).removeprefix("alarm ") for one in shown.alarms]
    lines.append("alarms: " + ("; ".join(alarms) if alarms else "none"))
    return lines


def sight_lines(
    sight: Sight, station: Station, system: System, *, closely: bool = True
) -> list[str]:
    """Return what somebody finds who looks for themselves.

    Parameters
    ----------
    sight
        What they find.
    station
        Says what levels are counted from.
    system
        ``si`` or ``us``.
    closely
        False for what nobody can miss; what is amiss, and how full tanks are, takes a look around.
    """
    near_m = round(sight.level_m / 0.05) * 0.05
    lines = [f"the water stands at about {level_text(station, near_m, system)}"]
    if sight.spilling:
        lines.append("water is leaving the system: a spill")
    if not closely:
        return lines
    if sight.amiss:
        names = list(dict.fromkeys(subject for _kind, subject in sight.amiss))
        lines.append(f"something is amiss with: {', '.join(names)} (mend NAME)")
    else:
        lines.append("nothing else looks or sounds amiss")
    lines += [
        f"{name}: tank at {100.0 * part:.0f} % of its fill" for name, part in sight.fuel if part < 1
    ]
    return lines


def span_text(span: Range) -> str:
    """Return a range of durations: ``5 min (2 min to 15 min)``.

    Parameters
    ----------
    span
        Low, typical and high [s].
    """
    typical = show(span.typical, "duration", "si")
    if span.low == span.high:
        return typical
    low, high = show(span.low, "duration", "si"), show(span.high, "duration", "si")
    return f"{typical} ({low} to {high})"


def station_lines(station: Station, system: System) -> list[str]:
    """Return what whoever answers for a station knows of it.

    Parameters
    ----------
    station
        What stands there.
    system
        ``si`` or ``us``.
    """
    levels = [f"{name} {level_text(station, at_m, system)}" for name, at_m in set_levels(station)]
    lines = [f"{station.name}: {listed(station.machine_names())}", "levels: " + "; ".join(levels)]
    power = station.standby_power
    sets = []
    if power is not None and power.generator is not None:
        sets.append("a fixed generator")
    if power is not None and power.mobile is not None:
        sets.append("a connection for a mobile generator")
    if station.bypass_pump is not None:
        sets.append("a connection for a bypass pump")
    if sets:
        lines.append("it has " + listed(sets))
    return lines


def way_text(person: Person) -> str:
    """Return how long somebody takes to be on site, by day and, where it differs, at night.

    Parameters
    ----------
    person
        Who.
    """
    by_day = f"ready in {span_text(person.gets_ready)}, way {span_text(person.travels)}"
    ready, way = person.night_gets_ready, person.night_travels
    at_night = []
    if ready not in (None, person.gets_ready):
        at_night.append(f"ready in {span_text(ready)}")
    if way not in (None, person.travels):
        at_night.append(f"way {span_text(way)}")
    return f"{by_day}; at night {', '.join(at_night)}" if at_night else by_day


def plan_lines(response: Response, me: str) -> list[str]:
    """Return who there is, with what, and how long each thing takes by the plan.

    Parameters
    ----------
    response
        Who answers.
    me
        Name of the person who plays.
    """
    lines = [
        f"{one.name}{' (you)' if one.name == me else ''}: {way_text(one)}"
        for one in response.people
    ]
    for tool in response.tools:
        how = "on site"
        if tool.fetched is not None:
            how = f"in the yard, {span_text(tool.fetched)} to collect: send NAME for {tool.name}"
        elif tool.delivered is not None:
            how = f"delivered in {span_text(tool.delivered)}: call {tool.name}"
        lines.append(f"{tool.name}: {how}")
    for task in response.tasks:
        people = {0: "its driver", 1: "1 person"}.get(task.people, f"{task.people} people")
        tool_text = f", with the {task.tool}" if task.tool is not None else ""
        starts = f", and {span_text(task.starts)} until it runs" if task.starts.high > 0.0 else ""
        lines.append(f"{task.kind}: {span_text(task.takes)}{starts}; {people}{tool_text}")
    return lines or ["the file names nobody to call, and no steps"]
