"""Stage-storage: how much water stands below a level, and the other way round.

A well is a stack of layers. In each layer the plan area is a polynomial of the height above the
layer's foot, ``a0 + a1 h + a2 h^2`` (constant for a shaft, linear for benching given as a table,
quadratic for a cone), so the volume is an exact cubic and nothing is tabulated. What stands beside
the shaft (a sewer that backs up, a chamber) is added over the levels where it fills.

Sources: solid geometry; the frustum and the cone-bottomed tank are checked in ``tests/published``.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray


SAME_LEVEL_M = 1e-9
"""Marks closer than this are one: two ways to write a level differ in the last digit [m]."""


@dataclass(frozen=True)
class Part:
    """One piece of storage: a plan area that is a polynomial of height, between two levels.

    Parameters
    ----------
    from_m, to_m
        Foot and top of the piece above the floor [m]; ``to_m`` may be infinite.
    a0_m2, a1_m, a2
        Plan area ``a0 + a1 h + a2 h^2`` at height ``h`` above ``from_m`` [m2], [m], [-].
    smooth_top
        True when the piece above goes on with the same plan area, as in a curve that was fitted by
        many pieces: the top is then no corner, and nothing need be split there.
    """

    from_m: float
    to_m: float
    a0_m2: float
    a1_m: float = 0.0
    a2: float = 0.0
    smooth_top: bool = False


def cylinder(diameter_m: float, from_m: float = 0.0, to_m: float = math.inf) -> Part:
    """Return a round shaft.

    Parameters
    ----------
    diameter_m
        Inside diameter [m].
    from_m, to_m
        Foot and top above the floor [m].
    """
    return Part(from_m, to_m, math.pi * diameter_m * diameter_m / 4.0)


def box(length_m: float, width_m: float, from_m: float = 0.0, to_m: float = math.inf) -> Part:
    """Return a rectangular shaft.

    Parameters
    ----------
    length_m, width_m
        Inside measures in plan [m].
    from_m, to_m
        Foot and top above the floor [m].
    """
    return Part(from_m, to_m, length_m * width_m)


def cone(bottom_diameter_m: float, top_diameter_m: float, from_m: float, to_m: float) -> Part:
    """Return a conical piece (a hopper floor): the diameter grows linearly with height.

    Parameters
    ----------
    bottom_diameter_m, top_diameter_m
        Inside diameters at the foot and at the top [m].
    from_m, to_m
        Foot and top above the floor [m].
    """
    growth = (top_diameter_m - bottom_diameter_m) / (to_m - from_m)
    quarter = math.pi / 4.0
    return Part(
        from_m,
        to_m,
        quarter * bottom_diameter_m * bottom_diameter_m,
        quarter * 2.0 * bottom_diameter_m * growth,
        quarter * growth * growth,
    )


def frustum(
    bottom_length_m: float,
    bottom_width_m: float,
    top_length_m: float,
    top_width_m: float,
    from_m: float,
    to_m: float,
) -> Part:
    """Return a rectangular piece whose walls slope (a benched floor): box below to box above.

    Length and width each grow linearly with height. Equal lengths give a trough, benched on two
    sides; a bottom width of nought gives a wedge.

    Parameters
    ----------
    bottom_length_m, bottom_width_m
        Inside measures in plan at the foot [m].
    top_length_m, top_width_m
        Inside measures in plan at the top [m].
    from_m, to_m
        Foot and top above the floor [m].
    """
    longer = (top_length_m - bottom_length_m) / (to_m - from_m)
    wider = (top_width_m - bottom_width_m) / (to_m - from_m)
    return Part(
        from_m,
        to_m,
        bottom_length_m * bottom_width_m,
        bottom_length_m * wider + bottom_width_m * longer,
        longer * wider,
    )


def store(volume_m3: float, from_m: float, to_m: float) -> Part:
    """Return storage that fills evenly between two levels, such as a sewer that backs up.

    Parameters
    ----------
    volume_m3
        What it holds when full [m3].
    from_m, to_m
        Levels between which it fills [m].
    """
    return Part(from_m, to_m, volume_m3 / (to_m - from_m))


def table(
    levels_m: Sequence[float], areas_m2: Sequence[float], *, steps: bool = False
) -> tuple[Part, ...]:
    """Return the pieces of a table of level and plan area.

    Parameters
    ----------
    levels_m
        Levels above the floor, rising [m].
    areas_m2
        Plan area at each level [m2].
    steps
        False: area linear between the levels. True: the area of a level holds up to the next.

    Notes
    -----
    The last area goes on upwards without limit.
    """
    parts = []
    last = len(levels_m) - 1
    for i in range(last):
        low, high = levels_m[i], levels_m[i + 1]
        slope = 0.0 if steps else (areas_m2[i + 1] - areas_m2[i]) / (high - low)
        parts.append(Part(low, high, areas_m2[i], slope))
    parts.append(Part(levels_m[last], math.inf, areas_m2[last]))
    return tuple(parts)


@dataclass(frozen=True)
class Well:
    """Everything that stores water, as one curve of volume over level.

    Parameters
    ----------
    parts
        Pieces of storage; where they overlap their areas add. Together they must give a positive
        area everywhere from the floor (level 0) upwards. Above the highest finite top the area of
        the last layer goes on.

    Raises
    ------
    ValueError
        When the area is not positive somewhere.

    Notes
    -----
    ``levels_m`` and ``volumes_m3`` are the levels at which one layer ends and the next begins, and
    the volumes that stand there; ``corners_m`` are those of the levels that are no mere joint
    within a fitted curve: where the plan area may jump or its curve has a corner.
    """

    parts: tuple[Part, ...]
    levels_m: tuple[float, ...] = field(init=False, repr=False, compare=False)
    volumes_m3: tuple[float, ...] = field(init=False, repr=False, compare=False)
    corners_m: tuple[float, ...] = field(init=False, repr=False, compare=False)
    _layers: tuple[tuple[float, float, float], ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        marks = {0.0}
        for part in self.parts:
            marks.update(x for x in (part.from_m, part.to_m) if 0.0 < x < math.inf)
        levels = [0.0]
        for x in sorted(marks):
            if x - levels[-1] > SAME_LEVEL_M:
                levels.append(x)
        layers: list[tuple[float, float, float]] = []
        for i, low in enumerate(levels):
            high = levels[i + 1] if i + 1 < len(levels) else math.inf
            a0 = a1 = a2 = 0.0
            for part in self.parts:
                if part.from_m <= low + SAME_LEVEL_M and part.to_m >= high - SAME_LEVEL_M:
                    h = low - part.from_m
                    a0 += part.a0_m2 + part.a1_m * h + part.a2 * h * h
                    a1 += part.a1_m + 2.0 * part.a2 * h
                    a2 += part.a2
            layers.append((a0, a1, a2))
        if layers[-1] == (0.0, 0.0, 0.0) and len(layers) > 1:
            # the storage ends at a finite top: its last plan area goes on upwards
            a0, a1, a2 = layers[-2]
            h = levels[-1] - levels[-2]
            layers[-1] = (a0 + a1 * h + a2 * h * h, 0.0, 0.0)
        volumes = [0.0]
        for i in range(len(levels) - 1):
            a0, a1, a2 = layers[i]
            h = levels[i + 1] - levels[i]
            middle = a0 + a1 * h / 2.0 + a2 * h * h / 4.0
            if not (a0 >= 0.0 and a0 + a1 * h + a2 * h * h >= 0.0 and middle > 0.0):
                message = f"no plan area between {levels[i]:g} m and {levels[i + 1]:g} m"
                raise ValueError(message)
            volumes.append(volumes[-1] + h * (a0 + h * (a1 / 2.0 + h * a2 / 3.0)))
        if not layers[-1][0] > 0.0:
            message = f"no plan area above {levels[-1]:g} m"
            raise ValueError(message)
        object.__setattr__(self, "levels_m", tuple(levels))
        object.__setattr__(self, "volumes_m3", tuple(volumes))
        object.__setattr__(self, "corners_m", _corners(self.parts, levels))
        object.__setattr__(self, "_layers", tuple(layers))

    def area_at(self, level_m: float) -> float:
        """Return the plan area at a level [m2].

        Parameters
        ----------
        level_m
            Level above the floor [m].
        """
        i = _layer(self.levels_m, level_m)
        a0, a1, a2 = self._layers[i]
        h = level_m - self.levels_m[i]
        return a0 + h * (a1 + h * a2)

    def volume_at(self, level_m: float) -> float:
        """Return the volume that stands below a level [m3]; 0 at or below the floor.

        Parameters
        ----------
        level_m
            Level above the floor [m].
        """
        if level_m <= 0.0:
            return 0.0
        i = _layer(self.levels_m, level_m)
        a0, a1, a2 = self._layers[i]
        h = level_m - self.levels_m[i]
        return self.volumes_m3[i] + h * (a0 + h * (a1 / 2.0 + h * a2 / 3.0))

    def level_at(self, volume_m3: float) -> float:
        """Return the level at which a volume stands [m above floor].

        Parameters
        ----------
        volume_m3
            Stored volume [m3]; 0 or less gives the floor.
        """
        if volume_m3 <= 0.0:
            return 0.0
        i = _layer(self.volumes_m3, volume_m3)
        a0, a1, a2 = self._layers[i]
        rest = volume_m3 - self.volumes_m3[i]
        if a1 == 0.0 and a2 == 0.0:
            return self.levels_m[i] + rest / a0
        if rest <= 0.0:
            return self.levels_m[i]
        # the quadratic of the first two terms starts Newton; the cubic is convex or nearly so
        root = math.sqrt(max(a0 * a0 + 2.0 * a1 * rest, 0.0))
        h = 2.0 * rest / (a0 + root) if a0 + root > 0.0 else (3.0 * rest / a2) ** (1.0 / 3.0)
        if a2 != 0.0:
            for _ in range(60):
                area = a0 + h * (a1 + h * a2)
                if area == 0.0:  # at the point of a hopper, a volume that underflows
                    break
                step = (h * (a0 + h * (a1 / 2.0 + h * a2 / 3.0)) - rest) / area
                h -= step
                if abs(step) <= 4e-16 * h:
                    break
        return self.levels_m[i] + h

    def levels_at(self, volumes_m3: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the level of each of many volumes [m above floor].

        Parameters
        ----------
        volumes_m3
            Stored volumes [m3], any shape of one dimension.
        """
        volumes = np.asarray(volumes_m3, dtype=float)
        which = np.searchsorted(np.asarray(self.volumes_m3), volumes, side="right") - 1
        levels = np.zeros_like(volumes)
        for i, (a0, a1, a2) in enumerate(self._layers):
            here = which == i
            if a1 == 0.0 and a2 == 0.0:
                levels[here] = self.levels_m[i] + (volumes[here] - self.volumes_m3[i]) / a0
            else:
                levels[here] = [self.level_at(float(v)) for v in volumes[here]]
        floored: NDArray[np.float64] = np.maximum(levels, 0.0)
        return floored


def _corners(parts: tuple[Part, ...], levels_m: list[float]) -> tuple[float, ...]:
    """Return the levels that are more than a joint within smoothly fitted curves."""
    smooth = [part.to_m for part in parts if part.smooth_top]
    if not smooth:
        return tuple(levels_m)
    # the foot of a piece that stands on a smooth top is no corner either
    ends = [0.0, *(part.to_m for part in parts if not part.smooth_top)]
    ends += [part.from_m for part in parts if not _among(smooth, part.from_m)]
    return tuple(x for x in levels_m if _among(ends, x))


def _among(values: list[float], x: float) -> bool:
    return any(abs(value - x) <= SAME_LEVEL_M for value in values)


def _layer(marks: tuple[float, ...], x: float) -> int:
    """Return the index of the last mark at or below x (0 when x lies below all)."""
    return max(bisect_right(marks, x) - 1, 0)
