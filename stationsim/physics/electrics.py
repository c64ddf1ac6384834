"""Currents of motors on a supply, and how often a motor may start.

References
----------
Current of a three-phase motor: I = P / (sqrt(3) U eta cos phi), a closed form. Allowed starts and
least rest of design A and B motors by size: NEMA MG 10, Table 2-3, as reprinted in the EASA
Electrical Engineering Handbook: the lower of A and of B over the inertia of the load; C is the
least time off. Its worked example (25 hp, 4 poles, 50 lb ft2: 2.44 starts an hour) stands in
``tests/published/motors_and_supply.json``. Current at the start over full-load current: about 6
across the line; a third of it by star-delta; the square of the tap by autotransformer (65 %: 0.42);
2 to 4 by soft starter (from memory). Current and speed at part load: tried against whole equivalent
circuits in ``tests/test_physics_electrics_load.py`` and ``tests/published/motor_load.json``.
"""

from __future__ import annotations

import math
from typing import NamedTuple

HP_W = 745.6998715822702
"""One horsepower [W]."""

LB_FT2_KGM2 = 0.45359237 * 0.3048**2
"""One pound square foot [kg m2]."""

START_RATIO = {
    "direct": 6.0,
    "star-delta": 2.0,
    "autotransformer": 6.0 * 0.65**2,
    "soft starter": 3.0,
    "variable speed": 1.1,
}
"""Current in the line at the start over full-load current, by starter [-]."""

_SIZES_HP = (5, 7.5, 10, 15, 20, 25, 30, 40, 50, 60, 75, 100, 125, 150, 200, 250)
_TABLE = {
    2: (
        (8.1, 5.7, 83), (7.0, 8.3, 88), (6.2, 11, 92), (5.4, 16, 100), (4.8, 21, 110),
        (4.4, 26, 115), (4.1, 31, 120), (3.7, 40, 130), (3.4, 49, 145), (3.2, 58, 170),
        (2.9, 71, 180), (2.6, 92, 220), (2.4, 113, 275), (2.2, 133, 320), (2.0, 172, 600),
        (1.8, 210, 1000),
    ),
    4: (
        (16.3, 27, 42), (13.9, 39, 44), (12.5, 51, 46), (10.7, 75, 50), (9.6, 99, 55),
        (8.8, 122, 58), (8.2, 144, 60), (7.4, 189, 65), (6.8, 232, 72), (6.3, 275, 85),
        (5.8, 338, 90), (5.2, 441, 110), (4.8, 542, 140), (4.5, 640, 160), (4.0, 831, 300),
        (3.7, 1017, 500),
    ),
    6: (
        (18.4, 71, 37), (15.8, 104, 39), (14.2, 137, 41), (12.1, 200, 44), (10.9, 262, 48),
        (10.0, 324, 51), (9.3, 384, 53), (8.4, 503, 57), (7.7, 620, 64), (7.2, 735, 75),
        (6.6, 904, 79), (5.9, 1181, 97), (5.4, 1452, 120), (5.1, 1719, 140), (4.5, 2238, 265),
        (4.2, 2744, 440),
    ),
}  # fmt: skip


_CYCLES = ((15e3, 600.0), (75e3, 900.0), (185e3, 1200.0))
"""Below which rated output [W] which shortest cycle [s]: the lower end of each range."""


def shortest_cycle_s(rated_w: float) -> float | None:
    """Return the shortest time from one start of a motor to the next by its size [s].

    Parameters
    ----------
    rated_w
        Rated output [W].

    Returns
    -------
    float or None
        The lower end of the range that is advised [s]; None from 185 kW, where the maker decides.

    References
    ----------
    US Army EI 11C201 (1997), Table 7-1: 10 to 15 min below 15 kW, 15 to 20 min up to 75 kW, 20 to
    30 min up to 185 kW.
    """
    for below_w, cycle_s in _CYCLES:
        if rated_w < below_w:
            return cycle_s
    return None


class StartLimit(NamedTuple):
    """How often a motor may start, and how long it must rest.

    Parameters
    ----------
    per_hour
        Most starts in an hour [1/h].
    off_s
        Least rest [s].
    size_hp
        The size of the table that it was taken for [hp].
    """

    per_hour: float
    off_s: float
    size_hp: float


def start_limit(
    rated_w: float, poles: int, load_inertia_kgm2: float | None = None
) -> StartLimit | None:
    """Return the start limit of a motor; that of the next larger size; None beyond the table.

    Parameters
    ----------
    rated_w
        Rated output [W].
    poles
        Number of poles [-]; the table has 2, 4 and 6.
    load_inertia_kgm2
        Moment of inertia of the load [kg m2]; None leaves it out of account.
    """
    if poles not in _TABLE:
        return None
    for size, (most, inertia, off_s) in zip(_SIZES_HP, _TABLE[poles], strict=True):
        # a plate in kW is rounded: 37 kW is a 50 hp motor
        if rated_w <= size * HP_W * 1.01:
            allowed = float(most)
            if load_inertia_kgm2:
                allowed = min(allowed, inertia / (load_inertia_kgm2 / LB_FT2_KGM2))
            return StartLimit(allowed, float(off_s), float(size))
    return None


def motor_current_a(
    rated_w: float, voltage_v: float, efficiency: float, power_factor: float, phases: int = 3
) -> float:
    """Return the full-load current of a motor [A].

    Parameters
    ----------
    rated_w
        Output at the shaft [W].
    voltage_v
        Voltage between phases [V].
    efficiency, power_factor
        At that load [-].
    phases
        1 or 3 [-].
    """
    return line_current_a(rated_w / efficiency / power_factor, voltage_v, phases)


