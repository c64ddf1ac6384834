"""What instruments show at a station: as it should be, or with something wrong with it.

One place answers for the sheet and for the search for causes: the same hydraulics, once with the
station as it was ordered and once with a suspected fault in it.
"""

from __future__ import annotations

import math
from copy import copy
from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple

from stationsim.equipment.acceptance import Gauge
from stationsim.equipment.pumps import PumpUnit
from stationsim.physics.electrics import part_load_current_a, running_speed
from stationsim.physics.forcemain import ForceMain, Pipe
from stationsim.physics.gauge import gauge_pa, head_of_gauge_m, pressure_pa
from stationsim.physics.operating import Supply, lineup_flows, supplies_of
from stationsim.physics.pumps import G
from stationsim.station import Station

_NODES = (
    (-0.9061798459386640, 0.2369268850561891),
    (-0.5384693101056831, 0.4786286704993665),
    (0.0, 0.5688888888888889),
    (0.5384693101056831, 0.4786286704993665),
    (0.9061798459386640, 0.2369268850561891),
)
"""Places and weights of Gauss and Legendre for five points between -1 and 1 [-]."""


class Back(NamedTuple):
    """A check valve that does not hold.

    Parameters
    ----------
    machine
        Whose.
    per_root_m
        Flow back into the well over the root of the head at the header [m3/s per root of m].
    """

    machine: int
    per_root_m: float


class InletAir(NamedTuple):
    """Air that a pump draws in at its inlet, the more the lower the water.

    Parameters
    ----------
    machine
        Which.
    from_m, to_m
        Level below which it begins, and the level at which it takes as much as is told
        [m above floor]; straight between them, and on below.
    left
        What is left of flow and head at the lower of the two [-].
    """

    machine: int
    from_m: float
    to_m: float
    left: float

    def left_at(self, level_m: float) -> float:
        """Return what is left of flow and head at a level [-].

        Parameters
        ----------
        level_m
            Level in the well [m above floor].
        """
        down = (self.from_m - level_m) / (self.from_m - self.to_m)
        return min(max(1.0 - (1.0 - self.left) * down, 0.02), 1.0)


@dataclass(frozen=True)
class AsBuilt:
    """What stands there on the day, and what the instruments make of it.

    Parameters
    ----------
    station
        The station; its pumps and its main may differ from what was ordered.
    valves_s2m5
        Loss of a valve that is not fully open, by machine, behind the gauge of the pump [s2/m5].
    main_s2m5
        The same in the main, behind the gauge of the header [s2/m5].
    air_m
        Head that air in the main takes, whatever the flow [m].
    back
        A check valve that lets water back through its idle pump; None when all hold. Without a
        force main it is the flow back itself.
    inlet_air
        Air that a pump draws in at its inlet; None for none.
    shares
        Flow of a machine without a curve over what is given of it, by machine [-].
    meter_part
        What the flow meter shows over what flows [-].
    header_off_pa, pump_off_pa
        By what the gauges show too much [Pa].
    own_off_pa
        By what the gauge of one pump shows too much beyond that, by machine [Pa].
    area_part
        Volume that the well holds over the drop that was timed, over what is reckoned [-].
    unseen_m3s
        Inflow that came in while pumps were timed, and that nobody counted [m3/s].
    """

    station: Station
    valves_s2m5: tuple[tuple[int, float], ...] = ()
    main_s2m5: float = 0.0
    air_m: float = 0.0
    back: Back | None = None
    inlet_air: InletAir | None = None
    shares: tuple[tuple[int, float], ...] = ()
    meter_part: float = 1.0
    header_off_pa: float = 0.0
    pump_off_pa: float = 0.0
    own_off_pa: tuple[tuple[int, float], ...] = ()
    area_part: float = 1.0
    unseen_m3s: float = 0.0


