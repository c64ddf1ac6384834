"""Every word that stationsim says of a run: what it means, its unit, who could have noticed it.

Tables, sentences, plots, ``stationsim explain`` and the reference page all take their words from
here, so one thing has one name everywhere. A test compares what runs emit with this list.

Kinds of words: ``event``, ``cause``, ``alarm``, ``role``, ``metric``, ``criterion``, ``table``,
``column``, ``state`` (of a source of power) and ``word`` (a term of the trade). A cause may carry
a number behind it (``level at lead start 1.50 m``); what stands here is how it begins.
"""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from functools import cache
from typing import Literal

Kind = Literal[
    "event", "cause", "alarm", "role", "metric", "criterion", "table", "column", "state", "word",
]  # fmt: skip
Seen = Literal["", "panel", "alarm", "site", "nobody"]


@dataclass(frozen=True)
class Entry:
    """One word.

    Parameters
    ----------
    word
        As it is written in tables and sentences.
    kind
        What kind of word it is.
    meaning
        What it means, in one or two sentences.
    unit
        Unit of a metric or a column; empty when it has none.
    seen
        Of an event: by what anybody could notice it. ``panel``: it shows on the panel. ``alarm``:
        an alarm tells of it. ``site``: only somebody who stands there. ``nobody``: it is the
        simulation's own.
    also
        Other words of the trade for the same thing.
    """

    word: str
    kind: Kind
    meaning: str
    unit: str = ""
    seen: Seen = ""
    also: tuple[str, ...] = ()


def _event(word: str, seen: Seen, meaning: str) -> Entry:
    return Entry(word, "event", meaning, seen=seen)


def _metric(word: str, unit: str, meaning: str) -> Entry:
    return Entry(word, "metric", meaning, unit)


def _column(word: str, unit: str, meaning: str) -> Entry:
    return Entry(word, "column", meaning, unit)


def _criterion(word: str, meaning: str) -> Entry:
    return Entry(word, "criterion", meaning)


def _of(kind: Kind, *pairs: tuple[str, str]) -> tuple[Entry, ...]:
    return tuple(Entry(word, kind, meaning) for word, meaning in pairs)


EVENTS = (
    _event("start", "panel", "A pump began to run."),
    _event("stop", "panel", "A pump stopped because it was told to, or because its run was over."),
    _event("start refused", "panel", "A pump was wanted but could not be run; the cause says why."),
    _event(
        "swap skipped", "panel", "A pump ran on past its longest run: no other one could take over."
    ),
    _event("trip", "alarm", "A protection took a pump out: it cannot run until it is reset."),
    _event(
        "reset", "panel", "A trip was cleared, by itself or by a person; the pump may run again."
    ),
    _event("reset refused", "site", "Somebody tried to reset a trip whose condition still stood."),
    _event("out of service", "site", "A machine was taken out of use."),
    _event("back in service", "site", "A machine that was out of service may be used again."),
    _event("fails to start", "nobody", "From now on the machine will not start when called."),
    _event("can start again", "nobody", "The machine would start again when called."),
    _event("no run signal", "panel", "A pump was called and gave no run signal."),
    _event("crank failed", "site", "The engine was cranked and did not fire."),
    _event("clogged", "nobody", "Rags hold a pump back: it moves less at the same head."),
    _event("clear again", "site", "A pump that was clogged is clear again."),
    _event("seal leak", "alarm", "Moisture was found in the seal chamber of a pump."),
    _event("level signal frozen", "nobody", "The level signal stands still, whatever the level."),
    _event("level signal lost", "alarm", "The level signal is gone."),
    _event("level signal right", "nobody", "The level signal follows the level again."),
    _event(
        "level signal distrusted", "alarm", "The panel goes by its floats: the signal cannot be so."
    ),
    _event("level signal trusted", "panel", "The panel goes by the level signal again."),
    _event("grid lost", "alarm", "The supply from the grid failed."),
    _event("grid back", "panel", "The supply from the grid returned."),
    _event("alarm raised", "alarm", "An alarm came in; the subject and the cause say which."),
    _event("alarm cleared", "alarm", "The condition of an alarm is over."),
    _event("spill begins", "site", "Water reached the lowest point where it leaves the system."),
    _event("spill ends", "site", "No more water leaves over the lowest point."),
    _event("in hand", "panel", "A selector was set to hand: the pump runs whatever the level."),
    _event("off", "panel", "A selector was set to off: the pump does not run."),
    _event("in auto", "panel", "A selector was set to auto: the controller runs the pump."),
    _event("engine called", "site", "The engine-driven pump was called by its own start rule."),
    _event("call given up", "site", "The engine-driven pump was no longer wanted before it ran."),
    _event("out of fuel", "alarm", "The tank of the engine-driven pump ran empty."),
    _event(
        "well empty", "site", "The water is down at the floor; the pumps lift only what arrives."
    ),
)