def line_current_a(apparent_va: float, voltage_v: float, phases: int = 3) -> float:
    """Return the current of an apparent power [A].

    Parameters
    ----------
    apparent_va
        Apparent power [VA].
    voltage_v
        Voltage between phases [V].
    phases
        1 or 3 [-].
    """
    return apparent_va / (voltage_v * (math.sqrt(3.0) if phases == 3 else 1.0))


def apparent_va(current_a: float, voltage_v: float, phases: int = 3) -> float:
    """Return the apparent power of a current [VA].

    Parameters
    ----------
    current_a
        Current [A].
    voltage_v
        Voltage between phases [V].
    phases
        1 or 3 [-].
    """
    return current_a * voltage_v * (math.sqrt(3.0) if phases == 3 else 1.0)


NO_LOAD_PART = 0.75
"""Current with no load over the wattless part of the full-load current, for an induction motor
whose plate does not tell it [-]: common practice, no source. The two textbook motors of
``tests/test_physics_electrics_load.py`` have 0.73 and 0.82."""


def no_load_limits_a(full_load_a: float, power_factor: float) -> tuple[float, float]:
    """Return between which two currents that with no load must lie [A].

    Parameters
    ----------
    full_load_a
        Current at full load [A].
    power_factor
        Power factor at full load [-].

    Notes
    -----
    More than the wattless part of the full-load current it cannot be: the load only adds to that.
    With less than ``sin phi - cos phi`` of it the stray field would have to be so great that the
    motor could not carry its full load. Any current goes with a power factor above 0.71.
    """
    reactive = full_load_a * math.sqrt(1.0 - power_factor * power_factor)
    return max(0.0, reactive - full_load_a * power_factor), reactive


def part_load_current_a(
    input_w: float,
    voltage_v: float,
    phases: int,
    full_load_a: float,
    power_factor: float,
    no_load_a: float | None = None,
) -> float:
    """Return the current of an induction motor that is not fully loaded [A].

    Parameters
    ----------
    input_w
        What it draws [W].
    voltage_v
        Voltage between phases [V].
    phases
        1 or 3 [-].
    full_load_a
        Its current at full load [A].
    power_factor
        Its power factor at full load [-].
    no_load_a
        Its current with no load [A]; None for :data:`NO_LOAD_PART` of the wattless part of the
        full-load current.

    Notes
    -----
    The current in phase with the voltage follows from the input. The one across it is the
    magnetising current, which the load does not change, and a part for the stray field that goes
    with the square of the current: the equivalent circuit to that order. Both constants follow from
    the current with no load and at full load, where the result is exact. From no load to 1.15 times
    the load it is within 2.5 % of the whole circuit of either textbook motor when the current with
    no load is known; when it is not, within 2.5 % from half load on and within 8 % below. What is
    drawn beyond the most that the motor can carry has no current of its own; the last one is given.
    A drive that changes the speed draws another current: this is the one between drive and motor
    at full speed.

    Raises
    ------
    ValueError
        When the current with no load does not lie within :func:`no_load_limits_a`.
    """
    least, most = no_load_limits_a(full_load_a, power_factor)
    if no_load_a is None:
        # the second holds below a power factor of 0.27, which no motor has: still an answer
        no_load = max(NO_LOAD_PART * most, most - 0.9 * full_load_a * power_factor)
    elif least <= no_load_a <= most:
        no_load = no_load_a
    else:
        raise ValueError(
            f"a no-load current of {no_load_a:g} A does not go with {full_load_a:g} A at a power"
            f" factor of {power_factor:g}: it lies between {least:.4g} and {most:.4g} A"
        )
    active = line_current_a(input_w, voltage_v, phases)
    stray = (most - no_load) / (full_load_a**2 - no_load**2)
    magnetising = no_load - stray * no_load * no_load
    # I^2 = active^2 + (magnetising + stray I^2)^2, a quadratic in I^2; its lower root, written so
    # that it stays good when the stray field is small
    across = 1.0 - 2.0 * magnetising * stray
    constant = active * active + magnetising * magnetising
    under = across * across - 4.0 * stray * stray * constant
    if under < 0.0:  # beyond the pull-out torque
        return math.sqrt(across / 2.0) / stray
    return math.sqrt(2.0 * constant / (across + math.sqrt(under)))


def running_speed(rated_speed: float, poles: int | None, load_part: float) -> float:
    """Return the speed of an induction motor on the grid [1/s].

    Parameters
    ----------
    rated_speed
        Speed at full load [1/s].
    poles
        Number of poles [-]; None for the rated speed whatever the load.
    load_part
        Output over rated output [-].

    Notes
    -----
    The slip goes with the load, from none at the synchronous speed of 50 or 60 Hz that lies next
    above the rated one. The other way round it is the slip method of finding the load of a motor:
    US Department of Energy, fact sheet on motor load and efficiency (from memory). A whole
    equivalent circuit is within 0.2 % of the speed. A rated speed above the synchronous one of
    60 Hz is given back as it is.
    """
    if poles is None:
        return rated_speed
    above = [2.0 * hertz / poles for hertz in (50.0, 60.0) if 2.0 * hertz / poles >= rated_speed]
    if not above:
        return rated_speed
    synchronous = min(above)
    return synchronous - (synchronous - rated_speed) * load_part
