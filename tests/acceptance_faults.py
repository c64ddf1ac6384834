"""Days of acceptance that never were: stations with one thing wrong, and what a crew would read.

The water is reckoned here anew, with a root finder of scipy and Simpson's rule; of the package only
the curves, the pipes and the well are used. What is wrong is drawn otherwise than it is looked for:
a weak pump loses flow and head by two factors that are not tied, air at an inlet goes with the
depth of the water in another way, the motor of a sick pump draws what it likes. Every instrument
has a gain or a zero of its own for the day and scatters besides; every pump lies a little off its
curve, which runs smoothly through the points of its sheet, and the main off its drawing.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq

from stationsim.equipment.acceptance import Gauge
from stationsim.physics.electrics import part_load_current_a
from stationsim.physics.pumps import RHO, G
from stationsim.station import Station
from stationsim.studies.acceptance.drawn import planned_fall
from stationsim.studies.acceptance.expected import Expected
from stationsim.studies.acceptance.lineups import levels_of, lineups_of, of_the_day
from stationsim.studies.acceptance.reading import Reading, Taken
from stationsim.studies.acceptance.rig import AsBuilt, Rig

Machines = tuple[int, ...]


@dataclass
class World:
    """What stands there in truth, and what its instruments make of it; factors by machine."""

    station: Station
    flow: dict[int, float] = field(default_factory=dict)
    head: dict[int, float] = field(default_factory=dict)
    power: dict[int, float] = field(default_factory=dict)
    speed: dict[int, float] = field(default_factory=dict)
    valve_s2m5: dict[int, float] = field(default_factory=dict)
    branch: dict[int, float] = field(default_factory=dict)
    swallowed: dict[int, Callable[[float], float]] = field(default_factory=dict)
    friction: float = 1.0
    main_s2m5: float = 0.0
    lift_m: float = 0.0
    leak: tuple[int, float] | None = None
    inflow_m3s: float = 0.0
    meter: float = 1.0
    header_pa: float = 0.0
    pump_pa: float = 0.0
    own_pa: dict[int, float] = field(default_factory=dict)
    area: float = 1.0
    clamp: float = 1.0
    smooth: bool = True
    _curves: dict[int, Callable[[float], float]] = field(default_factory=dict)

    def unit(self, machine: int):
        engine = self.station.engine_pump
        return self.station.pumps[machine] if machine < len(self.station.pumps) else engine.pump

    def of_pump(self, machine: int, level_m: float) -> tuple[float, float]:
        """Return flow and head factor of a pump at a level [-]."""
        left = self.swallowed.get(machine, lambda _level: 1.0)(level_m)
        return self.flow.get(machine, 1.0) * left, self.head.get(machine, 1.0) * left

    def pump_head_m(self, machine: int, flow_m3s: float, level_m: float) -> float:
        flow, head = self.of_pump(machine, level_m)
        return head * self.curve(machine)(flow_m3s / flow)

    def curve(self, machine: int) -> Callable[[float], float]:
        """Return head [m] over flow [m3/s]: smooth through the points of the sheet, or straight."""
        if machine not in self._curves:
            given = self.unit(machine).curve_now()
            if not self.smooth:
                self._curves[machine] = given.head_at
            else:
                flows = [*given.flows_m3s, given.end_m3s]
                heads = [given.head_at(flow) for flow in flows]
                cubes = PchipInterpolator(flows, heads).c.T.tolist()

                def smooth(flow: float) -> float:
                    if flow >= given.end_m3s:
                        return given.head_at(flow)
                    i = bisect_right(flows, flow) - 1
                    a, b, c, d = cubes[i]
                    x = flow - flows[i]
                    return ((a * x + b) * x + c) * x + d

                self._curves[machine] = smooth
        return self._curves[machine]

    def before_gauge_m(self, machine: int, flow_m3s: float) -> float:
        """Return the loss between a pump and its own gauge [m]."""
        branch, gauge = self.unit(machine).branch, self.station.ratings.acceptance.pump_gauge
        if branch is None or gauge is None:
            return 0.0
        return gauge.branch_part * self.branch.get(machine, 1.0) * branch.loss_m(flow_m3s)

    def branch_m(self, machine: int, flow_m3s: float) -> float:
        """Return the loss from a pump to the header [m]."""
        branch = self.unit(machine).branch
        lost = 0.0 if branch is None else self.branch.get(machine, 1.0) * branch.loss_m(flow_m3s)
        return lost + self.valve_s2m5.get(machine, 0.0) * flow_m3s**2

    def main_m(self, flow_m3s: float) -> float:
        """Return the level that the header is pushed to [m above floor]."""
        main = self.station.force_main
        lost = sum(
            self.friction * pipe.friction_m(flow_m3s) + pipe.fittings_s2m5 * flow_m3s**2
            for pipe in main.pipes
        )
        return main.discharge_level_m + self.lift_m + lost + self.main_s2m5 * flow_m3s**2

    def flow_m3s(self, machine: int, header_m: float, level_m: float) -> float:
        """Return what a pump delivers into a header [m3/s]."""

        def left(flow: float) -> float:
            lost = self.branch_m(machine, flow)
            return level_m + self.pump_head_m(machine, flow, level_m) - lost - header_m

        return 0.0 if left(0.0) <= 0.0 else brentq(left, 0.0, 1.0, xtol=1e-10)

    def point(self, machines: Machines, level_m: float) -> tuple[list[float], float, float]:
        """Return flow of each pump, flow through the main [m3/s] and level of the header [m]."""
        if self.station.force_main is None:
            return self._plain(machines)

        def leak(header: float) -> float:
            if self.leak is None or self.leak[0] in machines:
                return 0.0
            return self.leak[1] * math.sqrt(max(header - level_m, 0.0))

        def given(header: float) -> float:
            flows = (self.flow_m3s(one, header, level_m) for one in machines)
            return sum(flows) - leak(header)

        def left(total: float) -> float:
            return given(self.main_m(total)) - total

        still = self.main_m(0.0)
        if left(0.0) > 0.0:
            total = brentq(left, 0.0, 1.0, xtol=1e-10)
            header = self.main_m(total)
        else:  # nothing goes out: the check valves hold the main, or all of it runs back
            total = 0.0
            header = brentq(given, level_m, still, xtol=1e-6) if given(still) < 0.0 else still
        return [self.flow_m3s(one, header, level_m) for one in machines], total, max(header, still)

    def _plain(self, machines: Machines) -> tuple[list[float], float, float]:
        """Return the same for a station whose flows are given plainly."""
        station = self.station
        given = [
            station.total_by_number_m3s[len(machines) - 1] / len(machines)
            if station.total_by_number_m3s
            else self.unit(one).fixed_flow_m3s
            for one in machines
        ]
        flows = [one * self.flow.get(i, 1.0) for i, one in zip(machines, given, strict=True)]
        back = self.leak[1] if self.leak is not None and self.leak[0] not in machines else 0.0
        return flows, max(sum(flows) - back, 0.0), math.nan


def simpson(values: Sequence[float], width: float) -> float:
    """Return the integral by Simpson's rule."""
    weights = [1.0] + [4.0 if i % 2 else 2.0 for i in range(1, len(values) - 1)] + [1.0]
    step = width / (len(values) - 1)
    return step / 3.0 * sum(w * v for w, v in zip(weights, values, strict=True))