ALARMS = _of(
    "alarm",
    ("high level", "The water stands at or above the high-level alarm."),
    ("low level", "The water stands at or below the low-level alarm."),
    ("pump failed", "A pump tripped or cannot be run though it should be able to."),
    ("high temperature", "The windings of a motor are too hot; the pump was stopped."),
    (
        "seal leak",
        "Moisture in the seal chamber of a pump: plan a repair, or the pump was stopped.",
    ),
    ("power failed", "The supply from the grid is out."),
    ("engine failed", "The engine-driven pump does not run though it was called."),
    ("level signal failed", "There is no level signal, or the panel does not trust it."),
)

ROLES = (
    Entry("lead", "role", "The first pump called as the level rises.", also=("duty",)),
    Entry(
        "lag",
        "role",
        "The second pump called, when the lead alone does not hold the level.",
        also=("assist", "first lag"),
    ),
    Entry("second lag", "role", "The third pump called."),
    Entry("third lag", "role", "The fourth pump called."),
    Entry(
        "standby",
        "role",
        "The spare pump: called last, or in place of one that is out.",
        also=("reserve",),
    ),
    Entry("hand", "role", "A pump that a person runs, whatever the level."),
    Entry("engine-driven", "role", "The pump with its own engine, for when the grid is out."),
)

CAUSES = _of(
    "cause",
    ("level at lead start", "The level reached the start level of the lead."),
    ("level at lag start", "The level reached the start level of the lag."),
    ("level at second lag start", "The level reached the start level of the second lag."),
    ("level at third lag start", "The level reached the start level of the third lag."),
    ("level at standby start", "The level reached the start level of the standby pump."),
    ("level at lag stop", "The level fell to the stop level of the lag."),
    ("level at second lag stop", "The level fell to the stop level of the second lag."),
    ("level at third lag stop", "The level fell to the stop level of the third lag."),
    ("level at standby stop", "The level fell to the stop level of the standby pump."),
    ("level at stop", "The level fell to the stop level."),
    ("level at the crest", "The level reached the lowest point of spill."),
    ("level below the crest", "The level fell below the lowest point of spill."),
    ("less arrives than is pumped", "The spill ended because the inflow fell."),
    ("as much is pumped as arrives", "The spill ended because the pumps carry what arrives."),
    ("pumps draw more than arrives", "The spill ended because more pumps run."),
    ("pumped down to the floor", "The pumps drew all the water that stood in the well."),
    ("takes the place of", "Another pump was due and could not run; this one took its place."),
    ("power back", "The supply returned, and the level already called for a pump."),
    ("power lost", "The supply failed while the pump ran."),
    ("no supply", "A pump that needs the grid cannot run while it is out."),
    ("grid out", "The grid was out, which is when the engine-driven pump may start."),
    ("call of the", "A pump of this role was called and could not be had; the rest says why."),
    ("called, does not start", "The panel waits for a run signal that does not come."),
    ("did not fire", "The engine was cranked as often as it may be, in vain."),
    ("try ", "Which try to crank it was, of how many."),
    ("backup start float", "The backup start float is covered."),
    ("backup stop float", "The backup stop float is uncovered."),
    ("no signal", "There is no level signal."),
    ("signal back", "The level signal is there again."),
    ("start float covered", "The signal tells of a level far below a float that is covered."),
    ("stop float uncovered", "The signal tells of a level far above a float that is uncovered."),
    ("it stood at", "The signal stood still longer than it should while a pump ran."),
    ("it agrees with the floats", "The signal moves again and contradicts no float."),
    ("maximum run time", "The pump has run as long in one go as its setting allows."),
    ("takes over from", "Another pump has run as long in one go as its setting allows."),
    ("no other pump is ready", "Nobody could take over."),
    ("minimum off time not over", "The pump must rest after a stop before it may start again."),
    ("selector in hand", "A person had set the selector to hand."),
    ("selector in off", "A person had set the selector to off."),
    ("selector in auto", "A person had set the selector to auto."),
    ("by hand", "A person did it."),
    ("by itself", "It cleared by itself when its condition was over."),
    ("work done", "The work on the machine was done."),
    ("nothing to reset", "No trip stood that could be reset."),
    ("probe in the seal chamber", "The probe that finds moisture in the seal chamber."),
    ("dry again", "The probe in the seal chamber finds no moisture any more."),
    ("tank empty", "The fuel was used up."),
    ("short break after the return", "The supply broke once more, soon after the grid was back."),
    ("scripted", "It was written in the episode, or given by --event."),
    ("start of the run", "How things stood when the simulated time began."),
    ("end of run", "The simulated time ended while it still ran or stood."),
)

