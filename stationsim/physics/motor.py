"""Temperature of a motor's winding: one body that heats while it runs and cools while it stands.

First order: while the losses are constant the temperature goes to its final value as
``final - (final - start) exp(-t / T)``, with one time constant while the motor runs and a longer
one while it stands, without its fan or without the water that the pump moves. So the times to a
trip and to a reset are logarithms, and nothing is stepped through time.

What it leaves out: a winding is hotter than the iron around it and answers within minutes, which
one body can't show (a stalled rotor burns a winding long before this model is hot); the heat of
the inrush at a start; the warmth of the sewage through the year, unless ``ambient_c`` says so.

References
----------
Heating and cooling with two time constants, and the greatest temperature of a periodic duty, are in
any text on electric drives; worked examples stand in ``tests/published/motor_heat.json``. Typical
time constants: 60 to 110 min heating and 90 to 150 min cooling in textbook examples; 30 to 60 min
running and two to three times that standing for small enclosed motors (from memory). Insulation is
named by its hottest spot: class F 155, class H 180 degC.
"""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class MotorHeat:
    """How one motor heats and cools, and where its protection trips and resets.

    Parameters
    ----------
    ambient_c
        Temperature of what the motor gives its heat to: the water, or the air of a dry well [degC].
    full_rise_k
        Final rise over ambient when it runs at full load without end, submerged and clean [K].
    heating_time_constant_s
        Time constant while it runs [s].
    cooling_time_constant_s
        Time constant while it stands [s].
    trip_c
        Temperature at which the protection trips [degC].
    reset_c
        Temperature at which it may be reset, below the trip [degC].
    ragged_factor
        How many times the heat when the pump is ragged [-].
    not_submerged_factor
        How many times the heat when the level is below the motor's top [-]. Taken as more heat,
        not as a slower cooling: the final temperature is right, the time constant is kept.

    Raises
    ------
    ValueError
        When a time constant isn't positive, the rise or a factor is below 0, or the reset does not
        lie below the trip.
    """

    ambient_c: float
    full_rise_k: float
    heating_time_constant_s: float
    cooling_time_constant_s: float
    trip_c: float
    reset_c: float
    ragged_factor: float = 1.0
    not_submerged_factor: float = 1.0

    def __post_init__(self) -> None:
        for name in ("heating_time_constant_s", "cooling_time_constant_s"):
            if not 0.0 < getattr(self, name) < math.inf:
                message = f"{name} must be more than 0 (found {getattr(self, name):g})"
                raise ValueError(message)
        for name in ("full_rise_k", "ragged_factor", "not_submerged_factor"):
            if not 0.0 <= getattr(self, name) < math.inf:
                message = f"{name} must be 0 or more (found {getattr(self, name):g})"
                raise ValueError(message)
        if not self.reset_c < self.trip_c:
            message = (
                f"reset_c must lie below trip_c (found {self.reset_c:g} and {self.trip_c:g} degC)"
            )
            raise ValueError(message)

    def heat(
        self, loss_ratio: float = 1.0, *, ragged: bool = False, submerged: bool = True
    ) -> float:
        """Return the heat of a piece of a run over that of full load [-].

        Parameters
        ----------
        loss_ratio
            Losses of the piece over the losses at full load [-].
        ragged
            Whether the pump is ragged.
        submerged
            Whether the level is at or above the motor's top.
        """
        if ragged:
            loss_ratio *= self.ragged_factor
        return loss_ratio if submerged else loss_ratio * self.not_submerged_factor

    def final_c(self, heat: float = 1.0) -> float:
        """Return the temperature that it would reach running without end [degC].

        Parameters
        ----------
        heat
            Heat over that of full load, held constant [-].
        """
        return self.ambient_c + heat * self.full_rise_k

    def after_running_c(self, start_c: float, for_s: float, heat: float = 1.0) -> float:
        """Return the temperature after running for a time [degC].

        Parameters
        ----------
        start_c
            Temperature at the beginning [degC].
        for_s
            How long it runs, 0 or more [s].
        heat
            Heat over that of full load, held constant [-].
        """
        return _after(start_c, self.final_c(heat), for_s, self.heating_time_constant_s)

    def after_standing_c(self, start_c: float, for_s: float) -> float:
        """Return the temperature after standing for a time [degC].

        Parameters
        ----------
        start_c
            Temperature at the beginning [degC].
        for_s
            How long it stands, 0 or more [s].
        """
        return _after(start_c, self.ambient_c, for_s, self.cooling_time_constant_s)

    def time_to_trip_s(self, start_c: float, heat: float = 1.0) -> float:
        """Return how long it may run until it trips [s]: 0 if hot already, infinity if never.

        Parameters
        ----------
        start_c
            Temperature at the beginning [degC].
        heat
            Heat over that of full load, held constant [-].
        """
        if start_c >= self.trip_c:
            return 0.0
        return _time_between(start_c, self.trip_c, self.final_c(heat), self.heating_time_constant_s)

    def time_to_reset_s(self, start_c: float) -> float:
        """Return how long it must stand until it may be reset [s]: infinity if never.

        Parameters
        ----------
        start_c
            Temperature at the beginning [degC]; at or below the reset the time is 0.
        """
        if start_c <= self.reset_c:
            return 0.0
        return _time_between(start_c, self.reset_c, self.ambient_c, self.cooling_time_constant_s)

    def periodic_extremes_c(
        self, run_s: float, rest_s: float, heat: float = 1.0
    ) -> tuple[float, float]:
        """Return the least and the greatest temperature of a duty repeated without end [degC].

        Parameters
        ----------
        run_s
            How long each run lasts [s].
        rest_s
            How long each rest lasts [s].
        heat
            Heat over that of full load while it runs [-].

        Notes
        -----
        The greatest is reached at the end of each run. The trip is left out: a greatest temperature
        at or above ``trip_c`` says that this duty can't be kept.
        """
        heating = run_s / self.heating_time_constant_s
        both = heating + rest_s / self.cooling_time_constant_s
        rise = heat * self.full_rise_k
        # no time at all: it stands as it is, which is taken as never run
        greatest = rise * math.expm1(-heating) / math.expm1(-both) if both > 0.0 else 0.0
        least = greatest * math.exp(heating - both)
        return self.ambient_c + least, self.ambient_c + greatest


