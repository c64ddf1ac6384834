"""What people do in a run: events of a call-out, their causes, tasks of a crew and outcomes."""

from __future__ import annotations

from stationsim.vocabulary.entry import event, of

CALL_OUT_EVENTS = (
    event(
        "acknowledged",
        "alarm",
        "Somebody answered the phone and took the call: from now on a person knows.",
    ),
    event("nobody reached", "alarm", "Nobody acknowledged, and the list was gone through."),
    event("stood down", "alarm", "Nobody goes any more: no alarm that calls out stands."),
    event("crew on site", "site", "Somebody stands on site, and hears every alarm at once."),
    event("crew leaves", "site", "Somebody leaves the site: all is well there."),
    event("visited", "site", "The round came by; the detail says what it found."),
    event("a passer-by rings", "site", "Somebody who saw that something is wrong rang."),
    event("tool on site", "site", "A tool that was ordered was delivered."),
)
"""Events whose subject is ``call-out``."""

CALL_OUT_CAUSES = of(
    "cause",
    ("by", "The person who is named did it."),
    ("by the crew", "Somebody who was called out, or came by, did it on site."),
    ("called out", "An alarm, or somebody who rang, had called."),
    ("delivered", "Somebody else brought what was ordered."),
    ("the round", "The round comes by at its set time, whatever stands."),
    ("nobody answers", "Every phone on the list rang in vain."),
    ("nobody is on call", "At that hour there was nobody on the list to be called."),
    ("all clear", "What had called was over by then."),
    ("all well", "The grid feeds, nothing is connected, and the water is low."),
    ("a spill", "A spill was seen."),
    ("the alarm light", "The light of the station was seen."),
)

_REFUEL = (
    "A tank is filled to what it held at the start, its engine stopped and cooled, unless its "
    "maker allows otherwise: a pump with an engine is isolated, a mobile set taken off, and a "
    "fixed set stays as it is."
)

TASKS = of(
    "task",
    ("called", "A phone rings until its owner, or another one, acknowledges."),
    ("gets ready", "From the acknowledgement until the vehicle leaves."),
    ("fetches", "A tool is collected in the yard, once it is free."),
    ("comes", "A tool was ordered and is brought by somebody else."),
    ("travels", "The way to the station, or to the yard and back."),
    ("looks around", "The first look around on site, before any step."),
    ("looks on", "Somebody on site has nothing to do, and looks again after a while."),
    ("visits", "The round comes by; the outcome says what it found."),
    ("stood down", "Nobody goes any more: no alarm that calls out stands."),
    ("reset", "A trip is reset, after its cause was looked for."),
    ("set right", "What is found by looking around is set right, with a pump isolated for it."),
    ("clear rags", "A pump is isolated, and its rags are taken out."),
    ("pull a pump", "A pump is isolated, lifted and mended, or exchanged."),
    ("connect mobile generator", "A mobile generator set is brought up, connected and started."),
    ("connect bypass pump", "A pump is brought up and connected to the force main."),
    ("disconnect mobile generator", "The mobile set is off, and taken off; then the grid feeds."),
    ("disconnect bypass pump", "The bypass pump is stopped at once and taken off again."),
    ("refuel", _REFUEL),
    ("haul", "A tanker takes a load of water from the well."),
    ("is away with a load", "A tanker drives its load away, and comes back empty."),
)
"""What people, and tools that come by themselves, do: words of the column ``task``."""

OUTCOMES = of(
    "outcome",
    ("done", "It was done."),
    ("acknowledged", "The phone was answered and the call taken."),
    ("another one took it", "Somebody else on the list acknowledged first."),
    ("no answer", "The phone rang in vain."),
    ("not to be had", "There is no such tool."),
    ("on site", "It, or whoever travelled, stands at the station."),
    ("in the yard", "Whoever travelled stands in the yard."),
    ("back", "The tanker is back, empty."),
    ("no longer needed", "It was over by itself before the work was done."),
    ("found", "What the round found standing."),
    ("all well", "Nothing was found."),
    ("all clear", "What had called was over by then."),
    ("end of run", "The simulated time ended meanwhile."),
)
"""What came of a task: words of the column ``outcome``."""