class Point(NamedTuple):
    """Where a lineup works at a level.

    Parameters
    ----------
    flows_m3s
        Flow of each of its machines [m3/s].
    total_m3s
        Flow through the main [m3/s].
    heads_m
        Total head of each of its machines [m]; NaN for one without a curve.
    header_m
        Total head at the header [m above floor]; NaN without a force main.
    """

    flows_m3s: tuple[float, ...]
    total_m3s: float
    heads_m: tuple[float, ...]
    header_m: float


class _Leak:
    """A check valve that does not hold, as the header sees it."""

    fixed = None
    net = None

    def __init__(self, per_root_m: float) -> None:
        self._per_root_m = per_root_m

    def flow_at(self, header_m: float) -> float:
        """Return what it delivers: nought or less [m3/s]."""
        return -self._per_root_m * math.sqrt(max(header_m, 0.0))


def _fittings_k(pipe: Pipe, loss_s2m5: float) -> float:
    """Return the loss coefficient of a pipe with a further loss in it [-]."""
    return pipe.fittings_k + loss_s2m5 * 2.0 * G * pipe.area_m2**2


class Rig:
    """The station with its instruments.

    Parameters
    ----------
    built
        What stands there.
    """

    def __init__(self, built: AsBuilt) -> None:
        self.built = built
        self.station = station = built.station
        self.plan = station.ratings.acceptance
        engine = () if station.engine_pump is None else (station.engine_pump.pump,)
        self.units: tuple[PumpUnit, ...] = (*station.pumps, *engine)
        self._points: dict[tuple[tuple[int, ...], float], Point] = {}

    def piped(self) -> tuple[PumpUnit, ...]:
        """Return the pumps as they stand, each with its pipe to the header."""
        return self.units

    @cached_property
    def _throttled(self) -> tuple[PumpUnit, ...]:
        """The pumps with their valves as they stand."""
        valves = dict(self.built.valves_s2m5)
        units = list(self.piped())
        for index, loss in valves.items():
            unit = units[index]
            branch = unit.branch or Pipe(0.0, self._main_bore_m or 0.1, "none")
            units[index] = replace(
                unit, branch=replace(branch, fittings_k=_fittings_k(branch, loss))
            )
        return tuple(units)

    @property
    def _main_bore_m(self) -> float | None:
        main = self.station.force_main
        return None if main is None else main.pipes[0].diameter_m

    @cached_property
    def _main(self) -> ForceMain | None:
        """The main with what throttles it."""
        main = self.station.force_main
        if main is None:
            return None
        first = main.pipes[0]
        first = replace(first, fittings_k=_fittings_k(first, self.built.main_s2m5))
        return ForceMain((first, *main.pipes[1:]), main.discharge_level_m + self.built.air_m)

    def point(self, machines: tuple[int, ...], level_m: float) -> Point:
        """Return where a lineup works.

        Parameters
        ----------
        machines
            The machines that run.
        level_m
            Level in the well [m above floor].
        """
        key = (machines, level_m)
        found = self._points.get(key)
        if found is None:
            found = self._points[key] = self._find(machines, level_m)
        return found

    def _drawing(self, machine: int, level_m: float) -> PumpUnit:
        """Return a machine as it pumps at a level: less of it when it draws air."""
        unit, air = self._throttled[machine], self.built.inlet_air
        if air is None or air.machine != machine:
            return unit
        left = air.left_at(level_m)
        return replace(
            unit,
            flow_factor=unit.flow_factor * left,
            head_factor=unit.head_factor * left,
            fixed_flow_m3s=None if unit.fixed_flow_m3s is None else unit.fixed_flow_m3s * left,
        )

    def _pump_off_pa(self, machine: int) -> float:
        """Return by what the gauge of a pump shows too much [Pa]."""
        return self.built.pump_off_pa + dict(self.built.own_off_pa).get(machine, 0.0)

    def _find(self, machines: tuple[int, ...], level_m: float) -> Point:
        units = [self._drawing(index, level_m) for index in machines]
        supplies: list[Supply | _Leak] = list(supplies_of(units, self.station.total_by_number_m3s))
        for index, share in self.built.shares:
            if index in machines:
                own = supplies[machines.index(index)] = copy(supplies[machines.index(index)])
                own.fixed = None if own.fixed is None else own.fixed * share
        back, main = self.built.back, self._main
        leaks = back is not None and back.machine not in machines
        if back is not None and leaks and main is not None:
            supplies.append(_Leak(back.per_root_m))
        flows = lineup_flows(supplies, main, level_m)  # type: ignore[arg-type]
        total = max(sum(flows), 0.0)
        if back is not None and leaks and main is None:
            total = max(total - back.per_root_m, 0.0)
        header = math.nan if main is None else main.discharge_level_m + main.loss_m(total)
        heads = tuple(
            math.nan if supply.curve is None else supply.curve.head_at(flow)
            for supply, flow in zip(supplies[: len(units)], flows, strict=False)
            if isinstance(supply, Supply)
        )
        return Point(tuple(flows[: len(units)]), total, heads, header)

    def header_pa(self, machines: tuple[int, ...], level_m: float) -> float:
        """Return what the gauge on the header shows [Pa]; NaN without one or without a main.

        Parameters
        ----------
        machines, level_m
            As in :meth:`point` [m].
        """
        gauge = self.plan.header_gauge
        point = self.point(machines, level_m)
        if gauge is None or math.isnan(point.header_m):
            return math.nan
        bore = gauge.bore_m or self._main_bore_m
        return (
            gauge_pa(point.header_m, gauge.level_m, point.total_m3s, bore)
            + self.built.header_off_pa
        )

    def header_head_m(self, shown_pa: float, flow_m3s: float) -> float:
        """Return the head at the header that its gauge tells [m above floor]; NaN without one.

        Parameters
        ----------
        shown_pa
            What it shows [Pa].
        flow_m3s
            Flow through the main [m3/s].
        """
        gauge = self.plan.header_gauge
        if gauge is None or self.station.force_main is None:
            return math.nan
        return head_of_gauge_m(shown_pa, gauge.level_m, flow_m3s, gauge.bore_m or self._main_bore_m)

    def pump_pa(self, machines: tuple[int, ...], machine: int, level_m: float) -> float:
        """Return what the gauge of a pump shows [Pa]; NaN without one or without a curve.

        Parameters
        ----------
        machines, level_m
            As in :meth:`point` [m].
        machine
            Which of them.
        """
        gauge = self.plan.pump_gauge
        if gauge is None:
            return math.nan
        point, place = self.point(machines, level_m), machines.index(machine)
        flow = point.flows_m3s[place]
        lost, bore = self._at_pump_gauge(gauge, machine, flow)
        head = level_m + point.heads_m[place] - lost
        return gauge_pa(head, gauge.level_m, flow, bore) + self._pump_off_pa(machine)

    def pump_head_m(self, shown_pa: float, machine: int, level_m: float, flow_m3s: float) -> float:
        """Return the total head of a pump that its gauge tells [m]; NaN without a gauge.

        Parameters
        ----------
        shown_pa
            What it shows [Pa].
        machine
            Which pump.
        level_m
            Level in the well [m above floor].
        flow_m3s
            Its flow [m3/s].
        """
        gauge = self.plan.pump_gauge
        if gauge is None:
            return math.nan
        lost, bore = self._at_pump_gauge(gauge, machine, flow_m3s)
        return head_of_gauge_m(shown_pa, gauge.level_m, flow_m3s, bore) - level_m + lost

    def _at_pump_gauge(
        self, gauge: Gauge, machine: int, flow_m3s: float
    ) -> tuple[float, float | None]:
        """Return the loss from a pump to its gauge [m], and the bore at the tapping [m]."""
        branch = self.units[machine].branch
        if branch is None:
            return 0.0, gauge.bore_m
        return gauge.branch_part * branch.loss_m(flow_m3s), gauge.bore_m or branch.diameter_m

    def shut_off_pa(self, machine: int, level_m: float) -> float:
        """Return what the gauge of a pump shows against a closed valve [Pa]; NaN without one.

        Parameters
        ----------
        machine
            Which pump.
        level_m
            Level in the well [m above floor].
        """
        gauge, curve = self.plan.pump_gauge, self.units[machine].curve_now()
        if gauge is None or curve is None:
            return math.nan
        shown = pressure_pa(level_m + curve.shutoff_m - gauge.level_m)
        return shown + self._pump_off_pa(machine)

    def current_a(self, machines: tuple[int, ...], machine: int, level_m: float) -> float:
        """Return the current of a pump's motor [A]; NaN when too little is known of it.

        Parameters
        ----------
        machines, level_m
            As in :meth:`point` [m].
        machine
            Which of them.
        """
        unit, ratings = self.units[machine], self.station.ratings
        plate, service = ratings.plates.get(unit.name), ratings.service
        if plate is None or service is None or machine >= len(self.station.pumps):
            return math.nan
        full, factor = plate.full_load_a(service), plate.factor_at_full_load(service)
        drawn = self._input_w(machines, machine, level_m)
        if full is None or factor is None or not drawn > 0.0:
            return math.nan
        return part_load_current_a(
            drawn, service.voltage_v, service.phases, full, factor, plate.no_load_a
        )

    def speed(self, machines: tuple[int, ...], machine: int, level_m: float) -> float:
        """Return the speed of a pump [1/s]; NaN when its plate does not say it.

        Parameters
        ----------
        machines, level_m
            As in :meth:`point` [m].
        machine
            Which of them.
        """
        unit = self.units[machine]
        plate = self.station.ratings.plates.get(unit.name)
        if plate is None or plate.rated_speed is None:
            return math.nan
        drawn, load = self._input_w(machines, machine, level_m), 1.0
        if drawn > 0.0 and plate.rated_w is not None and plate.efficiency is not None:
            load = drawn * plate.efficiency / plate.rated_w
        return running_speed(plate.rated_speed, plate.poles, load) * unit.speed_ratio

    def _input_w(self, machines: tuple[int, ...], machine: int, level_m: float) -> float:
        """Return what a motor draws [W]; 0 when that is not known."""
        point, place = self.point(machines, level_m), machines.index(machine)
        head = point.heads_m[place]
        unit = self.units[machine]
        if math.isnan(head) and unit.power.efficiency is not None:
            return 0.0
        return unit.input_w(point.flows_m3s[place], head)

    def fall_s(
        self, machines: tuple[int, ...], from_m: float, to_m: float, inflow_m3s: float = 0.0
    ) -> float:
        """Return how long the level takes to fall [s]; infinity when it does not.

        Parameters
        ----------
        machines
            The machines that run.
        from_m, to_m
            From which level to which [m above floor].
        inflow_m3s
            What comes in meanwhile [m3/s].
        """
        well = self.station.well
        high, low = well.volume_at(from_m), well.volume_at(to_m)
        total = 0.0
        for place, weight in _NODES:
            volume = 0.5 * (high + low) + 0.5 * (high - low) * place
            point = self.point(machines, well.level_at(volume))
            net = point.total_m3s - inflow_m3s - self.built.unseen_m3s
            if net <= 0.0:
                return math.inf
            total += weight / net
        return 0.5 * (high - low) * self.built.area_part * total

    def drawn_m3s(self, machines: tuple[int, ...], from_m: float, to_m: float) -> float:
        """Return the flow that a drawdown tells, as if nothing came in unseen [m3/s].

        Parameters
        ----------
        machines, from_m, to_m
            As in :meth:`fall_s` [m].
        """
        well = self.station.well
        took_s = self.fall_s(machines, from_m, to_m)
        return (well.volume_at(from_m) - well.volume_at(to_m)) / took_s

    def meter_m3s(self, machines: tuple[int, ...], level_m: float) -> float:
        """Return what the flow meter shows [m3/s].

        Parameters
        ----------
        machines, level_m
            As in :meth:`point` [m].
        """
        return self.point(machines, level_m).total_m3s * self.built.meter_part