def heating_from_readings(
    every_s: float, first_rise_k: float, second_rise_k: float
) -> tuple[float, float]:
    """Return time constant [s] and final rise [K] from two readings of a motor that began cold.

    Parameters
    ----------
    every_s
        Time from the start to the first reading, and from that to the second [s].
    first_rise_k, second_rise_k
        Rise over ambient at the two readings [K].

    Raises
    ------
    ValueError
        When the readings aren't those of a first-order heating: the second step must be smaller
        than the first, and both upwards.
    """
    second_step = second_rise_k - first_rise_k
    if not (every_s > 0.0 and 0.0 < second_step < first_rise_k):
        message = (
            "two readings give a time constant when the second step is upwards and smaller than "
            f"the first (found {first_rise_k:g} K, then {second_rise_k:g} K)"
        )
        raise ValueError(message)
    time_constant = every_s / math.log(first_rise_k / second_step)
    return time_constant, first_rise_k * first_rise_k / (first_rise_k - second_step)


def cooling_from_readings(for_s: float, first_rise_k: float, second_rise_k: float) -> float:
    """Return the time constant of a motor that stands, from two readings [s].

    Parameters
    ----------
    for_s
        Time between the readings [s].
    first_rise_k, second_rise_k
        Rise over ambient at the two readings, falling [K].

    Raises
    ------
    ValueError
        When the rise does not fall, or the time isn't positive.
    """
    if not (for_s > 0.0 and 0.0 < second_rise_k < first_rise_k):
        message = (
            "two readings give a cooling time constant when the rise falls and stays above 0 "
            f"(found {first_rise_k:g} K, then {second_rise_k:g} K)"
        )
        raise ValueError(message)
    return for_s / math.log(first_rise_k / second_rise_k)


def _after(start_c: float, final_c: float, for_s: float, time_constant_s: float) -> float:
    """Return the temperature on the way from a start to a final value."""
    if for_s <= 0.0:
        return start_c
    return start_c - (final_c - start_c) * math.expm1(-for_s / time_constant_s)


def _time_between(start_c: float, goal_c: float, final_c: float, time_constant_s: float) -> float:
    """Return the time from a start to a goal on the way to a final value; infinity if never."""
    left = final_c - goal_c
    if left == 0.0 or (goal_c - start_c > 0.0) != (left > 0.0):
        return math.inf  # the goal is the final value itself, or lies beyond it
    return time_constant_s * math.log1p((goal_c - start_c) / left)
