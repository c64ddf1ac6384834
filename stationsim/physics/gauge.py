"""Pressure gauges: from head to what a gauge shows, and back.

A gauge shows the pressure at its dial. The head of the water at the tapping is that pressure, the
level of the dial (its line is full of water), and the velocity head in the pipe it sits on::

    head above floor = p / (rho g) + dial level + v^2 / (2 g)

The line to the dial must be full of water: with air in it the level of the tapping counts, and not
that of the dial. Pressures are those above the air, below nought on a suction side.

References
----------
Total head from two gauges, with their heights: worked examples stand in
``tests/published/pump_tests.json``. A pump's total head holds the velocity heads: ANSI/HI 14.6
(from memory).
"""

from __future__ import annotations

import math

from stationsim.physics.pumps import RHO, G


def pressure_pa(head_m: float) -> float:
    """Return the pressure of a column of water [Pa].

    Parameters
    ----------
    head_m
        Its height [m].
    """
    return RHO * G * head_m


def column_m(pressure: float) -> float:
    """Return the column of water of a pressure [m].

    Parameters
    ----------
    pressure
        The pressure [Pa].
    """
    return pressure / (RHO * G)


def velocity_head_m(flow_m3s: float, bore_m: float) -> float:
    """Return the velocity head in a round pipe [m].

    Parameters
    ----------
    flow_m3s
        Flow [m3/s].
    bore_m
        Bore of the pipe [m].
    """
    velocity = flow_m3s / (math.pi * bore_m * bore_m / 4.0)
    return velocity * velocity / (2.0 * G)


def gauge_pa(head_m: float, dial_m: float, flow_m3s: float, bore_m: float | None) -> float:
    """Return what a gauge shows [Pa].

    Parameters
    ----------
    head_m
        Total head of the water at the tapping [m above floor].
    dial_m
        Level of the dial [m above floor].
    flow_m3s
        Flow in the pipe that it sits on [m3/s].
    bore_m
        Bore of that pipe [m]; None to leave the velocity head out.
    """
    moving = 0.0 if bore_m is None else velocity_head_m(flow_m3s, bore_m)
    return pressure_pa(head_m - dial_m - moving)


def head_of_gauge_m(
    pressure: float, dial_m: float, flow_m3s: float = 0.0, bore_m: float | None = None
) -> float:
    """Return the total head at the tapping of a gauge [m above floor].

    Parameters
    ----------
    pressure
        What it shows [Pa].
    dial_m
        Level of the dial [m above floor].
    flow_m3s
        Flow in the pipe that it sits on [m3/s].
    bore_m
        Bore of that pipe [m]; None to leave the velocity head out.
    """
    moving = 0.0 if bore_m is None else velocity_head_m(flow_m3s, bore_m)
    return column_m(pressure) + dial_m + moving