STATES = _of(
    "state",
    ("on", "The grid supplies the station."),
    ("out", "The grid does not supply the station."),
    ("stopped", "The engine stands still."),
    ("starting", "The engine was called and does not deliver yet."),
    ("running", "The engine drives its pump."),
    ("failed", "The engine does not run though it was called."),
    ("out of fuel", "The engine's tank is empty."),
)

METRICS = (
    _metric("run hours", "h", "Time that a pump ran, in auto and in hand."),
    _metric("starts", "", "How often a pump started."),
    _metric(
        "worst starts in an hour",
        "1/h",
        "Most starts in any sliding hour, not only in clock"
        " hours; two starts exactly an hour apart are not in the same hour.",
    ),
    _metric("shortest off time", "s", "Shortest rest between a stop and the next start."),
    _metric("longest run", "s", "Longest single run."),
    _metric("volume pumped", "m3", "What was pumped."),
    _metric("energy", "kWh", "Electricity drawn by the pumps."),
    _metric(
        "energy per volume",
        "kWh/m3",
        "Electricity drawn over the volume that electric pumps lifted.",
    ),
    _metric(
        "energy cost",
        "",
        "What the electricity of the run costs by [tariff], in the currency of its prices; standing"
        " charges and charges for the greatest power are not in it.",
    ),
    _metric(
        "energy cost per volume",
        "1/m3",
        "Energy cost over the volume that electric pumps lifted, in the currency of the prices.",
    ),
    _metric(
        "mean age of water leaving the main",
        "h",
        "Mean over the volume of the time that the water spent in the force main, as plug flow."
        " Water that stood in it at the start is left out; no value when none came through.",
    ),
    _metric(
        "greatest age of water leaving the main",
        "h",
        "Longest time that any water spent in the force main before it left; long stays turn sewage"
        " septic, how long depends on its strength and warmth, and on local rules.",
    ),
    _metric("trips", "", "How often a protection took the pump out."),
    _metric("unavailable hours", "h", "Time in which the controller could not have run the pump."),
    _metric("share of lead", "", "Part of all starts as lead that fell to this pump; 1 is all."),
    _metric(
        "longest time not run",
        "h",
        "Longest time without a run: so long nobody knew whether the pump would start.",
    ),
    _metric(
        "fuel burnt",
        "m3",
        "Fuel that the engine-driven pump burnt while it ran; 0 for a station without one.",
    ),
    _metric("mean cycle", "s", "Mean time from one start of a lead to the next."),
    _metric("least cycle", "s", "Shortest time from one start of a lead to the next."),
    _metric("greatest cycle", "s", "Longest time from one start of a lead to the next."),
    _metric("volume in", "m3", "What arrived."),
    _metric("volume spilled", "m3", "What left over the lowest point of spill."),
    _metric("balance error", "", "What the water balance leaves open, over the volume handled."),
    _metric(
        "hours above high-level alarm",
        "h",
        "Time for which the level stood at or above the"
        " high-level alarm, whether or not the alarm was raised.",
    ),
    _metric("spills", "", "How many times it spilled."),
    _metric("spill hours", "h", "Time for which it spilled."),
    _metric("least level", "m", "Lowest level above the floor."),
    _metric("mean level", "m", "Mean over time of the level above the floor."),
    _metric("greatest level", "m", "Highest level above the floor."),
    _metric("time of greatest level", "s", "When the level was highest, since the start."),
    _metric("least time to spill", "s", "Shortest time to spill over the run."),
    _metric(
        "time of least time to spill", "s", "When the time to spill was shortest, since the start."
    ),
    _metric("alarms", "", "How many alarms were raised."),
    _metric("most pumps running", "", "Most pumps that ran at once, the engine-driven one too."),
    _metric("hours with n running", "h", "Time for which exactly this number of pumps ran."),
)

COMPARED_METRICS = (
    _metric("starts per hour", "1/h", "Starts over the time of the whole run."),
    _metric(
        "lag starts",
        "",
        "How often a pump started behind the lead, as lag, second lag, third lag or standby.",
    ),
    _metric("lag starts per hour", "1/h", "Lag starts over the time of the whole run."),
    _metric(
        "worst starts of one pump in an hour",
        "1/h",
        "Most starts of one and the same electric pump in any sliding hour.",
    ),
)
"""Metrics of a comparison that stand in no summary of a run."""

