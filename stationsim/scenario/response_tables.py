"""What a scenario file may say of people and the plan: who is called, who comes, what they do.

Part of the schema; see ``schema``. Names of people, tools and tasks are the keys of their tables.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import Field

from stationsim import vocabulary
from stationsim.people.response import Pace
from stationsim.scenario import quantities as q
from stationsim.scenario.day_spans import DaySpan
from stationsim.scenario.quantities import Number, Quantity, Text, Whole
from stationsim.scenario.rates import Takes
from stationsim.scenario.table import Table, left_out

TaskKey = Literal[
    "reset",
    "set_right",
    "clear_rags",
    "pull_a_pump",
    "connect_mobile_generator",
    "connect_bypass_pump",
    "refuel",
    "haul",
]
"""The steps that a plan may have, as the file writes them."""

_DAY_S = 86400.0
_AS_BY_DAY = "as by day"
_AT_ONCE = "no time at all"
_LIKE_A_DRILL = "low, typical and high; a drill of your own decides"

ALARMS = tuple(entry.word for entry in vocabulary.ALARMS)


@dataclass(frozen=True)
class _AlarmText(Text):
    """Reads the name of an alarm; whether the station can raise it is a rule."""

    @property
    def json_schema(self) -> dict[str, Any]:
        """What the JSON Schema says of it."""
        return {**super().json_schema, "enum": list(ALARMS)}


PersonKey = Annotated[str, Text("the key of a person", "first")]
ToolKey = Annotated[str, Text("the key of a tool", "mobile_generator")]
AlarmName = Annotated[str, _AlarmText("the name of an alarm", "power failed")]
StepKey = Annotated[str, Text("the key of a task", "connect_mobile_generator")]
PersonName = Annotated[str, Text("a name", "operator on call")]
ToolName = Annotated[str, Text("a name", "mobile generator")]
Load = Annotated[float, Quantity("volume", 0.0, 1000.0, "m3", "10 m3", open_low=True)]
CallWait = Annotated[
    float, Quantity("duration", 0.0, 7 * _DAY_S, "d", "15 min", open_low=True, low_unit="s")
]
LookInterval = Annotated[float, Quantity("duration", 10.0, 7 * _DAY_S, "d", "10 min", low_unit="s")]
Rounds = Annotated[int, Whole(1, 100)]
HowMany = Annotated[int, Whole(0, 100)]
FuelPart = Annotated[float, Number(0.0, 1.0, open_low=True, percent=True)]


class CallOutPart(Table):
    """Who is called when an alarm leaves the station, and how they work on site."""

    call_list: list[PersonKey] | None = left_out(
        "nobody is called; for a station that is only visited",
        'Whom an alarm calls, by the keys of [person.X], in this order: ["first", "second"].',
        alias="list",
        min_length=1,
        max_length=50,
    )
    alarms: list[AlarmName] | None = left_out(
        "every alarm that leaves the station",
        'Alarms that call out: ["power failed", "high level"]; [] for none: then only somebody '
        "who passes by rings.",
        max_length=100,
    )
    picked_up: Takes | None = left_out(
        _AT_ONCE,
        "From the alarm that is sent until the far end has it, such as at its next poll.",
    )
    on_phone: Takes | None = left_out(
        _AT_ONCE, "From there until the first phone rings: low, typical and high."
    )
    next_after: CallWait | None = left_out(
        "a call waits for whom it called first",
        "How long a call waits to be acknowledged before the next one on the list is called too.",
    )
    rounds: Rounds = Field(
        1, description="How often the list is gone through before it is given up."
    )
    assesses: Takes | None = left_out(
        _AT_ONCE, "The first look around on site, before the first task."
    )
    look_again: LookInterval = Field(
        600.0,
        description="How often somebody on site who has nothing to do looks whether there is.",
    )
    night: DaySpan | None = left_out("nothing counts as night", "What counts as night.")
    weekend_as_night: bool = Field(
        default=False, description="Whether Saturday and Sunday count as night."
    )
    pace: Pace = Field(
        "typical",
        description="Which value of each low, typical and high one counts: the same for all, or "
        "each drawn by the seed.",
    )
    steps: list[StepKey] | None = left_out(
        "as they stand in the file",
        "The order of the tasks by their keys, all of them: what is done first stands first.",
        min_length=1,
        max_length=8,
    )
    late: q.Delay = Field(
        0.0,
        description="How much later than they would be people are on site for the first time: a "
        "tree on the road.",
    )


class PersonPart(Table):
    """Somebody who can be called; a role will do for a name."""

    name: PersonName | None = left_out(
        "its key, with blanks for _", "What tables and sentences call them."
    )
    acknowledges: Takes | None = left_out(
        _AT_ONCE, f"From the phone that rings to the alarm acknowledged: {_LIKE_A_DRILL}."
    )
    gets_ready: Takes | None = left_out(
        _AT_ONCE, "From there to the vehicle that leaves: decide, dress, fetch it."
    )
    travels: Takes | None = left_out(
        _AT_ONCE, "The way to the station, without what a tool takes that is fetched."
    )
    night_acknowledges: Takes | None = left_out(_AS_BY_DAY, "The same as acknowledges, at night.")
    night_gets_ready: Takes | None = left_out(_AS_BY_DAY, "The same as gets_ready, at night.")
    night_travels: Takes | None = left_out(_AS_BY_DAY, "The same as travels, at night.")
    on_call: DaySpan | None = left_out("always", "When they are called by the clock.")
    answers: bool = Field(default=True, description="false: the phone rings and nobody hears it.")
    answers_at_night: bool = Field(default=True, description="The same at night.")


class ToolPart(Table):
    """Something that a task needs: on site, fetched on the way, or delivered."""

    name: ToolName | None = left_out(
        "its key, with blanks for _", "What tables and sentences call it."
    )
    number: HowMany = Field(1, description="How many there are; 0: none is to be had.")
    fetched: Takes | None = left_out(
        "it is on site, or delivered",
        "How long it takes to collect it in the yard, on the way to the station.",
    )
    delivered: Takes | None = left_out(
        "it is on site, or fetched",
        "How long it takes from the order until somebody else has brought it.",
    )
    holds: Load | None = left_out("it hauls nothing", "What a tanker takes at a time.")
    round_trip: Takes | None = left_out(
        _AT_ONCE, "How long a tanker is away with a load: drive, discharge, drive back."
    )


class TaskPart(Table):
    """A step of the plan: what a crew can do on site."""

    takes: Takes | None = left_out(
        _AT_ONCE,
        "From the beginning of the work to its end: safety, isolating, connecting; of a tanker, "
        "the loading.",
    )
    starts: Takes | None = left_out(
        _AT_ONCE, "What then still passes until it counts: start, check of the rotation, load."
    )
    takes_down: Takes | None = left_out(
        _AT_ONCE,
        "How long it takes to undo it when it is no longer needed: it is off from the beginning, "
        "and after a mobile generator nothing feeds until the end.",
    )
    people: HowMany = Field(
        1, description="How many people it takes; 0: whoever delivers the tool does it."
    )
    tool: ToolKey | None = left_out("none", "The tool that it takes, by the key of [tool.X].")
    brought_for: list[AlarmName] | None = left_out(
        "somebody on site must first have found that it is needed",
        'Alarms at which the tool is fetched on the way, or ordered at once: ["power failed"].',
        max_length=100,
    )
    fuel_below: FuelPart | None = left_out(
        "a quarter",
        "Of refuel, with the engine stopped and cooled, unless its maker allows otherwise: at "
        "which part of a full tank it is done.",
    )


class VisitPart(Table):
    """A round that passes by the station at a set time."""

    person: PersonKey = Field(description="Who comes, by the key of [person.X].")
    at: q.Clock = Field(description='When, by the clock: "09:00".')
    every: q.ExerciseInterval = Field(_DAY_S, description="From one visit to the next.")


class PasserByPart(Table):
    """Somebody who sees that something is wrong, and rings."""

    after: Takes = Field(
        description="How long it shows, in waking hours, until somebody rings: low, typical and "
        "high."
    )
    sees: Literal["spill", "alarm light"] = Field(
        "spill", description="What is seen: a spill, or the alarm light of the station."
    )
    awake: DaySpan | None = left_out("always", "When people pass by.")