def fall_s(world: World, machines: Machines, from_m: float, to_m: float) -> float:
    """Return how long the level takes to fall [s]; infinity when it does not."""
    slow = []
    for level in np.linspace(to_m, from_m, 5):
        net = world.point(machines, level)[1] - world.inflow_m3s
        if net <= 0.0:
            return math.inf
        slow.append(world.area * world.station.well.area_at(level) / net)
    return simpson(slow, from_m - to_m)


def shown(world: World, reading: Reading) -> float:
    """Return what an instrument would show without its scatter; NaN when nothing."""
    machines, level = reading.machines, reading.level_m
    if not machines:
        return math.nan
    machine, fall = machines[0], planned_fall(world.station)
    ask = {
        "fall": lambda: fall_s(world, machines, fall.from_m, fall.to_m),
        "shut-off pressure": lambda: _shut_off_pa(world, machine, level),
        "meter flow": lambda: world.meter * world.point(machines, level)[1],
        "header pressure": lambda: _header_pa(world, machines, level),
        "pump pressure": lambda: _pump_pa(world, machine, level),
        "speed": lambda: reading.expected * world.speed.get(machine, 1.0),
        "current": lambda: _current_a(world, machine, level),
    }
    return ask[reading.what]() if reading.what in ask else math.nan