CRITERIA = (
    _criterion(
        "least velocity",
        "Velocity in the widest pipe of the force main with the weakest pump alone at the stop"
        " level: below it solids settle.",
    ),
    _criterion(
        "cleaning velocity",
        "Velocity in the widest pipe of the force main with all pumps that may run together: it"
        " carries settled solids away.",
    ),
    _criterion(
        "greatest velocity", "Velocity in the narrowest pipe with all pumps that may run together."
    ),
    _criterion(
        "active volume",
        "Volume from the stop level to the lead start, against T D / (4 n): the shortest time"
        " allowed between two starts of a pump, its flow, and how many take turns.",
    ),
    _criterion(
        "starts in an hour",
        "Most starts of a pump at the worst of many steady inflows, with the station's own levels,"
        " delays and rotation.",
    ),
    _criterion(
        "motor starts by size", "The same starts, against a table by rated output and poles."
    ),
    _criterion("rest between runs", "Shortest rest of a pump at the worst of many steady inflows."),
    _criterion(
        "fill time", "Time to fill from the stop level to the lead start at the average flow."
    ),
    _criterion(
        "detention in the well", "The same time, against the limit that keeps sewage fresh."
    ),
    _criterion("age in the main", "Volume of the force main over the average flow."),
    _criterion(
        "order of levels", "Whether stop, start levels, alarm and spill stand one above the other."
    ),
    _criterion("spacing of levels", "Smallest height between two of these levels."),
    _criterion("alarm under the inlet", "Height from the high-level alarm up to the inlet invert."),
    _criterion(
        "time from alarm to spill",
        "Shortest time from the alarm level to the spill over the hours of a day, nothing pumped,"
        " against the response that is asked for.",
    ),
    _criterion(
        "alarm to spill at peak", "Volume from the alarm level to the spill over the peak flow."
    ),
    _criterion(
        "storage for the outage",
        "Shortest time from the lead start to the spill over the hours of a day, nothing pumped,"
        " against the outage that is to be carried.",
    ),
    _criterion(
        "submergence at the stop level",
        "Water over the suction opening when the pump stops, against what keeps air out.",
    ),
    _criterion("entrance velocity", "Velocity in the suction opening of a pump that runs alone."),
    _criterion(
        "suction head",
        "Net positive suction head available at the stop level, against what the pump requires.",
    ),
    _criterion(
        "suction lift",
        "Of the engine-driven pump: lift, losses and head required at its stop level together.",
    ),
    _criterion(
        "priming", "Of the engine-driven pump: how far its priming lift exceeds that at its start."
    ),
    _criterion(
        "running current", "Current of all pumps that may run, and of the rest, over the main fuse."
    ),
    _criterion("starting current", "The same while the last of the pumps starts."),
    _criterion(
        "starting current, all at once",
        "The same when they start together after a power loss, for want of a stagger; not needed"
        " with one.",
    ),
    _criterion("generator output", "Rated output of the generator, against what runs on it."),
    _criterion("generator apparent output", "Its rated apparent output, against the same."),
    _criterion(
        "generator start", "Apparent power that it can start, against what the last start takes."
    ),
    _criterion("generator fuel", "How long the fuel in its tank lasts."),
    _criterion("engine fuel", "How long the fuel in the tank of the engine-driven pump lasts."),
    _criterion("bypass flow", "Flow of the hired bypass pump, against the peak flow."),
    _criterion(
        "bypass lift",
        "Lift of the hired bypass pump from the lowest water, and its head required, together.",
    ),
    _criterion(
        "surge, screening",
        "Head when the flow of all pumps stops at once, against what the main stands: Joukowsky's"
        " rule, for screening only.",
    ),
    _criterion("water balance", "What the balance of a run leaves open, over the volume handled."),
    _criterion("energy", "What the lift alone takes, as part of what the pumps drew in a run."),
)
"""What ``check`` asks of a station; firm capacity stands with the words of the trade."""

TABLES = _of(
    "table",
    ("levels", "One row for each table interval: level, flows, pumps running, time to spill."),
    ("pump_runs", "One row for each run of each pump."),
    ("pump_totals", "One row for each pump: hours, starts, energy and the like."),
    ("events", "One row for anything that happened, with its cause and who could notice it."),
    ("alarms", "One row for each alarm, from raised to cleared."),
    ("spills", "One row for each spill, with its volume and the method that gave it."),
    ("power", "One row for each state of the grid and of the engine."),
    ("crew", "One row for each task of a crew; empty while nobody is called out."),
    ("summary", "One row for each metric of the run."),
    ("settings", "Of compare: one row for each key in which a setting differs from the others."),
    ("compared", "Of compare: one row for each metric of each setting, beside the first one's."),
    ("limits", "Of compare: one row for each limit of each setting, kept or broken."),
    ("criteria", "Of check: one row for each criterion, with value, limit, margin and source."),
    (
        "allowable_time",
        "Of check: one row for each hour of a day, with the time from the alarm to the spill.",
    ),
    ("growth", "Of check: one row for each year to come; empty when no growth is given."),
    (
        "hours",
        "Of rehearse: one row for each hour of each day, dry and wet: power is lost at the hour.",
    ),
    ("spilled", "Of rehearse: what has spilled some time after a power loss at an hour."),
    (
        "pump_down",
        "Of rehearse: how long pumps take down to the stop level once the power is back.",
    ),
    ("stations", "Of rehearse: each station at its worst hour; what spills first stands first."),
    ("lineups", "Of rehearse, from now: what comes of it with each lineup that still works."),
    ("tanker", "Of rehearse, from now: loads an hour that would hold the level."),
)

