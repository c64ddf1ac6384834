"""Terms of the trade."""

from __future__ import annotations

from stationsim.vocabulary.entry import Entry

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
        "bypass pump",
        "word",
        "A pump with its own engine that is brought, and connected to the force main behind the"
        " check valves.",
    ),
    Entry(
        "tanker",
        "word",
        "A road tanker that draws sewage out of the well and drives it away: a stop-gap while pumps"
        " stand. Where its load may go is for local rules to say.",
        also=("hauling", "vacuum truck"),
    ),
    Entry(
        "alarm battery",
        "word",
        "What alarms and telemetry live on while the supply is dead; when it is empty the station"
        " is silent, and the far end can only miss it.",
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
        "day of acceptance",
        "word",
        "The day on which a new or overhauled station is tried out with clean water, before sewage"
        " arrives, against what was ordered. A scenario says how it is to go by [acceptance]. Who"
        " may do what on it is for the permits, the makers and local rules to say.",
        also=("acceptance test", "acceptance", "commissioning"),
    ),
    Entry(
        "acceptance grade",
        "word",
        "Tolerances of a pump's flow and head about the point that it was ordered for, published in"
        " ISO 9906 (ANSI/HI 14.6 has the same): 1 is the narrowest and 3 the widest, B goes both"
        " ways, U upwards only, E asks for the efficiency besides.",
        also=("grade",),
    ),
    Entry(
        "pressure gauge",
        "word",
        "Shows the pressure at its dial over that of the air. As a column of water, with the level"
        " of the dial and the velocity head in the pipe added, it is the head there.",
        also=("gauge", "header gauge", "pump gauge"),
    ),
    Entry(
        "shut-off head",
        "word",
        "Head of a pump against a closed valve, at no flow: it tells speed, impeller and direction"
        " of rotation. Only for moments, and only if the maker allows it: the water in the pump"
        " heats up.",
        also=("shutoff head", "closed-valve head"),
    ),
    Entry(
        "direction of rotation",
        "word",
        "Which way a motor turns. With two phases exchanged it turns backwards, and the pump still"
        " pumps, with too little flow and head.",
        also=("wrong rotation",),
    ),
    Entry(
        "no-load current",
        "word",
        "Current of a motor with nothing to drive: most of it magnetises, and the load does not"
        " change that part.",
        "A",
    ),
    Entry(
        "rated speed",
        "word",
        "Speed of a motor at full load: a few percent below the synchronous speed, which is twice"
        " the frequency of the grid over the number of poles.",
        "1/s",
        also=("synchronous speed",),
    ),
    Entry(
        "uncertainty",
        "word",
        "How far a reading may be off; here at two standard deviations, within which some 95 of 100"
        " readings lie.",
    ),
    Entry(
        "baseline",
        "word",
        "What was read when the station was new or in known order, kept to set later readings"
        " beside it.",
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
    Entry(
        "written plan",
        "word",
        "What the people of the file do by themselves: [call_out], [person.X], [task.KIND]. Of a"
        " drill: the run of the file as it stands, beside yours.",
        also=("the plan",),
    ),
    Entry(
        "nobody acts",
        "word",
        "Of a drill: the run of the file without its people, in which nobody is called.",
    ),
    Entry(
        "bought",
        "word",
        "Of a decision in a drill: by how much less spills with it and all before it, and nothing"
        " after, than with those before it alone.",
    ),
    Entry(
        "forgotten",
        "word",
        "Of a decision in a drill: how much more spills when it alone is left out.",
    ),
    Entry(
        "far end",
        "word",
        "Where the alarms of a station come in: the other end of telemetry.",
    ),
    Entry(
        "poll",
        "word",
        "The moment at which the far end asks a station what is new. An alarm waits for the next.",
    ),
    Entry("busbar", "word", "What feeds the pumps: the grid, a generator set, or nothing."),
    Entry(
        "look",
        "word",
        "Of a drill: somebody on site looks around with their own eyes, at the water and at what"
        " sounds or stands wrong. From outside: nobody enters a well for it.",
    ),
    Entry(
        "mend",
        "word",
        "Of a drill: a thing is isolated and put right by whoever may do it; how long it takes is"
        " the step 'set right', 'clear rags' or 'pull a pump' of the plan.",
    ),
)
