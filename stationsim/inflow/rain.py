"""Rain as cumulative depth: a block, a 24-hour distribution, a Chicago storm, or a series.

Every storm is the same thing in the end, `Rain`: the depth fallen by each of some times, straight
between them. So rain is uniform within an interval, and its depth is exact at the ends of each.

The four 24-hour distributions are tabulated at half hours, so a burst is spread evenly over its
half hour: type II falls at 76 mm/h for 100 mm in all between 11.5 and 12.0 h, where finer printings
put most of that into the last quarter. Which distribution, depth and intensity law hold for a place
is for its own rainfall statistics and the local code to say; nothing here knows how often a storm
comes back.

References
----------
24-hour distributions: Federal Highway Administration, Highway Hydrology, Hydraulic Design Series
No. 2, second edition, FHWA-NHI-02-001, October 2002, table 6.5, page 6-35. (The text on its page
6-33 puts the peak of type I at about 8 h; the table has it between 9.5 and 10 h, and the table
stands here.)
Chicago storm: C. J. Keifer and H. H. Chu, Synthetic storm pattern for drainage design, Journal of
the Hydraulics Division, ASCE, 83(4), 1957; the cumulative form worked out here after A. L. L.
Silveira, Revista Brasileira de Recursos Hidricos 21(3), 2016 (abstract read).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, get_args

import numpy as np

from stationsim.inflow.segments import DAY_S, INSTANT_S

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray

DayType = Literal["I", "IA", "II", "III"]
"""The 24-hour distributions of the Natural Resources Conservation Service."""

MOST_INTERVALS = 100_000
"""Most intervals that a Chicago storm is cut into [-]."""

_HALF_HOURS: dict[DayType, tuple[int, ...]] = {
    "I": (
        0, 8, 17, 26, 35, 45, 55, 65, 76, 87, 99, 112, 126, 140, 156, 174, 194, 219, 254, 303, 515,
        583, 624, 655, 682, 706, 728, 748, 766, 783, 799, 815, 830, 844, 857, 870, 882, 893, 905,
        916, 926, 936, 946, 956, 965, 974, 983, 992, 1000,
    ),
    "IA": (
        0, 10, 20, 35, 50, 67, 82, 98, 116, 135, 156, 180, 206, 237, 268, 310, 425, 480, 520, 550,
        577, 601, 624, 645, 664, 683, 701, 719, 736, 753, 769, 785, 800, 815, 830, 844, 858, 871,
        884, 896, 908, 920, 932, 944, 956, 967, 978, 989, 1000,
    ),
    "II": (
        0, 5, 11, 16, 22, 28, 35, 41, 48, 56, 63, 71, 80, 89, 98, 109, 120, 133, 147, 162, 181,
        204, 235, 283, 663, 735, 772, 799, 820, 838, 854, 868, 880, 891, 902, 912, 921, 929, 937,
        945, 952, 959, 965, 972, 978, 984, 989, 995, 1000,
    ),
    "III": (
        0, 5, 10, 15, 20, 25, 31, 37, 43, 50, 57, 64, 72, 81, 91, 102, 114, 128, 146, 166, 189,
        212, 250, 298, 500, 702, 750, 784, 811, 834, 854, 872, 886, 898, 910, 920, 928, 936, 943,
        950, 957, 963, 969, 975, 981, 986, 991, 996, 1000,
    ),
}  # fmt: skip
"""Thousandths of the day's depth fallen by 0, 0.5 ... 24 h."""