_SINCE = "seconds since the start of the episode"
COLUMNS = (
    _column("time", "ISO 8601", "Local time with its offset from UTC."),
    _column("t_s", "s", f"The same moment in {_SINCE}."),
    _column(
        "level_m",
        "m",
        "Level of the water above the floor, also where a station's levels are shown as elevation"
        " or below the cover.",
    ),
    _column("level_seen_m", "m", "Level as the panel's level sensor has it, above the floor."),
    _column("volume_m3", "m3", "Stored volume (levels), or volume of this run, pump or spill."),
    _column("inflow_m3s", "m3/s", "Flow that arrives."),
    _column("pumped_m3s", "m3/s", "Flow of all pumps together, the engine-driven one too."),
    _column("spill_m3s", "m3/s", "Flow that leaves over the lowest point of spill."),
    _column("other_m3s", "m3/s", "What else leaves (positive) or enters (negative)."),
    _column("pumps_running", "", "How many pumps run."),
    _column(
        "time_to_spill_s",
        "s",
        "Time until it would spill if all pumping stopped at this moment; empty if never.",
    ),
    _column("pump", "", "The machine: P1, P2 ..., or the engine-driven pump."),
    _column("role", "", "The part that the pump played in this run."),
    _column("start_time", "ISO 8601", "When it began, local time."),
    _column("start_s", "s", f"When it began, in {_SINCE}."),
    _column("stop_time", "ISO 8601", "When it ended, local time."),
    _column("stop_s", "s", f"When it ended, in {_SINCE}."),
    _column("duration_s", "s", "How long it lasted."),
    _column("energy_kwh", "kWh", "Electricity drawn; 0 for the engine-driven pump."),
    _column("started_by", "", "Why the run began; levels are above the floor."),
    _column("stopped_by", "", "Why the run ended; levels are above the floor."),
    _column("hours_h", "h", "Time that the pump ran, in auto and in hand."),
    _column("starts", "", "How often the pump started."),
    _column("trips", "", "How often a protection took the pump out."),
    _column("max_starts_per_hour", "1/h", "Most starts in any sliding hour."),
    _column("shortest_off_s", "s", "Shortest rest between two runs; empty with fewer than two."),
    _column("longest_run_s", "s", "Longest single run; empty when it never ran."),
    _column("unavailable_h", "h", "Time in which the controller could not have run it."),
    _column(
        "subject",
        "",
        "What it happened to, or is asked of: a machine, the grid, the station or the panel.",
    ),
    _column("event", "", "What happened, in a word of this list."),
    _column("cause", "", "Why it happened, or why it did not; levels are above the floor."),
    _column("seen", "", "By what anybody could notice it: panel, alarm, site or nobody."),
    _column("detail", "", "Numbers that belong to it; levels are above the floor."),
    _column("alarm", "", "Which alarm."),
    _column("raised_time", "ISO 8601", "When the alarm came in, local time."),
    _column("raised_s", "s", f"When the alarm came in, in {_SINCE}."),
    _column("reached_time", "ISO 8601", "When it reached a person; empty while nobody is called."),
    _column("reached_s", "s", f"When it reached a person, in {_SINCE}."),
    _column("cleared_time", "ISO 8601", "When its condition was over; empty while it stands."),
    _column("cleared_s", "s", f"When its condition was over, in {_SINCE}."),
    _column("peak_m3s", "m3/s", "Greatest flow of a spill, or peak inflow of a year."),
    _column("method", "", "What gave the volume of a spill."),
    _column(
        "source",
        "",
        "A source of power: the grid, or the engine-driven pump. Of check: where a limit comes"
        " from.",
    ),
    _column("state", "", "State of a source of power."),
    _column("task", "", "What a crew set out to do."),
    _column("planned_s", "s", f"When the task was due, in {_SINCE}."),
    _column("outcome", "", "What came of a task."),
    _column("metric", "", "What was measured over the whole run."),
    _column("value", "", "Its value, in the unit beside it."),
    _column("unit", "", "Unit of the value; empty for a plain number."),
    _column("setting", "", "Of compare: what one of the stations that are compared is called."),
    _column("key", "", "Dotted path of a value in a scenario, such as control.lag_start."),
    _column("difference", "", "Value less that of the first setting, in the unit beside it."),
    _column("ratio", "", "Value over that of the first setting; empty when that is nought."),
    _column(
        "limit",
        "",
        "Of compare: which limit was looked at. Of check: what is accepted, in the unit beside it.",
    ),
    _column("allowed", "", "What the scenario allows, in the unit beside it; empty for no limit."),
    _column("kept", "", "Whether a limit holds: yes, no, or not judged when none is given."),
    _column("station", "", "Of studies: what the scenario is called."),
    _column("criterion", "", "Of check: what is asked of the station."),
    _column("verdict", "", "Of check: pass, fail, or not judged for want of data."),
    _column("side", "", "Whether the value may be at most, or must be at least, the limit."),
    _column("margin", "", "How far the value is on the good side of the limit, in the same unit."),
    _column("reason", "", "What was compared, or what is needed to judge it."),
    _column("day", "", "Day of the week."),
    _column("date", "ISO 8601", "The day by its date."),
    _column("weather", "", "dry, or wet: with the storm of the episode moved to that hour."),
    _column("hour", "h", "Hour of the day at which it begins."),
    _column("from_alarm_s", "s", "From the high-level alarm at that hour to the spill."),
    _column("year", "", "A year to come."),
    _column("firm_m3s", "m3/s", "What the station pumps with its largest pump out, in old pipe."),
    _column(
        "starts_per_hour",
        "1/h",
        "Most starts at steady inflows up to the peak of the year, of the pump nearest its limit.",
    ),
    _column("most_starts_per_hour", "1/h", "How often that pump may start."),
    _column("velocity_ms", "m/s", "Velocity in the main if it carried the peak of the year."),
    _column("most_velocity_ms", "m/s", "The greatest velocity that is accepted."),
    _column("start_level_m", "m", "Level when the power is lost, above the floor."),
    _column(
        "alarm_s",
        "s",
        "Time until the high-level alarm is reached; empty without one, inf for never.",
    ),
    _column("spill_s", "s", "Time until it spills; inf for not within three days."),
    _column("alarm_to_spill_s", "s", "Time from the alarm to the spill."),
    _column("hand_s", "s", "Volume to the spill over the flow of the hour."),
    _column("hand_error", "", "By how much that is too long, as part of the time to the spill."),
    _column("after_s", "s", "How long after the power loss, or from now."),
    _column("spilled_m3", "m3", "What has spilled by then."),
    _column("outage_s", "s", "Length of the outage."),
    _column("pumps", "", "The pumps that run."),
    _column("number", "", "How many pumps run."),
    _column("pump_down_s", "s", "Time down to the stop level; inf for not within three days."),
    _column("rank", "", "Place in the order of spilling, 1 for first."),
    _column("worst_day", "", "Day of the worst hour."),
    _column("worst_hour", "h", "The worst hour."),
    _column(
        "hours_too_late",
        "",
        "How many hours the response comes too late; empty when none was asked.",
    ),
    _column("lineup", "", "What runs, by number or by name."),
    _column("machines", "", "The machines that run."),
    _column("flow_m3s", "m3/s", "What they pump at the level now."),
    _column(
        "below_alarm_s",
        "s",
        "Time until the water has fallen to the alarm level; 0 when it stands below.",
    ),
    _column("level_at_end_m", "m", "Level where the look ahead ends, above the floor."),
    _column("moment", "", "Which moment."),
    _column("shape_factor", "", "What the day's inflow was multiplied by, from a timed change."),
    _column("loads_per_hour", "1/h", "Loads of the tanker."),
)

