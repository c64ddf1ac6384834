"""Currents of motors on a supply, and how often a motor may start.

References
----------
Current of a three-phase motor: I = P / (sqrt(3) U eta cos phi), a closed form. Allowed starts and
least rest of design A and B motors by size: NEMA MG 10, Table 2-3, as reprinted in the EASA
Electrical Engineering Handbook: the lower of A and of B over the inertia of the load; C is the
least time off. Its worked example (25 hp, 4 poles, 50 lb ft2: 2.44 starts an hour) stands in
``tests/published/motors_and_supply.json``. Current at the start over full-load current: about 6
across the line; a third of it by star-delta; the square of the tap by autotransformer (65 %: 0.42);
2 to 4 by soft starter (from memory).
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