def _shut_off_pa(world: World, machine: int, level_m: float) -> float:
    head = world.head.get(machine, 1.0) * world.unit(machine).curve_now().shutoff_m
    return _pressure(world, machine, level_m + head)


def _header_pa(world: World, machines: Machines, level_m: float) -> float:
    _flows, total, header = world.point(machines, level_m)
    gauge = world.station.ratings.acceptance.header_gauge
    bore = gauge.bore_m or world.station.force_main.pipes[0].diameter_m
    return world.header_pa + RHO * G * (header - gauge.level_m - _moving_m(total, bore))


def _pump_pa(world: World, machine: int, level_m: float) -> float:
    (flow,), _total, _header = world.point((machine,), level_m)
    gauge, branch = world.station.ratings.acceptance.pump_gauge, world.unit(machine).branch
    bore = gauge.bore_m or (None if branch is None else branch.diameter_m)
    head = world.pump_head_m(machine, flow, level_m) - world.before_gauge_m(machine, flow)
    return _pressure(world, machine, level_m + head - _moving_m(flow, bore))


def _pressure(world: World, machine: int, column_m: float) -> float:
    dial_m = world.station.ratings.acceptance.pump_gauge.level_m
    return RHO * G * (column_m - dial_m) + world.pump_pa + world.own_pa.get(machine, 0.0)


def _moving_m(flow_m3s: float, bore_m: float | None) -> float:
    if bore_m is None:
        return 0.0
    return (flow_m3s / (math.pi / 4.0 * bore_m**2)) ** 2 / (2.0 * G)


def _current_a(world: World, machine: int, level_m: float) -> float:
    """Return the current of a pump alone, by what its curve as it should be asks for [A]."""
    unit, ratings = world.unit(machine), world.station.ratings
    plate, service = ratings.plates.get(unit.name), ratings.service
    if plate is None or service is None:
        return math.nan
    flow = world.point((machine,), level_m)[0][0]
    head = unit.curve_now().head_at(flow)
    factor = world.clamp * world.power.get(machine, 1.0)
    if flow <= 0.0:
        return factor * 0.5 * plate.full_load_a(service)
    return factor * part_load_current_a(
        unit.input_w(flow, head), service.voltage_v, service.phases,
        plate.full_load_a(service), plate.factor_at_full_load(service), plate.no_load_a,
    )  # fmt: skip


def sheet_of(station: Station) -> list[Reading]:
    """Return the readings of pumps and water of the sheet."""
    rig = Rig(AsBuilt(of_the_day(station)))
    expected = Expected(rig, planned_fall(station), levels_of(station))
    found: list[Reading] = []
    for lineup in lineups_of(station)[0]:
        found += expected.of_lineup(lineup, 0.0)
    for machine in range(len(rig.units)):
        found += expected.shut_off(machine)
    return found


def sound(station: Station, rng: np.random.Generator) -> World:
    """Return a station with nothing wrong: each thing a little off, as things are."""
    off, machines = station.ratings.acceptance.uncertainty, range(len(station.machine_names()))

    def each(part: float) -> dict[int, float]:
        return {machine: 1.0 + part * rng.normal() for machine in machines}

    return World(
        of_the_day(station),
        flow=each(0.012),
        head=each(0.010),
        power=each(0.03),
        branch=each(0.10),
        friction=1.0 + 0.04 * rng.normal(),
        lift_m=0.03 * rng.normal(),
        meter=1.0 + 0.35 * off.flow_meter * rng.normal(),
        header_pa=0.35 * off.pressure_pa * rng.normal(),
        pump_pa=0.3 * off.pressure_pa * rng.normal(),
        own_pa={machine: 0.2 * off.pressure_pa * rng.normal() for machine in machines},
        area=1.0 + 0.5 * off.area * rng.normal(),
        clamp=1.0 + 0.35 * off.current * rng.normal(),
    )


