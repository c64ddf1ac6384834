"""What a scenario file may say of a motor's heat, the backup floats and the tariff.

Part of the schema; see ``schema``.
"""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from stationsim.scenario import quantities as q
from stationsim.scenario.table import Table, left_out


class MotorPart(Table):
    """How a motor heats and cools, and where its protection trips."""

    ambient: q.Temperature = Field(
        description="Temperature of what it gives its heat to: the water, or the air of a dry well."
    )
    full_rise: q.TemperatureRise = Field(
        description="Rise over ambient that it would reach at full load without end, submerged and "
        "clean."
    )
    heating_time: q.TimeConstant = Field(
        description="Time constant while it runs: after so long it has made 63 % of its rise."
    )
    cooling_time: q.TimeConstant = Field(
        description="Time constant while it stands; two to three times that of heating as a rule."
    )
    trip: q.Temperature = Field(description="Temperature at which its protection stops it.")
    reset: q.Temperature = Field(
        description="Temperature to which it must cool before it may run again; below the trip and "
        "above ambient."
    )
    ragged_factor: q.HeatFactor = Field(
        1.0, description="How many times the heat while the pump is clogged."
    )
    not_submerged_factor: q.HeatFactor = Field(
        1.0, description="How many times the heat while the level is below the motor's top."
    )
    top: q.Level | None = left_out(
        "its heat does not hang on the level", "Level of the motor's top."
    )
    most_resets: q.Count | None = left_out(
        "always",
        "How often it resets by itself when it has cooled, before it waits for a reset by hand; "
        "0: each trip waits.",
    )


class BackupFloatsPart(Table):
    """Two floats that run the station when the level signal cannot be trusted."""

    start: q.Level = Field(
        description="Level of the start float: covered, it starts one pump; above the start levels."
    )
    stop: q.Level = Field(
        description="Level of the stop float: uncovered, it stops all pumps; below the stop level."
    )
    lag_delay: q.Delay = Field(
        0.0, description="How long the start float stays covered before one more pump starts."
    )
    frozen_after: q.Delay | None = left_out(
        "a signal that stands still is believed until it contradicts a float",
        "A signal that stands still so long while a pump runs is not trusted any more.",
    )
    disagrees_by: q.Height = Field(
        0.1, description="By how much a signal may contradict a float and still be trusted."
    )
    supply: Literal["own", "control"] = Field(
        "own",
        description="Whether the floats have a supply of their own, or share that of the controls "
        "and are dead with it.",
    )
    agree_for: q.Delay = Field(
        0.0,
        description="How long a signal that was not trusted must contradict no float before it is "
        "trusted again; nought: as soon as the floats' own cycle is over.",
    )
    rotation: Literal["fixed", "each cycle"] = Field(
        "fixed",
        description="Whether the pump that the floats start first stays the same, or changes each "
        "time that the stop float has stopped pumps.",
    )


class GridPart(Table):
    """What the supply does once more when the grid is back."""

    break_after: q.Delay = Field(
        description="From the return of the grid to a short break of the supply, such as a "
        "transfer switch makes when it goes back, or a recloser of the line. A station with "
        "[transfer] gives its return_break there."
    )
    break_length: q.Delay = Field(description="How long that break lasts.")


class TariffPart(Table):
    """One price of energy between two times of the day."""

    from_clock: q.Clock = Field(alias="from", description="Time of the day at which it begins.")
    to_clock: q.Clock = Field(
        alias="to",
        description='Time of the day at which it ends; "24:00" is midnight. An end that is not '
        "after the beginning goes over midnight.",
    )
    price: q.AnyNumber = Field(description="Price of a kilowatt-hour, in whatever currency.")
    days: Literal["all", "weekdays", "weekend"] = Field(
        "all", description="On which days; a public holiday counts as the weekday that it falls on."
    )