WORDS = (
    Entry("wet well", "word", "The chamber in which the sewage collects before it is pumped."),
    Entry("start level", "word", "Level at which a pump is called as the water rises."),
    Entry("stop level", "word", "Level at which pumps stop as the water falls."),
    Entry(
        "high-level alarm",
        "word",
        "Level at which people are told of trouble; the pumps are not controlled by it.",
    ),
    Entry("low-level cut-out", "word", "Level below which no pump may run. Not simulated yet."),
    Entry("level sensor", "word", "The instrument that tells the panel the level."),
    Entry(
        "backup start float",
        "word",
        "A float above the start levels: it starts pumps when the level signal cannot be trusted.",
        also=("high-high float",),
    ),
    Entry(
        "backup stop float",
        "word",
        "A float near the suction: it stops the pumps when the level signal cannot be trusted.",
        also=("low-low float",),
    ),
    Entry("check valve", "word", "Valve that lets the water pass in one direction only."),
    Entry("header", "word", "The pipe in which the pumps' branches join."),
    Entry(
        "force main",
        "word",
        "The pressure pipe from the station to where it discharges.",
        also=("rising main",),
    ),
    Entry(
        "engine-driven pump",
        "word",
        "A pump with its own engine, battery and start rule; it needs no grid.",
    ),
    Entry(
        "hand / off / auto",
        "word",
        "The selector of a pump: run by a person, not run, or run by the controller.",
    ),
    Entry(
        "all-stop",
        "word",
        "Stop policy: every pump runs down to one low stop level.",
        also=("all together",),
    ),
    Entry("staged stop", "word", "Stop policy: the lags stop above the lead's stop level."),
    Entry(
        "alternation",
        "word",
        "Changing which pump leads, so that the pumps share the work.",
        also=("rotation",),
    ),
    Entry(
        "call",
        "word",
        "A start level that the water has reached and whose stop level it has not: it asks for one"
        " more pump.",
    ),
    Entry(
        "drawdown test",
        "word",
        "Timing the level as one pump draws it down, with the inflow timed before and after: fall"
        " rate times plan area plus inflow is what the pump moves. Field work at a wet well follows"
        " its own permits and local rules.",
        also=("drawdown",),
    ),
    Entry(
        "firm capacity",
        "criterion",
        "What the station pumps with its largest pump out; check sets the peak against it.",
    ),
    Entry(
        "starts per hour",
        "word",
        "How often a motor starts; its windings heat at each start, so"
        " motors have a limit, to be taken from the maker.",
    ),
    Entry("minimum off time", "word", "How long a pump must rest after a stop."),
    Entry(
        "cycle", "word", "From one start of a lead to the next: the well fills and is drawn down."
    ),
    Entry(
        "age of water",
        "word",
        "Time that water has spent in the force main: where the pumps rest long it stands and turns"
        " septic.",
    ),
    Entry(
        "tariff",
        "word",
        "What a kilowatt-hour costs by the hour and the day of the week; bands by name, such as"
        " [tariff.night].",
    ),
    Entry(
        "time constant",
        "word",
        "Time after which something that tends to a final value has made 63 % of the way, such as a"
        " motor that heats up.",
    ),
    Entry("dry-weather flow", "word", "Inflow when it has not rained for days."),
    Entry(
        "rain-derived inflow",
        "word",
        "Rain that comes into the sewer, through drains, covers and wrong connections, and later"
        " through the ground. A scenario says how much and how late by [rain_derived], and what"
        " falls by [rain.NAME] or --rain.",
        also=("rain-derived inflow and infiltration", "rain-derived"),
    ),
    Entry("infiltration", "word", "Ground water that seeps into the sewer, on dry days too."),
    Entry(
        "hyetograph",
        "word",
        "Rain over time. Within each of its intervals the rain is taken as even; a scenario gives"
        " it as [rain.NAME].",
    ),
    Entry(
        "unit hydrograph",
        "word",
        "The flow over time that a unit of rain on the area brings. Here three triangles: quick,"
        " middle and the slow response, each with its fraction, time to peak and fall ratio;"
        " they come from flow measured in the sewer concerned.",
        also=("unit hydrographs",),
    ),
    Entry(
        "quick response",
        "word",
        "The part of the rain that arrives first, through drains, covers and wrong connections.",
    ),
    Entry(
        "middle response", "word", "The part of the rain between the quick and the slow response."
    ),
    Entry("slow response", "word", "The part of the rain that arrives last, through the ground."),
    Entry("fraction", "word", "Of a response to rain: the part of the rain's volume it brings."),
    Entry(
        "time to peak",
        "word",
        "Of a response to rain: from the rain of an instant to the greatest flow that it brings.",
        "s",
    ),
    Entry(
        "fall ratio",
        "word",
        "Of a response to rain: time of fall over time to peak; some texts give the ratio of the"
        " time to peak to the whole instead.",
    ),
    Entry(
        "manhole",
        "word",
        "A shaft on the sewer. When the sewer backs up, the one with the lowest cover spills first."
        " A confined space: nobody enters without permit, gas test, ventilation, retrieval gear and"
        " an attendant.",
    ),
    Entry(
        "spill",
        "word",
        "Sewage that leaves at the lowest point of the system, often an upstream manhole.",
        also=("overflow",),
    ),
    Entry(
        "time to spill",
        "word",
        "How long until it would spill if all pumping stopped now, with"
        " the inflow that the episode has; beyond its end the last day repeats.",
        "s",
    ),
    Entry("time to alarm", "word", "How long until the level reaches the high-level alarm.", "s"),
    Entry(
        "operating point",
        "word",
        "Where the curve of the running pumps meets the curve of the"
        " system: the flow that comes of it, and the head.",
    ),
    Entry(
        "system curve",
        "word",
        "Head that the system asks for over flow: the lift from the level"
        " in the well, and the losses along the pipes.",
    ),
    Entry("lineup", "word", "Which pumps run together."),
    Entry("episode", "word", "What happens to a station: start, calendar, inflow and events."),
    Entry(
        "elevation",
        "word",
        'Height above the datum. A scenario may give its levels so (levels_are = "elevation",'
        " with floor_elevation); sentences and plots then show elevations, and the tables of"
        " results stay with levels above the floor of the wet well.",
    ),
    Entry(
        "datum",
        "word",
        "The height that the drawings of a site call nought: a national one, such as a mean sea"
        " level, or a mark of the site's own.",
    ),
    Entry(
        "grid loss",
        "word",
        'The supply from the grid fails. As an event of a scenario: "day 3 07:10 grid loss for'
        ' 4 h"; electric pumps stop, and an engine-driven pump may start.',
        also=("power cut", "outage", "blackout"),
    ),
    Entry(
        "high temperature",
        "word",
        'As an event of a scenario: "day 4 08:00 P2 high temperature for 20 min"; the pump trips,'
        " and is free again by itself after the time, or waits for a reset by hand when the text"
        ' ends in "until reset".',
    ),
    Entry(
        "csv",
        "word",
        "A recorded inflow comes as CSV: first a line of column names, then rows; one column of"
        " times (2027-03-01 00:15, or elapsed numbers), one of flows, each number's unit in the"
        " name of its column (elapsed_min, inflow_L/s) or beside it in the scenario. Commas,"
        " semicolons or tabs; gaps are refused unless the scenario says how to fill them. A rain"
        " record has one row for each interval (rain_mm, intensity_mm/h). See inflow.file,"
        " inflow.gaps, rain.stamped.",
    ),
    Entry(
        "site",
        "word",
        "Where the station stands. Of an event, who could notice it: only somebody who stands"
        " there, for it shows on no panel and raises no alarm.",
    ),
    Entry(
        "panel",
        "word",
        "The control panel. Of an event, who could notice it: it shows on the panel.",
    ),
    Entry(
        "table interval",
        "word",
        "How often the level is written to the table of levels. It is"
        " no time step: the run itself has none.",
    ),
    Entry(
        "swap",
        "word",
        "Another pump takes over a role: at a stop of all pumps, as the rotation says, or by force"
        " when a pump has run as long in one go as its setting allows.",
        also=("forced swap", "longest run before a swap"),
    ),
    Entry(
        "alternation stopped",
        "word",
        "The lead ran on for hours without coming down to its stop level, so that no swap could"
        " come, while a lag made many starts. A run tells of it unasked.",
        also=("no swap",),
    ),
)

