"""The incoming sewer as storage: pipes and manholes in which the water stands level.

When the pumps can't keep up, water backs up into the sewer. The surface is taken as horizontal, at
the level of the well: what the pipes carry when they aren't backed up, the slope of the water
surface and air that is trapped under a crown are left out. With a large flow arriving the true
surface rises upstream, so that manholes far away can spill earlier than this says.

A pipe is a straight round tube. The wetted segment of its section has a closed form, and so has
its integral over the depth; along an inclined pipe the depth falls linearly, so that the volume
below a level is a difference of two such integrals: exact, with no sum over slices. The plan area
is the difference of two segment areas. Where a pipe is so flat that the difference would lose
digits, a Gauss rule over the same narrow range of depths takes its place, right to the last few
digits. ``Sewer.parts`` hands the lot to a ``Well``.

References
----------
Circular segment: geometry. The volume of a pipe filled to its axis at one end is the hoof of
Archimedes, two thirds of radius squared times length. Checked in ``tests/published``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from stationsim.physics.well import SAME_LEVEL_M, Part, cylinder

if TYPE_CHECKING:
    from collections.abc import Callable

THINNEST_M = 1e-7
"""No piece of the stage-storage curve is made thinner than this [m]."""

AREA_TOLERANCE = 1e-3
"""How far the plan area of the pieces may be off, of the pipes' greatest plan area [-]."""

VOLUME_TOLERANCE = 1e-6
"""How far their volume may be off between knots, of the volume there [-] (or of a thousandth of
the full volume, where less stands)."""

_IN_HAND = 0.8  # the error may be a little greater between the places at which it is checked
_CHECKED_AT = (0.06, 0.14, 0.25, 0.4, 0.5, 0.6, 0.75, 0.86, 0.94)
_SMALL_ANGLE = 0.8
_SERIES_TERMS = 11
_NARROW = 10.0  # a range of depths this many times its width above the invert is narrow
_GAUSS: tuple[tuple[float, float], ...] = tuple(
    zip(*(x.tolist() for x in np.polynomial.legendre.leggauss(6)), strict=True)
)


def half_angle(depth_m: float, diameter_m: float) -> float:
    """Return half the angle at the centre over which a round pipe is wetted [rad].

    Parameters
    ----------
    depth_m
        Depth of water in the section [m]; below 0 counts as 0, above the diameter as full.
    diameter_m
        Inside diameter [m].
    """
    return 2.0 * math.asin(math.sqrt(min(max(depth_m / diameter_m, 0.0), 1.0)))


def wetted_area_m2(depth_m: float, diameter_m: float) -> float:
    """Return the wetted area of a round pipe's section [m2].

    Parameters
    ----------
    depth_m
        Depth of water in the section [m].
    diameter_m
        Inside diameter [m].
    """
    angle = half_angle(depth_m, diameter_m)
    return diameter_m * diameter_m / 4.0 * _angle_less_sine(angle)


def wetted_perimeter_m(depth_m: float, diameter_m: float) -> float:
    """Return the wetted perimeter of a round pipe's section [m].

    Parameters
    ----------
    depth_m
        Depth of water in the section [m].
    diameter_m
        Inside diameter [m].
    """
    return diameter_m * half_angle(depth_m, diameter_m)


def hydraulic_radius_m(depth_m: float, diameter_m: float) -> float:
    """Return wetted area over wetted perimeter [m]; 0 for a dry pipe.

    Parameters
    ----------
    depth_m
        Depth of water in the section [m].
    diameter_m
        Inside diameter [m].
    """
    perimeter = wetted_perimeter_m(depth_m, diameter_m)
    return wetted_area_m2(depth_m, diameter_m) / perimeter if perimeter > 0.0 else 0.0


def surface_width_m(depth_m: float, diameter_m: float) -> float:
    """Return the width of the water surface in a round pipe's section [m].

    Parameters
    ----------
    depth_m
        Depth of water in the section [m].
    diameter_m
        Inside diameter [m].
    """
    if not 0.0 < depth_m < diameter_m:
        return 0.0
    return 2.0 * math.sqrt(depth_m * (diameter_m - depth_m))


