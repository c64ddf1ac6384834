"""Losses along a pipe: friction by Hazen-Williams or Darcy-Weisbach, and fittings.

References
----------
Hazen-Williams in SI, ``hf = 10.67 L Q^1.852 / (C^1.852 D^4.8704)``; Darcy-Weisbach with the
Colebrook friction factor, which comes from the library ``fluids`` (its explicit Clamond solution
agrees with the implicit equation to the last digits). Worked values stand in ``tests/published``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from stationsim.physics.pumps import G

HAZEN_WILLIAMS = 10.67
"""Constant of the Hazen-Williams loss in SI units."""

LAMINAR_REYNOLDS = 2040.0
"""Reynolds number below which the flow is taken as laminar, as the library does [-]."""

Friction = Literal["hazen-williams", "darcy-weisbach", "none"]


@dataclass(frozen=True)
class Pipe:
    """One pipe with its fittings.

    Parameters
    ----------
    length_m
        Length [m].
    diameter_m
        Inside diameter [m].
    friction
        Which formula gives the friction.
    c_factor
        Hazen-Williams C [-].
    roughness_m
        Height of roughness for Darcy-Weisbach [m].
    viscosity_m2s
        Kinematic viscosity for Darcy-Weisbach [m2/s].
    fittings_k
        Sum of the loss coefficients of fittings, in velocity heads [-].
    """

    length_m: float
    diameter_m: float
    friction: Friction = "hazen-williams"
    c_factor: float = 120.0
    roughness_m: float = 0.0
    viscosity_m2s: float = 1.14e-6
    fittings_k: float = 0.0

    @property
    def area_m2(self) -> float:
        """Bore area [m2]."""
        return math.pi * self.diameter_m * self.diameter_m / 4.0

    @property
    def volume_m3(self) -> float:
        """Water that the pipe holds [m3]."""
        return self.area_m2 * self.length_m

    @property
    def fittings_s2m5(self) -> float:
        """Loss of the fittings as a coefficient of the flow squared [s2/m5]."""
        return self.fittings_k / (2.0 * G * self.area_m2 * self.area_m2)

    def velocity_ms(self, flow_m3s: float) -> float:
        """Return the mean velocity [m/s].

        Parameters
        ----------
        flow_m3s
            Flow [m3/s].
        """
        return flow_m3s / self.area_m2

    def friction_m(self, flow_m3s: float) -> float:
        """Return the friction loss [m].

        Parameters
        ----------
        flow_m3s
            Flow, nought or more [m3/s].
        """
        if flow_m3s <= 0.0 or self.friction == "none" or self.length_m == 0.0:
            return 0.0
        if self.friction == "hazen-williams":
            slope = HAZEN_WILLIAMS * (flow_m3s / self.c_factor) ** 1.852 / self.diameter_m**4.8704
            return float(slope * self.length_m)
        velocity = self.velocity_ms(flow_m3s)
        if velocity * self.diameter_m < LAMINAR_REYNOLDS * self.viscosity_m2s:
            # Hagen-Poiseuille: the factor 64 / Re put in, so that no Re near nought divides
            bore_m2 = self.diameter_m * self.diameter_m
            return 32.0 * self.viscosity_m2s * self.length_m * velocity / (G * bore_m2)
        factor = self.friction_factor(flow_m3s)
        return factor * self.length_m / self.diameter_m * velocity * velocity / (2.0 * G)

    def friction_factor(self, flow_m3s: float) -> float:
        """Return the Darcy friction factor [-].

        Parameters
        ----------
        flow_m3s
            Flow, more than nought [m3/s].
        """
        # heavy: only a Darcy-Weisbach pipe pays
        from fluids.friction import friction_factor

        reynolds = self.velocity_ms(flow_m3s) * self.diameter_m / self.viscosity_m2s
        return float(friction_factor(Re=reynolds, eD=self.roughness_m / self.diameter_m))

    def loss_m(self, flow_m3s: float) -> float:
        """Return friction and fittings together [m].

        Parameters
        ----------
        flow_m3s
            Flow, nought or more [m3/s].
        """
        return self.friction_m(flow_m3s) + self.fittings_s2m5 * flow_m3s * flow_m3s


@dataclass(frozen=True)
class ForceMain:
    """The main from the common header to where it discharges.

    Parameters
    ----------
    pipes
        Pipes in series; each carries the whole flow.
    discharge_level_m
        Level of the free discharge (or its highest point) above the well's floor [m].
    """

    pipes: tuple[Pipe, ...]
    discharge_level_m: float

    @property
    def shut(self) -> bool:
        """Whether nothing can pass."""
        return False

    def loss_m(self, flow_m3s: float) -> float:
        """Return the loss of all pipes [m].

        Parameters
        ----------
        flow_m3s
            Flow, nought or more [m3/s].
        """
        return sum(pipe.loss_m(flow_m3s) for pipe in self.pipes)


@dataclass(frozen=True)
class TroubledMain(ForceMain):
    """A force main with something wrong in it.

    Parameters
    ----------
    pipes, discharge_level_m
        As of the sound one [m]; of a broken one the level of the break.
    flow_left
        It loses at this part of a flow what it lost at the whole [-]; nought: it is shut.
    air_m
        Head that trapped air costs at any flow [m]: the water falls on the far side of a high point
        without giving that head back.
    way
        Part of the way that the water goes, and so part of the loss [-].
    """

    flow_left: float = 1.0
    air_m: float = 0.0
    way: float = 1.0

    @property
    def shut(self) -> bool:
        """Whether nothing can pass."""
        return self.flow_left <= 0.0

    def loss_m(self, flow_m3s: float) -> float:
        """Return the loss on the way, and what the air costs [m]; infinite when it is shut.

        Parameters
        ----------
        flow_m3s
            Flow, nought or more [m3/s].
        """
        if self.shut:
            return math.inf
        return self.way * super().loss_m(flow_m3s / self.flow_left) + self.air_m


def troubled(
    main: ForceMain, flow_left: float, air_m: float, way: float, header_level_m: float
) -> ForceMain:
    """Return a force main in its condition; the very same one when it is sound.

    Nobody says where along its way a main rises. A break is taken to lie as far up as along: at the
    level of the header and that part of the rise from there.

    Parameters
    ----------
    main
        The sound one.
    flow_left, air_m, way
        See :class:`TroubledMain`: a part [-], a head [m], a part [-].
    header_level_m
        Level from which the main rises [m above floor].
    """
    if flow_left == 1.0 and air_m == 0.0 and way == 1.0:
        return main
    level_m = main.discharge_level_m
    if way != 1.0:
        level_m = header_level_m + way * (level_m - header_level_m)
    return TroubledMain(main.pipes, level_m, flow_left, air_m, way)