ENTRIES: tuple[Entry, ...] = (
    *EVENTS,
    *ALARMS,
    *ROLES,
    *CAUSES,
    *STATES,
    *METRICS,
    *COMPARED_METRICS,
    *CRITERIA,
    *TABLES,
    *COLUMNS,
    *WORDS,
)
"""Every entry. A word may have several kinds: a seal leak is an event and an alarm."""


@cache
def _by_word() -> dict[str, tuple[Entry, ...]]:
    found: dict[str, list[Entry]] = {}
    for entry in ENTRIES:
        for word in (entry.word, *entry.also):
            found.setdefault(_plain(word), []).append(entry)
    return {word: tuple(entries) for word, entries in found.items()}


def _plain(word: str) -> str:
    return " ".join(word.lower().replace("_", " ").split())


def lookup_all(word: str) -> tuple[Entry, ...]:
    """Return every entry of a word, of whatever kind; empty when it is not known.

    Parameters
    ----------
    word
        A word, in any case, with blanks or underscores.
    """
    return _by_word().get(_plain(word), ())


def lookup(word: str) -> Entry | None:
    """Return the first entry of a word; None when it is not known.

    Parameters
    ----------
    word
        A word, in any case, with blanks or underscores.
    """
    found = lookup_all(word)
    return found[0] if found else None