def _angle_less_sine(angle: float) -> float:
    """Return ``a - sin a cos a``, without loss of digits at small angles."""
    if angle > _SMALL_ANGLE:
        return angle - math.sin(angle) * math.cos(angle)
    total, term = 0.0, 2.0 * angle
    for k in range(1, _SERIES_TERMS + 1):
        term *= -4.0 * angle * angle / ((2 * k) * (2 * k + 1))
        total -= term
    return total / 2.0


def _area_integral_m3(depth_m: float, diameter_m: float) -> float:
    """Return the wetted area integrated from no depth to this one [m3]; it goes on above full."""
    radius = diameter_m / 2.0
    if depth_m <= 0.0:
        return 0.0
    if depth_m >= diameter_m:
        return math.pi * radius * radius * (depth_m - radius)
    angle = half_angle(depth_m, diameter_m)
    if angle > _SMALL_ANGLE:
        sine = math.sin(angle)
        whole = sine - angle * math.cos(angle) - sine * sine * sine / 3.0
    else:
        # the terms of angle cubed cancel: sum what is left of the three series
        whole, power, factorial, thrice = 0.0, angle**5, 120.0, 3.0**5
        for k in range(2, _SERIES_TERMS + 2):
            term = power / factorial * (2 * k + (3.0 - thrice) / 12.0)
            whole += term if k % 2 else -term
            power *= angle * angle
            factorial *= (2 * k + 2) * (2 * k + 3)
            thrice *= 9.0
    return radius * radius * radius * whole


@dataclass(frozen=True)
class SewerPipe:
    """One straight round pipe that rises away from the well, its ends cut square.

    Parameters
    ----------
    diameter_m
        Inside diameter [m].
    length_m
        Length along the pipe [m].
    slope
        Rise over the distance in plan [-]; 0 for a pipe that lies level.
    invert_m
        Invert at the lower end, at or above the well's floor [m above floor].

    Raises
    ------
    ValueError
        When a measure is not positive, or the slope or the invert lies below 0.
    """

    diameter_m: float
    length_m: float
    slope: float
    invert_m: float

    def __post_init__(self) -> None:
        for name, value in (("diameter_m", self.diameter_m), ("length_m", self.length_m)):
            if not 0.0 < value < math.inf:
                message = f"a sewer's {name} must be more than 0 and finite (found {value:g})"
                raise ValueError(message)
        for name, value in (("slope", self.slope), ("invert_m", self.invert_m)):
            if not 0.0 <= value < math.inf:
                message = f"a sewer's {name} must be 0 or more and finite (found {value:g})"
                raise ValueError(message)

    @property
    def full_m3(self) -> float:
        """What the pipe holds when full [m3]."""
        return math.pi * self.diameter_m * self.diameter_m / 4.0 * self.length_m

    @property
    def upper_invert_m(self) -> float:
        """Invert at the upper end [m above floor]: where the next pipe may go on."""
        return self.invert_m + self.slope * self.length_m * self._cosine

    @property
    def top_m(self) -> float:
        """Level at which the pipe is full, the crown at its upper end [m above floor]."""
        return self.crown_at(self.length_m)

    @property
    def greatest_area_m2(self) -> float:
        """Plan area of the water at half height, the greatest that there is [m2]."""
        return self.area_at((self.invert_m + self.top_m) / 2.0)

    @property
    def _cosine(self) -> float:
        return 1.0 / math.sqrt(1.0 + self.slope * self.slope)

    @property
    def marks_m(self) -> tuple[float, ...]:
        """Levels at which the curve of the plan area has a corner [m above floor], rising."""
        crown = self.diameter_m * self._cosine
        low, high = self.invert_m, self.upper_invert_m
        return tuple(sorted((low, low + crown, high, high + crown)))

    def crown_at(self, along_m: float) -> float:
        """Return the level of the crown at a place along the pipe [m above floor].

        Parameters
        ----------
        along_m
            Distance from the lower end, along the pipe [m].
        """
        return self.invert_m + (self.slope * along_m + self.diameter_m) * self._cosine

    def volume_at(self, level_m: float) -> float:
        """Return the water that the pipe holds below a level [m3].

        Parameters
        ----------
        level_m
            Level above the well's floor [m].
        """
        least, most = self._depths(level_m)
        if least + most <= self.diameter_m:
            return self._mean(_area_integral_m3, wetted_area_m2, least, most) * self.length_m
        # upside down, the pipe holds what is missing
        least, most = self.diameter_m - most, self.diameter_m - least
        missing = self._mean(_area_integral_m3, wetted_area_m2, least, most) * self.length_m
        return self.full_m3 - missing

    def area_at(self, level_m: float) -> float:
        """Return the plan area of the water's surface in the pipe [m2].

        Parameters
        ----------
        level_m
            Level above the well's floor [m].
        """
        least, most = self._depths(level_m)
        if least + most > self.diameter_m:
            least, most = self.diameter_m - most, self.diameter_m - least
        width = self._mean(wetted_area_m2, surface_width_m, least, most)
        return width * self.length_m / self._cosine

    def _depths(self, level_m: float) -> tuple[float, float]:
        """Return the depths at the upper and the lower end [m], which may lie outside the pipe."""
        deep = (level_m - self.invert_m) / self._cosine
        return deep - self.slope * self.length_m, deep

    def _mean(
        self,
        integral: Callable[[float, float], float],
        of: Callable[[float, float], float],
        least: float,
        most: float,
    ) -> float:
        """Return the mean of something over all depths along the pipe, its lower half at most."""
        if most <= 0.0:
            return 0.0
        wide = most - least
        if least <= _NARROW * wide:
            return (integral(most, self.diameter_m) - integral(least, self.diameter_m)) / wide
        middle = (least + most) / 2.0
        return sum(w / 2.0 * of(middle + x * wide / 2.0, self.diameter_m) for x, w in _GAUSS)


