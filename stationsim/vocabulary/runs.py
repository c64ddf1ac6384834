"""What a run says as it goes: events, alarms, roles, causes, states of a source of power."""

from __future__ import annotations

from stationsim.vocabulary.entry import Entry, event, of

EVENTS = (
    event("start", "panel", "A pump began to run."),
    event("stop", "panel", "A pump stopped because it was told to, or because its run was over."),
    event("start refused", "panel", "A pump was wanted but could not be run; the cause says why."),
    event(
        "swap skipped", "panel", "A pump ran on past its longest run: no other one could take over."
    ),
    event("trip", "alarm", "A protection took a pump out: it cannot run until it is reset."),
    event(
        "reset", "panel", "A trip was cleared, by itself or by a person; the pump may run again."
    ),
    event("reset refused", "site", "Somebody tried to reset a trip whose condition still stood."),
    event("out of service", "site", "A machine was taken out of use."),
    event("back in service", "site", "A machine that was out of service may be used again."),
    event("fails to start", "nobody", "From now on the machine will not start when called."),
    event("can start again", "nobody", "The machine would start again when called."),
    event("no run signal", "panel", "A pump was called and gave no run signal."),
    event("crank failed", "site", "The engine was cranked and did not fire."),
    event("clogged", "nobody", "Rags hold a pump back: it moves less at the same head."),
    event("clear again", "site", "A pump that was clogged is clear again."),
    event("seal leak", "alarm", "Moisture was found in the seal chamber of a pump."),
    event("level signal frozen", "nobody", "The level signal stands still, whatever the level."),
    event("level signal lost", "alarm", "The level signal is gone."),
    event("level signal right", "nobody", "The level signal follows the level again."),
    event(
        "level signal distrusted", "alarm", "The panel goes by its floats: the signal cannot be so."
    ),
    event("level signal trusted", "panel", "The panel goes by the level signal again."),
    event("grid lost", "alarm", "The supply from the grid failed."),
    event("grid back", "panel", "The supply from the grid returned."),
    event("alarm raised", "alarm", "An alarm came in; the subject and the cause say which."),
    event("alarm cleared", "alarm", "The condition of an alarm is over."),
    event("spill begins", "site", "Water reached the lowest point where it leaves the system."),
    event("spill ends", "site", "No more water leaves over the lowest point."),
    event("in hand", "panel", "A selector was set to hand: the pump runs whatever the level."),
    event("off", "panel", "A selector was set to off: the pump does not run."),
    event("in auto", "panel", "A selector was set to auto: the controller runs the pump."),
    event("engine called", "site", "The engine-driven pump was called by its own start rule."),
    event("call given up", "site", "The engine-driven pump was no longer wanted before it ran."),
    event("out of fuel", "alarm", "The tank of the engine-driven pump ran empty."),
    event(
        "well empty", "site", "The water is down at the floor; the pumps lift only what arrives."
    ),
)

ALARMS = of(
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

CAUSES = of(
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

STATES = of(
    "state",
    ("on", "The grid supplies the station."),
    ("out", "The grid does not supply the station."),
    ("stopped", "The engine stands still."),
    ("starting", "The engine was called and does not deliver yet."),
    ("running", "The engine drives its pump."),
    ("failed", "The engine does not run though it was called."),
    ("out of fuel", "The engine's tank is empty."),
)