def readings(world: World, sheet: Sequence[Reading], rng: np.random.Generator) -> list[Taken]:
    """Return what a crew reads."""
    found = []
    fall = planned_fall(world.station)
    off = world.station.ratings.acceptance.uncertainty
    for reading in sheet:
        value = shown(world, reading)
        if not math.isfinite(value):
            continue
        scatter = 0.35 * reading.uncertainty
        if reading.what == "fall":
            by_level = math.sqrt(2.0) * 0.5 * off.level_m / fall.drop_m * value
            scatter = math.hypot(0.5 * off.time_s, by_level)
        found.append(Taken(reading, value + scatter * rng.normal(), reading.uncertainty))
    return found


Fault = Callable[[World, int, np.random.Generator], str]


def _alone(world: World, machine: int) -> tuple[float, float]:
    """Return flow [m3/s] and head [m] of a pump by itself."""
    flows, total, _header = world.point((machine,), planned_fall(world.station).to_m)
    unit = world.unit(machine)
    head = math.nan if unit.curve is None else unit.curve_now().head_at(flows[0])
    return total, head


def _name(world: World, machine: int) -> str:
    return world.unit(machine).name


def weak(world: World, machine: int, rng: np.random.Generator) -> str:
    if rng.uniform() < 1.0 / 3.0:  # too slow, and its speed was read
        slow = world.speed[machine] = rng.uniform(0.91, 0.96)
        world.flow[machine] *= slow
        world.head[machine] *= slow**2
        world.power[machine] *= slow**2
        return _name(world, machine)
    world.flow[machine] *= rng.uniform(0.78, 0.90)
    world.head[machine] *= rng.uniform(0.88, 0.99)
    world.power[machine] *= rng.uniform(0.88, 1.05)
    return _name(world, machine)


def valve_at_pump(world: World, machine: int, rng: np.random.Generator) -> str:
    flow, head = _alone(world, machine)
    world.valve_s2m5[machine] = rng.uniform(0.15, 0.8) * head / flow**2
    return _name(world, machine)


def valve_in_main(world: World, machine: int, rng: np.random.Generator) -> str:
    flow, head = _alone(world, machine)
    world.main_s2m5 = rng.uniform(0.08, 0.4) * head / flow**2
    return "force main"


def air_in_main(world: World, machine: int, rng: np.random.Generator) -> str:
    world.lift_m += rng.uniform(0.06, 0.2) * _alone(world, machine)[1]
    return "force main"


def wrong_way(world: World, machine: int, rng: np.random.Generator) -> str:
    world.flow[machine] *= rng.uniform(0.5, 0.72)
    world.head[machine] *= rng.uniform(0.45, 0.65)
    world.power[machine] *= rng.uniform(0.75, 1.1)
    return _name(world, machine)


def rough(world: World, _machine: int, rng: np.random.Generator) -> str:
    world.friction = rng.uniform(0.70, 0.84) ** -1.852
    return "force main"


def smooth(world: World, _machine: int, rng: np.random.Generator) -> str:
    world.friction = rng.uniform(1.12, 1.25) ** -1.852
    return "force main"


def meter(world: World, _machine: int, rng: np.random.Generator) -> str:
    world.meter *= 1.0 + rng.choice([-1.0, 1.0]) * rng.uniform(0.07, 0.18)
    return "flow meter"


def header_gauge(world: World, _machine: int, rng: np.random.Generator) -> str:
    world.header_pa += rng.choice([-1.0, 1.0]) * rng.uniform(8e3, 25e3)
    return "header gauge"