@dataclass(frozen=True)
class Manhole:
    """A round shaft on the sewer.

    Parameters
    ----------
    diameter_m
        Inside diameter [m].
    foot_m
        Level from which it stores water of its own [m above floor]: the crown of the pipe on which
        it stands (``SewerPipe.crown_at``), so that no water counts twice.
    cover_m
        Level of its cover, where it spills [m above floor].

    Raises
    ------
    ValueError
        When it has no width, its foot lies below the floor, or its cover not above its foot.
    """

    diameter_m: float
    foot_m: float
    cover_m: float

    def __post_init__(self) -> None:
        if not 0.0 < self.diameter_m < math.inf:
            message = f"a manhole's diameter_m must be more than 0 (found {self.diameter_m:g})"
            raise ValueError(message)
        if not 0.0 <= self.foot_m < self.cover_m < math.inf:
            message = (
                "a manhole's cover_m must lie above its foot_m, and that not below the floor "
                f"(found foot {self.foot_m:g}, cover {self.cover_m:g})"
            )
            raise ValueError(message)


@dataclass(frozen=True)
class Sewer:
    """Pipes and manholes that fill together with the well.

    Parameters
    ----------
    pipes
        The pipes; each has its own invert.
    manholes
        The manholes on them.
    """

    pipes: tuple[SewerPipe, ...]
    manholes: tuple[Manhole, ...] = ()

    @property
    def lowest_cover_m(self) -> float:
        """Level at which the first manhole spills [m above floor]; infinity without manholes.

        It is a candidate for the crest of the station's spillway, beside the well's own cover.
        """
        return min((manhole.cover_m for manhole in self.manholes), default=math.inf)

    def volume_at(self, level_m: float) -> float:
        """Return what pipes and manholes hold below a level, by the closed form [m3].

        Parameters
        ----------
        level_m
            Level above the well's floor [m].
        """
        shafts = sum(
            math.pi / 4.0 * m.diameter_m**2 * max(min(level_m, m.cover_m) - m.foot_m, 0.0)
            for m in self.manholes
        )
        return self._pipes_m3(level_m) + shafts

    def area_at(self, level_m: float) -> float:
        """Return the plan area in pipes and manholes, by the closed form [m2].

        Parameters
        ----------
        level_m
            Level above the well's floor [m].
        """
        shafts = sum(
            math.pi / 4.0 * m.diameter_m**2
            for m in self.manholes
            if m.foot_m <= level_m < m.cover_m
        )
        return self._pipes_m2(level_m) + shafts

    def parts(
        self, area_tolerance: float = AREA_TOLERANCE, volume_tolerance: float = VOLUME_TOLERANCE
    ) -> tuple[Part, ...]:
        """Return the storage as pieces for a ``Well``.

        Manholes are exact. The pipes' plan area is fitted by pieces that are quadratic in height
        and exact in volume and in area at each knot; knots are set where the curve has corners,
        and the pieces between are halved until both tolerances hold, with a fifth in hand, at nine
        places in each. The joints between halves are smooth: they are no corners of the well.

        Parameters
        ----------
        area_tolerance
            How far the plan area may be off, of the pipes' greatest plan area [-].
        volume_tolerance
            How far the volume may be off between knots, of the volume that stands in the pipes
            there, or of a thousandth of what they hold where less stands [-].
        """
        marks: list[float] = []
        for level in sorted(x for pipe in self.pipes for x in pipe.marks_m):
            if not marks or level - marks[-1] > SAME_LEVEL_M:
                marks.append(level)
        greatest_m2 = max((pipe.greatest_area_m2 for pipe in self.pipes), default=0.0)
        least_m3 = 1e-3 * sum(pipe.full_m3 for pipe in self.pipes)
        found: list[Part] = []
        to_fit = list(pairwise(marks))[::-1]
        while to_fit:
            low, high = to_fit.pop()
            part = self._fitted(low, high, smooth_top=high not in marks)
            if high - low > THINNEST_M and not self._good(
                part, _IN_HAND * area_tolerance * greatest_m2, _IN_HAND * volume_tolerance, least_m3
            ):
                middle = (low + high) / 2.0
                to_fit += [(middle, high), (low, middle)]
            else:
                found.append(part)
        found += [cylinder(m.diameter_m, m.foot_m, m.cover_m) for m in self.manholes]
        return tuple(found)

    def _pipes_m3(self, level_m: float) -> float:
        return sum(pipe.volume_at(level_m) for pipe in self.pipes)

    def _pipes_m2(self, level_m: float) -> float:
        return sum(pipe.area_at(level_m) for pipe in self.pipes)

    def _fitted(self, low_m: float, high_m: float, *, smooth_top: bool) -> Part:
        """Return the quadratic that has the areas at both ends and the volume between."""
        h = high_m - low_m
        foot = self._pipes_m2(low_m)
        more = self._pipes_m2(high_m) - foot
        mean_more = (self._pipes_m3(high_m) - self._pipes_m3(low_m)) / h - foot
        linear, square = 6.0 * mean_more - 2.0 * more, 3.0 * more - 6.0 * mean_more
        return Part(low_m, high_m, foot, linear / h, square / (h * h), smooth_top)

    def _good(self, part: Part, area_m2: float, volume_tolerance: float, least_m3: float) -> bool:
        whole = part.to_m - part.from_m
        begin = self._pipes_m3(part.from_m)
        for share in _CHECKED_AT:
            h = share * whole
            area = part.a0_m2 + h * (part.a1_m + h * part.a2)
            if area < 0.0 or abs(area - self._pipes_m2(part.from_m + h)) > area_m2:
                return False
            stands = begin + h * (part.a0_m2 + h * (part.a1_m / 2.0 + h * part.a2 / 3.0))
            true = self._pipes_m3(part.from_m + h)
            if abs(stands - true) > volume_tolerance * max(true, least_m3):
                return False
        return True
