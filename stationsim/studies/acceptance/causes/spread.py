"""How far readings of a sound station may be off, and which of them are off together.

The difference between a reading and what was expected has three parts. One is of that reading
alone. One is shared by all readings of an instrument: the gain of the flow meter, the zero of a
gauge, the area of the well, the gain of the clamp meter. One is of what was expected: no pump lies
exactly on its sheet, and no main is exactly as rough as reckoned; without it a sound station would
be accused.

The parts of instruments follow from the uncertainty of each reading, the others are those of
:class:`Likely`. All are standard deviations, taken as normal, and put together as the covariance
of the differences.

References
----------
Weighting readings by the inverse of the covariance of their errors: generalised least squares
(A. C. Aitken, Proceedings of the Royal Society of Edinburgh 55, 1936). How much of an uncertainty
an instrument shares among its readings, and how near pumps and mains lie to what was ordered:
common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from stationsim.studies.acceptance.causes.between import everywhere
from stationsim.studies.acceptance.rig import AsBuilt

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from stationsim.studies.acceptance.causes.between import Machines, Touches
    from stationsim.studies.acceptance.causes.foreseen import Outlook
    from stationsim.studies.acceptance.rig import Rig

SHARED = 0.8
"""Part of the uncertainty of a reading that all readings of its instrument share [-]."""

COMMON_OF_GAUGES = 0.6
"""The same of gauges at pumps: part that those of all pumps share [-] ..."""

OWN_OF_GAUGES = 0.5
"""... and part that the readings at one pump share beyond it [-]."""

LEAST_PART = 1e-3
"""A reading is not trusted further than this part of it, whatever its uncertainty says [-]."""


@dataclass(frozen=True)
class Likely:
    """How near a sound station lies to what was expected of it, at one standard deviation.

    Parameters
    ----------
    flow, head
        Of a pump's curve, as parts [-].
    shape
        Of its head at one of the flows it works at (shut off, alone, with one more ...) beside the
        others, as a part [-]: a sheet gives points, and a pump does not run straight between them.
    power
        Of what a pump draws, as a part of its current [-].
    speed
        Of its speed, as a part [-].
    branch
        Of the losses of fittings between a pump and the header, as a part [-].
    friction
        Of the friction of the main, as a part [-].
    lift_m
        Of the level at which the main discharges [m].
    """

    flow: float = 0.02
    head: float = 0.015
    shape: float = 0.008
    power: float = 0.04
    speed: float = 0.003
    branch: float = 0.15
    friction: float = 0.06
    lift_m: float = 0.05


class Spread:
    """The covariance of the differences between readings and what is expected of them.

    Parameters
    ----------
    outlook
        The readings.
    likely
        How near a sound station lies to what was expected.
    """

    def __init__(self, outlook: Outlook, likely: Likely | None = None) -> None:
        self._outlook = outlook
        self._likely = likely or Likely()
        self.own: NDArray[np.float64] = np.zeros(len(outlook.items))
        self.columns: dict[str, NDArray[np.float64]] = {}
        self._of_instruments()
        self._of_pumps()
        self._of_main()

    def covariance(
        self,
        places: NDArray[np.intp] | Sequence[int],
        looser: Mapping[str, float] | None = None,
    ) -> NDArray[np.float64]:
        """Return the covariance of some of the differences [products of their units].

        Parameters
        ----------
        places
            Which readings.
        looser
            By which factor a shared part is larger than in a sound station, by name.
        """
        found = np.diag(self.own[places] ** 2)
        for name, column in self.columns.items():
            size = (looser or {}).get(name, 1.0) * column[places]
            found += np.outer(size, size)
        return found

    def deviations(self, looser: Mapping[str, float] | None = None) -> NDArray[np.float64]:
        """Return the standard deviation of each difference, all parts together [its unit].

        Parameters
        ----------
        looser
            As in :meth:`covariance` [-].
        """
        whole = self.own**2
        for name, column in self.columns.items():
            whole = whole + ((looser or {}).get(name, 1.0) * column) ** 2
        found: NDArray[np.float64] = np.sqrt(whole)
        return found

    def _column(self, name: str) -> NDArray[np.float64]:
        return self.columns.setdefault(name, np.zeros(len(self._outlook.items)))

    def _of_instruments(self) -> None:
        outlook, names = self._outlook, self._outlook.station.machine_names()
        alone, area = math.sqrt(1.0 - SHARED**2), 0.5 * outlook.plan.uncertainty.area
        for place, item in enumerate(outlook.items):
            what, expected = item.reading.what, abs(float(outlook.sound[place]))
            off = max(item.off, LEAST_PART * expected, 1e-9)
            if what == "fall":
                shared = min(area * expected, 0.99 * off)
                self._column("area")[place] = shared
                self.own[place] = math.sqrt(off**2 - shared**2)
                continue
            self.own[place] = alone * off
            if what == "meter flow":
                self._column("flow meter")[place] = SHARED * off
            elif what == "header pressure":
                self._column("header gauge")[place] = SHARED * off
            elif what == "current":
                self._column("clamp meter")[place] = SHARED * off
                self._column(f"power {names[item.machine or 0]}")[place] = (
                    self._likely.power * expected
                )
            elif what == "speed":
                self.own[place] = off
                self._column(f"speed {names[item.machine or 0]}")[place] = (
                    self._likely.speed * expected
                )
            else:
                self._column("pump gauges")[place] = COMMON_OF_GAUGES * off
                self._column(f"gauge {names[item.machine or 0]}")[place] = OWN_OF_GAUGES * off
                rest = 1.0 - COMMON_OF_GAUGES**2 - OWN_OF_GAUGES**2
                self.own[place] = math.sqrt(rest) * off

    def _of_pumps(self) -> None:
        outlook, likely = self._outlook, self._likely
        for machine, unit in enumerate(outlook.rig.units):
            if not any(machine in machines for machines in outlook.lineups):
                continue

            def touches(machines: Machines, machine: int = machine) -> bool:
                return machine in machines

            if unit.curve is None:
                built = AsBuilt(outlook.station, shares=((machine, 1.0 - likely.flow),))
                self._difference(f"flow {unit.name}", built, touches)
                continue
            for name, flow, head in (("flow", likely.flow, 0.0), ("head", 0.0, likely.head)):
                built = with_unit(
                    outlook.rig,
                    machine,
                    flow_factor=unit.flow_factor * (1.0 - flow),
                    head_factor=unit.head_factor * (1.0 - head),
                )
                self._difference(f"{name} {unit.name}", built, touches, machine)
            self._shapes(unit.name, machine)
            if unit.branch is not None and unit.branch.fittings_k > 0.0:
                loss = likely.branch * unit.branch.fittings_s2m5
                built = AsBuilt(outlook.station, valves_s2m5=((machine, loss),))
                self._difference(f"branch {unit.name}", built, touches)

    def _shapes(self, name: str, machine: int) -> None:
        """Add how a pump lies off its curve at one flow and not at the others.

        How many run together stands for the flow.
        """
        items, head = self._outlook.items, self.columns[f"head {name}"]
        part = self._likely.shape / self._likely.head
        for place, item in enumerate(items):
            machines = item.reading.machines
            if machine in machines:
                shut = item.reading.what == "shut-off pressure"
                at = "shut off" if shut else f"among {len(machines)}"
                self._column(f"shape {name} {at}")[place] = part * head[place]

    def _of_main(self) -> None:
        outlook, likely = self._outlook, self._likely
        if outlook.station.force_main is None:
            return
        for name, built in (
            ("friction", with_friction(outlook.rig, 1.0 + likely.friction)),
            ("lift", AsBuilt(outlook.station, air_m=likely.lift_m)),
        ):
            self._difference(name, built, everywhere)

    def _difference(
        self, name: str, built: AsBuilt, touches: Touches, shut_off: int | None = None
    ) -> None:
        under = self._outlook.under(built, touches, shut_off)
        self.columns[name] = np.nan_to_num(under - self._outlook.sound)


def with_unit(rig: Rig, machine: int, **changed: float) -> AsBuilt:
    """Return the station with one machine changed.

    Parameters
    ----------
    rig
        The station.
    machine
        Which machine.
    changed
        Fields of its pump unit, with their new values.
    """
    station = rig.station
    unit = replace(rig.units[machine], **changed)  # type: ignore[arg-type]
    if machine < len(station.pumps):
        pumps = (*station.pumps[:machine], unit, *station.pumps[machine + 1 :])
        return AsBuilt(replace(station, pumps=pumps))
    assert station.engine_pump is not None  # noqa: S101  (the last machine is the engine's)
    return AsBuilt(replace(station, engine_pump=replace(station.engine_pump, pump=unit)))


def with_friction(rig: Rig, part: float) -> AsBuilt:
    """Return the station with another friction in its main.

    Friction goes with the length of a pipe in every formula, so the length stands for it.

    Parameters
    ----------
    rig
        The station.
    part
        Friction over what was reckoned [-].
    """
    main = rig.station.force_main
    assert main is not None  # noqa: S101  (asked of stations with a force main only)
    pipes = tuple(replace(pipe, length_m=pipe.length_m * part) for pipe in main.pipes)
    return AsBuilt(replace(rig.station, force_main=replace(main, pipes=pipes)))
