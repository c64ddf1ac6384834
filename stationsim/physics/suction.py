"""Suction: head available to a pump, and how much water must stand over its inlet.

References
----------
Net positive suction head available: head of the air less vapour pressure, lift and losses, as in
Munson, Young and Okiishi, Fundamentals of Fluid Mechanics, ch. 12. Submergence of a bell:
ANSI/HI 9.8 as quoted elsewhere, standard not read, S = D (1 + 2.3 Fd) with Fd = V / sqrt(g D).
Least submergence by entrance velocity: MIL-HDBK-1005/9A (1997), 1.0, 1.5, 2.0 and 2.6 ft at 2, 3, 4
and 5 ft/s (the metric column there prints 0.63 m for 2.6 ft, which are 0.79 m). Worked values:
``tests/published/suction.json``.
"""

from __future__ import annotations

import math

from stationsim.physics.pumps import G

AIR_HEAD_M = 10.33
"""Head of water that the air holds up at sea level, 101.3 kPa [m]."""

VAPOUR_HEAD_M = 0.24
"""Vapour pressure of water at 20 degC as a head [m]."""

_FOOT = 0.3048
_VELOCITY_FT = (2.0, 3.0, 4.0, 5.0)
_SUBMERGENCE_FT = (1.0, 1.5, 2.0, 2.6)


def npsh_available_m(
    over_eye_m: float,
    loss_m: float,
    air_head_m: float = AIR_HEAD_M,
    vapour_head_m: float = VAPOUR_HEAD_M,
) -> float:
    """Return the net positive suction head available [m].

    Parameters
    ----------
    over_eye_m
        Water over the eye of the impeller; below nought for a lift [m].
    loss_m
        Loss in the suction line at the flow [m].
    air_head_m, vapour_head_m
        Head of the air, and vapour pressure as a head [m].
    """
    return air_head_m - vapour_head_m + over_eye_m - loss_m


def bell_submergence_m(diameter_m: float, flow_m3s: float) -> float:
    """Return the least water over a bell or opening against air-drawing vortices [m].

    Parameters
    ----------
    diameter_m
        Outside diameter of the bell or opening [m].
    flow_m3s
        Flow into it [m3/s].
    """
    velocity = flow_m3s / (math.pi * diameter_m * diameter_m / 4.0)
    return diameter_m * (1.0 + 2.3 * velocity / math.sqrt(G * diameter_m))


def entrance_submergence_m(velocity_ms: float) -> float:
    """Return the least water over an inlet by its entrance velocity [m]; infinity above 5 ft/s.

    Parameters
    ----------
    velocity_ms
        Velocity in the entrance [m/s].

    Notes
    -----
    Straight between the four values of the table; below 2 ft/s its first value holds.
    """
    feet = velocity_ms / _FOOT
    if feet <= _VELOCITY_FT[0]:
        return _SUBMERGENCE_FT[0] * _FOOT
    for low, high, least, most in zip(
        _VELOCITY_FT, _VELOCITY_FT[1:], _SUBMERGENCE_FT, _SUBMERGENCE_FT[1:], strict=False
    ):
        if feet <= high + 1e-9:
            return (least + (most - least) * (feet - low) / (high - low)) * _FOOT
    return math.inf