@dataclass(frozen=True)
class Rain:
    """Rain on the ground: the depth fallen by each of some times, straight between them.

    Parameters
    ----------
    at_s
        When its time 0 is [s since the start of the episode]; may be before the start.
    times_s
        Ends of the intervals since ``at_s``, strictly rising [s]; two or more.
    fallen_m
        Depth fallen by each [m], beginning with 0 and never falling.
    """

    at_s: float
    times_s: Sequence[float]
    fallen_m: Sequence[float]

    def __post_init__(self) -> None:
        times = np.asarray(self.times_s, dtype=np.float64)
        fallen = np.asarray(self.fallen_m, dtype=np.float64)
        object.__setattr__(self, "times_s", tuple(times.tolist()))
        object.__setattr__(self, "fallen_m", tuple(fallen.tolist()))
        if times.ndim != 1 or times.shape != fallen.shape or times.size < 2:
            message = (
                f"rain needs a depth for each time, and two times or more ({times.size} times,"
                f" {fallen.size} depths)"
            )
            raise ValueError(message)
        if not (
            math.isfinite(self.at_s) and np.isfinite(times).all() and np.isfinite(fallen).all()
        ):
            message = "the times and depths of rain must be finite numbers"
            raise ValueError(message)
        short = np.diff(times) < INSTANT_S
        if bool(np.any(short)):
            at = int(np.argmax(short))
            message = (
                f"the times of rain must rise, by a microsecond or more ({times[at + 1]:g} s"
                f" follows {times[at]:g} s)"
            )
            raise ValueError(message)
        below = np.diff(fallen) < 0.0
        if fallen[0] != 0.0 or bool(np.any(below)):
            at = int(np.argmax(below)) + 1 if fallen[0] == 0.0 else 0
            message = (
                f"the depth fallen by {times[at]:g} s is {fallen[at]:g} m (accepted: 0 at first,"
                " then never less than before)"
            )
            raise ValueError(message)

    @property
    def depth_m(self) -> float:
        """Depth in all [m]."""
        return self.fallen_m[-1]

    @property
    def begins_s(self) -> float:
        """Time of its first interval [s since the start of the episode]."""
        return self.at_s + self.times_s[0]

    @property
    def ends_s(self) -> float:
        """End of its last interval [s since the start of the episode]."""
        return self.at_s + self.times_s[-1]

    @property
    def intensity_ms(self) -> NDArray[np.float64]:
        """Depth per time within each interval [m/s]."""
        depths: NDArray[np.float64] = np.diff(np.asarray(self.fallen_m))
        return depths / np.diff(np.asarray(self.times_s))

    def fallen_by_m(self, times_s: ArrayLike) -> NDArray[np.float64]:
        """Return the depth fallen by each of many times [m].

        Parameters
        ----------
        times_s
            Times since the start of the episode [s].
        """
        since = np.asarray(times_s, dtype=np.float64) - self.at_s
        depth: NDArray[np.float64] = np.interp(since, self.times_s, self.fallen_m)
        return depth


@dataclass(frozen=True)
class IntensityLaw:
    """Intensity that falls with duration: ``i(d) = scale / (d + offset)^exponent``.

    The mean intensity over a duration, for one frequency at one place. The coefficients that
    handbooks print are for minutes and for millimetres (or inches) an hour: see `from_printed`.

    Parameters
    ----------
    scale
        Intensity [m/s] times s^exponent.
    offset_s
        What is added to the duration [s], 0 or more.
    exponent
        Power [-], more than 0.
    """

    scale: float
    offset_s: float
    exponent: float

    def __post_init__(self) -> None:
        for name, value, open_low in (
            ("scale", self.scale, True),
            ("offset", self.offset_s, False),
            ("exponent", self.exponent, True),
        ):
            if not 0.0 <= value < math.inf or (open_low and value == 0.0):
                word = "more than 0" if open_low else "0 or more"
                message = f"the {name} of an intensity law is {value:g} (accepted: {word}, finite)"
                raise ValueError(message)
        if self.offset_s == 0.0 and self.exponent >= 1.0:
            message = (
                f"an intensity law with offset 0 and exponent {self.exponent:g} puts all its depth"
                " into no time (accepted: an exponent below 1, or an offset above 0)"
            )
            raise ValueError(message)

    @classmethod
    def from_printed(
        cls, a: float, b: float, n: float, *, depth_unit_m: float = 1e-3
    ) -> IntensityLaw:
        """Return the law ``i = a / (d + b)^n`` as handbooks print it.

        Parameters
        ----------
        a
            Coefficient, for an intensity in depth units an hour and a duration in minutes [any].
        b
            What is added to the duration in minutes [any].
        n
            Exponent [-].
        depth_unit_m
            One unit of depth [m]: a millimetre, or 0.0254 for inches an hour.
        """
        return cls(a * depth_unit_m / 3600.0 * 60.0**n, 60.0 * b, n)

    def depth_m(self, durations_s: ArrayLike) -> NDArray[np.float64]:
        """Return the depth that falls in each of many durations [m].

        Parameters
        ----------
        durations_s
            Durations [s], 0 or more.
        """
        duration = np.asarray(durations_s, dtype=np.float64)
        with np.errstate(divide="ignore", invalid="ignore"):
            depth = self.scale * duration / (duration + self.offset_s) ** self.exponent
        return np.where(duration > 0.0, depth, 0.0)


def block(at_s: float, depth_m: float, duration_s: float) -> Rain:
    """Return rain that falls evenly.

    Parameters
    ----------
    at_s
        When it begins [s since the start of the episode].
    depth_m
        Depth in all [m].
    duration_s
        How long it lasts [s].
    """
    return Rain(at_s, (0.0, duration_s), (0.0, depth_m))


