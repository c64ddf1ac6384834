"""What is measured of a run or asked of a station: metrics and criteria."""

from __future__ import annotations

from stationsim.vocabulary.entry import criterion, metric

METRICS = (
    metric("run hours", "h", "Time that a pump ran, in auto and in hand."),
    metric("starts", "", "How often a pump started."),
    metric(
        "worst starts in an hour",
        "1/h",
        "Most starts in any sliding hour, not only in clock"
        " hours; two starts exactly an hour apart are not in the same hour.",
    ),
    metric("shortest off time", "s", "Shortest rest between a stop and the next start."),
    metric("longest run", "s", "Longest single run."),
    metric("volume pumped", "m3", "What was pumped."),
    metric("energy", "kWh", "Electricity drawn by the pumps."),
    metric(
        "energy per volume",
        "kWh/m3",
        "Electricity drawn over the volume that electric pumps lifted.",
    ),
    metric(
        "energy cost",
        "",
        "What the electricity of the run costs by [tariff], in the currency of its prices; standing"
        " charges and charges for the greatest power are not in it.",
    ),
    metric(
        "energy cost per volume",
        "1/m3",
        "Energy cost over the volume that electric pumps lifted, in the currency of the prices.",
    ),
    metric(
        "mean age of water leaving the main",
        "h",
        "Mean over the volume of the time that the water spent in the force main, as plug flow."
        " Water that stood in it at the start is left out; no value when none came through.",
    ),
    metric(
        "greatest age of water leaving the main",
        "h",
        "Longest time that any water spent in the force main before it left; long stays turn sewage"
        " septic, how long depends on its strength and warmth, and on local rules.",
    ),
    metric("trips", "", "How often a protection took the pump out."),
    metric("unavailable hours", "h", "Time in which the controller could not have run the pump."),
    metric("share of lead", "", "Part of all starts as lead that fell to this pump; 1 is all."),
    metric(
        "longest time not run",
        "h",
        "Longest time without a run: so long nobody knew whether the pump would start.",
    ),
    metric(
        "fuel burnt",
        "m3",
        "Fuel that the engine burnt while it ran; of the station: all engines and generators.",
    ),
    metric("mean cycle", "s", "Mean time from one start of a lead to the next."),
    metric("least cycle", "s", "Shortest time from one start of a lead to the next."),
    metric("greatest cycle", "s", "Longest time from one start of a lead to the next."),
    metric("volume in", "m3", "What arrived."),
    metric("volume spilled", "m3", "What left over the lowest point of spill."),
    metric("volume run back", "m3", "What ran back into the well through pumps that stood."),
    metric("volume hauled", "m3", "What tankers took out of the well; only where one came."),
    metric(
        "volume by the station meter",
        "m3",
        "What a meter behind the header counts: all that goes into the main; it does not count"
        " backwards.",
    ),
    metric(
        "volume by the plant meter",
        "m3",
        "What a meter at the far end of the main counts: less than at the station when the main"
        " leaks, is broken, or had to be filled again.",
    ),
    metric(
        "volume lost from the main",
        "m3",
        "What left the force main on the way, through a leak or a break, and did not arrive.",
    ),
    metric("balance error", "", "What the water balance leaves open, over the volume handled."),
    metric(
        "hours above high-level alarm",
        "h",
        "Time for which the level stood at or above the"
        " high-level alarm, whether or not the alarm was raised.",
    ),
    metric("spills", "", "How many times it spilled."),
    metric("spill hours", "h", "Time for which it spilled."),
    metric("least level", "m", "Lowest level above the floor."),
    metric("mean level", "m", "Mean over time of the level above the floor."),
    metric("greatest level", "m", "Highest level above the floor."),
    metric("time of greatest level", "s", "When the level was highest, since the start."),
    metric("least time to spill", "s", "Shortest time to spill over the run."),
    metric(
        "time of least time to spill", "s", "When the time to spill was shortest, since the start."
    ),
    metric("alarms", "", "How many alarms were raised."),
    metric("most pumps running", "", "Most pumps that ran at once, whatever drives them."),
    metric(
        "call-outs", "", "How often somebody acknowledged an alarm, or a caller, and took it on."
    ),
    metric(
        "longest time until known",
        "s",
        "Longest time from an alarm that was raised to a person who knew of it.",
    ),
    metric(
        "longest time from alarm to site",
        "s",
        "Longest time from the first alarm of a call-out to somebody on site.",
    ),
    metric(
        "alarms that reached nobody",
        "",
        "Alarms that call out of which no person ever knew, while they stood or later.",
    ),
    metric(
        "crew hours",
        "h",
        "Time for which people were at it, summed over them: from getting ready to leaving the"
        " site; the way home is not in it.",
    ),
    metric("hours with n running", "h", "Time for which exactly this number of pumps ran."),
)

