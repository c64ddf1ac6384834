"""Surge, for screening only: what the head may rise when the flow in a main stops at once.

Joukowsky's rule takes a rigid stop in a single pipe; columns that part, reflections, air and valves
are not in it. Where the screening fails, or a main has high points, a transient study by somebody
who does these decides.

References
----------
N. Joukowsky (1898); dH = a dV / g and the wave time 2 L / a as in US Army TM 5-813-9, Figure 4-5,
and in Subramanya, 1000 Solved Problems in Fluid Mechanics (2005), chapter 14. Worked values stand
in ``tests/published/surge.json``.
"""

from __future__ import annotations

import math

from stationsim.physics.pumps import G


def head_rise_m(wave_speed_ms: float, velocity_change_ms: float) -> float:
    """Return the rise of head when a velocity is lost faster than a wave runs there and back [m].

    Parameters
    ----------
    wave_speed_ms
        Speed of a pressure wave in the pipe [m/s].
    velocity_change_ms
        Velocity that is lost [m/s].
    """
    return wave_speed_ms * velocity_change_ms / G


def wave_time_s(length_m: float, wave_speed_ms: float) -> float:
    """Return how long a wave takes to the far end and back [s].

    Parameters
    ----------
    length_m
        Length of the main [m].
    wave_speed_ms
        Speed of a pressure wave [m/s].
    """
    return 2.0 * length_m / wave_speed_ms


def wave_speed_ms(
    bulk_pa: float,
    density_kgm3: float,
    diameter_m: float = 0.0,
    wall_m: float = math.inf,
    modulus_pa: float = math.inf,
) -> float:
    """Return the speed of a pressure wave; in a rigid pipe when no wall is given [m/s].

    Parameters
    ----------
    bulk_pa
        Bulk modulus of the water [Pa].
    density_kgm3
        Its density [kg/m3].
    diameter_m, wall_m
        Diameter and thickness of the wall [m].
    modulus_pa
        Modulus of elasticity of the wall [Pa].
    """
    rigid = math.sqrt(bulk_pa / density_kgm3)
    return rigid / math.sqrt(1.0 + bulk_pa / modulus_pa * diameter_m / wall_m)