def nrcs(at_s: float, depth_m: float, kind: DayType) -> Rain:
    """Return a depth spread over 24 hours as one of the four distributions.

    Parameters
    ----------
    at_s
        When the 24 hours begin [s since the start of the episode].
    depth_m
        Depth in all [m].
    kind
        ``I``, ``IA``, ``II`` or ``III``; maps of where each holds are in the source.
    """
    if kind not in get_args(DayType):
        message = f"no 24-hour distribution is named {kind!r} (accepted: I, IA, II, III)"
        raise ValueError(message)
    fractions = np.asarray(_HALF_HOURS[kind]) / 1000.0
    return from_fractions(at_s, np.linspace(0.0, DAY_S, fractions.size), fractions, depth_m)


def chicago(
    at_s: float,
    duration_s: float,
    law: IntensityLaw,
    *,
    peak_at: float,
    interval_s: float = 300.0,
) -> Rain:
    """Return a storm that holds the depth of an intensity law in every window about its peak.

    The window that begins a part ``peak_at`` of its length before the peak holds exactly the depth
    of the law, for every length up to the storm's. Within an interval the rain is uniform, so
    depths are exact at the ends of the intervals, and the peak is the mean of its interval: five
    minutes may cut the theoretical peak by two fifths. Compare depths, not peaks.

    Parameters
    ----------
    at_s
        When it begins [s since the start of the episode].
    duration_s
        How long it lasts [s].
    law
        How intensity falls with duration.
    peak_at
        Where the peak is, as a part of the duration [-], 0 to 1.
    interval_s
        Length of the intervals [s]; the last one may be shorter.
    """
    for name, value in (("duration", duration_s), ("interval", interval_s)):
        if not 0.0 < value < math.inf:
            message = f"the {name} of a storm is {value:g} s (accepted: more than 0, finite)"
            raise ValueError(message)
    if not 0.0 <= peak_at <= 1.0:
        message = f"the place of the peak is {peak_at:g} (accepted: 0 to 1 of the duration)"
        raise ValueError(message)
    if (law.exponent - 1.0) * duration_s > law.offset_s:
        message = (
            f"under this intensity law {duration_s / 60.0:g} min bring less depth than shorter rain"
            f" does (accepted: up to {law.offset_s / (law.exponent - 1.0) / 60.0:g} min, or an"
            " exponent up to 1)"
        )
        raise ValueError(message)
    count = math.ceil(duration_s / interval_s - 1e-9)
    if count > MOST_INTERVALS:
        message = (
            f"a storm of {count} intervals of {interval_s:g} s"
            f" (accepted: up to {MOST_INTERVALS}; take a longer interval)"
        )
        raise ValueError(message)
    times = np.append(interval_s * np.arange(count), duration_s)
    peak = peak_at * duration_s
    before = np.maximum(peak - times, 0.0) / (peak_at or 1.0)
    after = np.maximum(times - peak, 0.0) / ((1.0 - peak_at) or 1.0)
    fallen = peak_at * (law.depth_m(duration_s) - law.depth_m(before)) + (
        1.0 - peak_at
    ) * law.depth_m(after)
    fallen[0] = 0.0  # H(D) - H(peak / peak_at), nought but for rounding
    return Rain(at_s, times.tolist(), np.maximum.accumulate(fallen).tolist())


def from_depths(at_s: float, times_s: ArrayLike, depths_m: ArrayLike) -> Rain:
    """Return rain by the depth of each interval.

    Parameters
    ----------
    at_s
        When its time 0 is [s since the start of the episode].
    times_s
        Ends of the intervals, one more than there are depths [s].
    depths_m
        Depth in each interval [m], 0 or more.
    """
    depths = np.asarray(depths_m, dtype=np.float64)
    below = ~(depths >= 0.0)
    if bool(np.any(below)):
        at = int(np.argmax(below))
        message = f"the depth of interval {at + 1} is {depths[at]:g} m (accepted: 0 or more)"
        raise ValueError(message)
    return Rain(at_s, np.asarray(times_s).tolist(), [0.0, *np.cumsum(depths).tolist()])


def from_fractions(at_s: float, times_s: ArrayLike, fractions: ArrayLike, depth_m: float) -> Rain:
    """Return a depth spread as a distribution of one's own.

    Parameters
    ----------
    at_s
        When its time 0 is [s since the start of the episode].
    times_s
        Times of the distribution [s].
    fractions
        Part of the depth fallen by each [-], from 0 to 1.
    depth_m
        Depth in all [m].
    """
    parts = np.asarray(fractions, dtype=np.float64)
    if parts.size and parts[-1] != 1.0:
        message = f"a distribution must end at 1 (found {parts[-1]:g})"
        raise ValueError(message)
    return Rain(at_s, np.asarray(times_s).tolist(), (parts * depth_m).tolist())
