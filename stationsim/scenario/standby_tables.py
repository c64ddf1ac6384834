"""What a scenario file may say of standby power, of exercise runs and of chance.

Part of the schema; see ``schema``.
"""

from __future__ import annotations

from pydantic import Field

from stationsim.scenario import quantities as q
from stationsim.scenario.rates import Lasts, Rate
from stationsim.scenario.table import Table, left_out

_NOT_JUDGED = "not known; what needs it is not judged"


class MobileGeneratorPart(Table):
    """A generator set that may be brought and connected: 'mobile generator connected'."""

    rated_power: q.RatedPower = Field(description="Rated output, in kW.")
    rated_apparent_power: q.ApparentPower | None = left_out(
        "not judged, and no limit in a run",
        "Rated apparent output, in kVA; not less than the rated power. In a run the set trips when "
        "the pumps that run ask for more, once they have run up.",
    )
    start_apparent_power: q.ApparentPower | None = left_out(
        "not judged, and no limit in a run",
        "The most that it can start at once, at the voltage dip allowed, in kVA. In a run the set "
        "trips when a start asks for more.",
    )
    most_running: q.MostRunning | None = left_out(
        "all of them", "How many electric pumps may run on it at once."
    )
    may_start: list[q.Name] | None = left_out(
        "all of them",
        'Names of the pumps that may run on it: ["P1", "P3"].',
        min_length=1,
        max_length=12,
    )
    fuel_rate: q.FuelRate | None = left_out(
        "as fuel_loads and fuel_rates say; without them no fuel is counted",
        "Fuel burnt at the load that the criteria ask for; in a run at every load, unless "
        "fuel_loads and fuel_rates are given.",
    )
    fuel_loads: list[q.PartOf] | None = left_out(
        "fuel_rate counts at every load",
        'Loads at which the fuel is known, as parts of the rated output, rising: ["0 %", "50 %", '
        '"100 %"].',
        min_length=2,
        max_length=50,
    )
    fuel_rates: list[q.FuelRate] | None = left_out(
        "fuel_rate counts at every load",
        "Fuel burnt at each of fuel_loads; straight between them.",
        min_length=2,
        max_length=50,
    )
    tank: q.FuelVolume | None = left_out(
        "not judged, and never empty in a run", "Fuel in its tank at the start."
    )


class GeneratorPart(MobileGeneratorPart):
    """A fixed generator set for the electric pumps; a run uses it when [transfer] is given too."""

    crank_tries: q.Count = Field(
        1, description="How often it cranks before it gives up and has failed."
    )
    crank_time: q.Delay = Field(0.0, description="How long one crank lasts.")
    crank_rest: q.Delay = Field(0.0, description="Rest between two cranks.")
    run_up: q.Delay = Field(0.0, description="From the engine that fires to good voltage.")


class TransferPart(Table):
    """The transfer switch between grid and generator; with it a run uses the generator."""

    start_delay: q.Delay = Field(
        0.0,
        description="From the loss of the grid to the start signal of the generator: a sag goes "
        "by.",
    )
    transfer_time: q.Delay = Field(
        0.0, description="From good voltage of the generator until the switch has moved over."
    )
    return_after: q.Delay = Field(
        0.0, description="How long the grid must have been good before the switch moves back."
    )
    return_break: q.Delay = Field(
        0.0, description="How long the supply is off while it moves back."
    )
    cool_down: q.Delay = Field(0.0, description="How long the generator then runs on without load.")
    boot_time: q.Delay = Field(
        0.0, description="From voltage on the busbar to a panel that decides."
    )


class ExercisePart(Table):
    """Exercise runs at a set time, so that a dormant fault is found before it counts."""

    every: q.ExerciseInterval = Field(description="From one exercise to the next.")
    at: q.EventMoment = Field(
        description='When the first one is: "Tue 10:00", "day 2 10:00". A time before the start is '
        "moved on by whole intervals."
    )
    pump_time: q.Delay = Field(
        0.0,
        description="How long each electric pump runs that has not run since the last exercise; "
        "0 s: none.",
    )
    engine_time: q.Delay = Field(
        0.0, description="How long the engine-driven pump runs; 0 s: it is not exercised."
    )
    generator_time: q.Delay = Field(
        0.0,
        description="How long the fixed generator runs without load; 0 s: it is not exercised. A "
        "loaded run is usually asked for, and this is none.",
    )


class RandomPart(Table):
    """Something that may happen by chance; nothing does unless it stands here."""

    what: q.EventWhat = Field(
        description='What happens, as in an event but with no time and no duration: "P1 clogged to '
        '60 %"; several things at once are joined by "and".'
    )
    rate: Rate = Field(
        description='How often: "2 per year" by the calendar, "1 per 400 h of running" of the '
        'pump that is named first, "0.5 % per demand" or "1 in 200 demands" on it: a call, a '
        "crank, an exercise."
    )
    lasts: Lasts | None = left_out(
        "to the end of the run, or until it is put right or reset",
        'How long it lasts: "2 h", or a low, a typical and a high one: ["1 h", "2 h", "8 h"].',
    )