COMPARED_METRICS = (
    metric("starts per hour", "1/h", "Starts over the time of the whole run."),
    metric(
        "lag starts",
        "",
        "How often a pump started behind the lead, as lag, second lag, third lag or standby.",
    ),
    metric("lag starts per hour", "1/h", "Lag starts over the time of the whole run."),
    metric(
        "worst starts of one pump in an hour",
        "1/h",
        "Most starts of one and the same electric pump in any sliding hour.",
    ),
)
"""Metrics of a comparison that stand in no summary of a run."""

DRILL_METRICS = (
    metric("time of first spill", "s", "When it spilled for the first time, since the start."),
    metric(
        "time from power loss to pumping",
        "s",
        "From the first loss of the grid to the next start of any pump, whatever drives it.",
    ),
    metric(
        "time of first alarm known",
        "s",
        "When the first alarm reached somebody who is called, or who is in the drill, since the"
        " start.",
    ),
    metric("time of first order", "s", "When somebody in a drill decided something first."),
    metric(
        "time of first on site",
        "s",
        "When somebody who was called, sent, or came by stood on site first, since the start.",
    ),
)
"""Metrics by which the courses of a drill are held against each other."""

CRITERIA = (
    criterion(
        "least velocity",
        "Velocity in the widest pipe of the force main with the weakest pump alone at the stop"
        " level: below it solids settle.",
    ),
    criterion(
        "cleaning velocity",
        "Velocity in the widest pipe of the force main with all pumps that may run together: it"
        " carries settled solids away.",
    ),
    criterion(
        "greatest velocity", "Velocity in the narrowest pipe with all pumps that may run together."
    ),
    criterion(
        "active volume",
        "Volume from the stop level to the lead start, against T D / (4 n): the shortest time"
        " allowed between two starts of a pump, its flow, and how many take turns.",
    ),
    criterion(
        "starts in an hour",
        "Most starts of a pump at the worst of many steady inflows, with the station's own levels,"
        " delays and rotation.",
    ),
    criterion(
        "motor starts by size", "The same starts, against a table by rated output and poles."
    ),
    criterion("rest between runs", "Shortest rest of a pump at the worst of many steady inflows."),
    criterion(
        "fill time", "Time to fill from the stop level to the lead start at the average flow."
    ),
    criterion("detention in the well", "The same time, against the limit that keeps sewage fresh."),
    criterion("age in the main", "Volume of the force main over the average flow."),
    criterion(
        "order of levels", "Whether stop, start levels, alarm and spill stand one above the other."
    ),
    criterion("spacing of levels", "Smallest height between two of these levels."),
    criterion("alarm under the inlet", "Height from the high-level alarm up to the inlet invert."),
    criterion(
        "time from alarm to spill",
        "Shortest time from the alarm level to the spill over the hours of a day, nothing pumped,"
        " against the response that is asked for.",
    ),
    criterion(
        "alarm to spill at peak", "Volume from the alarm level to the spill over the peak flow."
    ),
    criterion(
        "storage for the outage",
        "Shortest time from the lead start to the spill over the hours of a day, nothing pumped,"
        " against the outage that is to be carried.",
    ),
    criterion(
        "submergence at the stop level",
        "Water over the suction opening when the pump stops, against what keeps air out.",
    ),
    criterion("entrance velocity", "Velocity in the suction opening of a pump that runs alone."),
    criterion(
        "suction head",
        "Net positive suction head available at the stop level, against what the pump requires.",
    ),
    criterion(
        "suction lift",
        "Of the engine-driven pump: lift, losses and head required at its stop level together.",
    ),
    criterion(
        "priming", "Of the engine-driven pump: how far its priming lift exceeds that at its start."
    ),
    criterion(
        "running current", "Current of all pumps that may run, and of the rest, over the main fuse."
    ),
    criterion("starting current", "The same while the last of the pumps starts."),
    criterion(
        "starting current, all at once",
        "The same when they start together after a power loss, for want of a stagger; not needed"
        " with one.",
    ),
    criterion("generator output", "Rated output of the generator, against what runs on it."),
    criterion("generator apparent output", "Its rated apparent output, against the same."),
    criterion(
        "generator start", "Apparent power that it can start, against what the last start takes."
    ),
    criterion("generator fuel", "How long the fuel in its tank lasts."),
    criterion("engine fuel", "How long the fuel in the tank of the engine-driven pump lasts."),
    criterion("bypass flow", "Flow of the hired bypass pump, against the peak flow."),
    criterion(
        "bypass lift",
        "Lift of the hired bypass pump from the lowest water, and its head required, together.",
    ),
    criterion(
        "surge, screening",
        "Head when the flow of all pumps stops at once, against what the main stands: Joukowsky's"
        " rule, for screening only.",
    ),
    criterion("water balance", "What the balance of a run leaves open, over the volume handled."),
    criterion("energy", "What the lift alone takes, as part of what the pumps drew in a run."),
)
"""What ``check`` asks of a station; firm capacity stands with the words of the trade."""