def nearest(word: str, count: int = 3) -> list[str]:
    """Return the known words that look most like an unknown one, the likeliest first.

    Parameters
    ----------
    word
        What somebody wrote.
    count
        How many at most.
    """
    spelled = {_plain(known): known for e in ENTRIES for known in (e.word, *e.also)}
    asked = _plain(word)
    close = difflib.get_close_matches(asked, spelled, n=count, cutoff=0.6)
    inside = [known for known in spelled if asked and asked in known and known not in close]
    inside.sort(key=len)  # the shortest has least beside what was asked
    return [spelled[known] for known in (*close, *inside)][:count]


@cache
def seen_by(event: str) -> str:
    """Return by what an event could be noticed; empty for a word that is no event.

    Parameters
    ----------
    event
        A word of :data:`EVENTS`.
    """
    return next((entry.seen for entry in EVENTS if entry.word == event), "")


def cause_of(text: str) -> Entry | None:
    """Return the cause that a text begins with (the longest that fits); None when there is none.

    Parameters
    ----------
    text
        A cause as a run wrote it: ``level at lead start 1.50 m``.
    """
    fitting = [entry for entry in (*CAUSES, *EVENTS, *ALARMS) if text.startswith(entry.word)]
    return max(fitting, key=lambda entry: len(entry.word), default=None)