def pump_gauges(world: World, _machine: int, rng: np.random.Generator) -> str:
    world.pump_pa += rng.choice([-1.0, 1.0]) * rng.uniform(8e3, 25e3)
    return "pump gauges"


def pump_gauge(world: World, machine: int, rng: np.random.Generator) -> str:
    world.own_pa[machine] += rng.choice([-1.0, 1.0]) * rng.uniform(8e3, 25e3)
    return _name(world, machine)


def inflow(world: World, machine: int, rng: np.random.Generator) -> str:
    world.inflow_m3s = rng.uniform(0.08, 0.25) * _alone(world, machine)[0]
    return "well"


def leak(world: World, machine: int, rng: np.random.Generator) -> str:
    level = planned_fall(world.station).to_m
    others = (machine + 1) % len(world.station.pumps)
    _flows, total, header = world.point((others,), level)
    root = 1.0 if math.isnan(header) else math.sqrt(header - level)
    world.leak = (machine, rng.uniform(0.08, 0.35) * total / root)
    return _name(world, machine)


def area(world: World, _machine: int, rng: np.random.Generator) -> str:
    world.area *= 1.0 + rng.choice([-1.0, 1.0]) * rng.uniform(0.05, 0.15)
    return "well"


def air_at_inlet(world: World, machine: int, rng: np.random.Generator) -> str:
    low, most, over = min(levels_of(world.station)), rng.uniform(0.10, 0.25), rng.uniform(0.2, 0.4)
    world.swallowed[machine] = lambda level: 1.0 - most * math.exp(-(level - low) / over)
    world.power[machine] *= rng.uniform(0.85, 1.0)
    return _name(world, machine)


def air_bound(world: World, machine: int, rng: np.random.Generator) -> str:
    left = rng.uniform(0.05, 0.25)
    world.flow[machine] *= left
    world.head[machine] *= left
    world.power[machine] *= rng.uniform(0.7, 1.1)
    return _name(world, machine)


FAULTS: dict[str, tuple[str, Fault]] = {
    "weak": ("weak pump", weak),
    "valve at a pump": ("valve at a pump not fully open", valve_at_pump),
    "valve in the main": ("valve in the main not fully open", valve_in_main),
    "air in the main": ("air trapped in the main", air_in_main),
    "wrong way": ("pump turns the wrong way", wrong_way),
    "rough": ("main rougher or smoother than reckoned", rough),
    "smooth": ("main rougher or smoother than reckoned", smooth),
    "meter": ("flow meter off", meter),
    "header gauge": ("gauge on the header off", header_gauge),
    "pump gauges": ("gauges at the pumps off", pump_gauges),
    "pump gauge": ("gauge at a pump off", pump_gauge),
    "inflow": ("inflow left out", inflow),
    "leak": ("check valve lets water back", leak),
    "area": ("area of the well or drop wrong", area),
    "air at the inlet": ("air in a pump or at its inlet", air_at_inlet),
    "air bound": ("air in a pump or at its inlet", air_bound),
}
"""What may be wrong: the cause that it is called, and how it is drawn."""


def with_gauges(station: Station) -> Station:
    """Return a station with a gauge on the header and one at each pump."""
    plan = station.ratings.acceptance
    plan = replace(
        plan,
        header_gauge=plan.header_gauge or Gauge(5.0),
        pump_gauge=plan.pump_gauge or Gauge(5.0, branch_part=0.6),
    )
    return replace(station, ratings=replace(station.ratings, acceptance=plan))


def day(
    station: Station, fault: str | None, seed: int
) -> tuple[list[Reading], list[Taken], tuple[str, str]]:
    """Return a sheet, what was read, and the cause with its subject."""
    rng = np.random.default_rng([seed, sorted(FAULTS).index(fault) if fault else 99])
    world, truth = sound(station, rng), ("sound", "")
    if fault is not None:
        machine = int(rng.integers(len(station.pumps)))
        cause, spoil = FAULTS[fault]
        truth = (cause, spoil(world, machine, rng))
    sheet = sheet_of(station)
    return sheet, readings(world, sheet, rng), truth
