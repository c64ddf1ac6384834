"""Criteria of supply, generator, fuel and bypass: by closed forms, and by printed examples."""

from __future__ import annotations

import dataclasses
import math

import pytest
from rated_stations import case_of, only

from stationsim.control.contract import ControlPlan
from stationsim.control.rotation import NoSettings
from stationsim.equipment.power import GeneratorSet, StandbyPower
from stationsim.equipment.ratings import (
    BypassConnection,
    DesignFlows,
    Generator,
    MotorPlate,
    Service,
)
from stationsim.studies.check.criterion import Judged
from stationsim.studies.check.electrical import bypass, generator, supply
from stationsim.testing import duplex, engine_pump, tank, triplex

HP = 745.6998715822702
ROOT3 = math.sqrt(3.0)
FIFTY = MotorPlate(rated_w=50e3, efficiency=0.93, power_factor=0.85, poles=4)
"""Own closed form: 50 kW / (sqrt(3) x 480 V x 0.93 x 0.85) = 76.08 A."""
FIFTY_A = 50e3 / (ROOT3 * 480.0 * 0.93 * 0.85)


def three(fuse_a: float = 350.0, stagger_s: float = 10.0, **service: float) -> list[Judged]:
    """Return the supply criteria of three pumps of 50 kW on 480 V."""
    case = case_of(
        triplex((0.05, 0.05, 0.05), levels={"stagger_s": stagger_s}),
        plates=dict.fromkeys(("P1", "P2", "P3"), FIFTY),
        service=Service(480.0, main_fuse_a=fuse_a, **service),  # type: ignore[arg-type]
    )
    return list(supply(case))


def test_three_pumps_of_fifty_kilowatts_run_and_start_behind_350_amperes() -> None:
    # common practice, no source: 480 V, 350 A; 6 kW of other load are 7.217 A
    found = three(other_load_w=6e3)
    other = 6e3 / (ROOT3 * 480.0)
    running = only(iter(found), "running current")
    assert running.value == pytest.approx(3.0 * FIFTY_A + other, rel=1e-12)  # 235.5 A
    assert (running.limit, running.verdict) == (350.0, "pass")
    assert running.reason == ("3 pumps and 7.22 A of other load, against the main fuse of 350 A")
    # one across the line at six times its current while two run: 615.9 A, under twice the fuse
    starting = only(iter(found), "starting current")
    assert starting.value == pytest.approx((2.0 + 6.0) * FIFTY_A + other, rel=1e-12)
    assert (starting.limit, starting.verdict) == (700.0, "pass")
    assert starting.reason.startswith("P1 starts last, the others run")
    together = only(iter(found), "starting current, all at once")
    assert (together.verdict, together.reason) == ("not judged", "not needed: a stagger is set")
    assert not together.is_open


def test_three_pumps_that_start_together_are_too_much_for_the_fuse() -> None:
    one = only(iter(three(stagger_s=0.0)), "starting current, all at once")
    assert one.value == pytest.approx(3.0 * 6.0 * FIFTY_A, rel=1e-12)  # 1,369 A
    assert one.verdict == "fail"
    assert "no stagger is set" in one.reason
    # one at a time by the supply: nothing starts together
    alone = only(iter(three(stagger_s=0.0, most_running=1)), one.criterion)
    assert (alone.reason, alone.is_open) == ("not needed: one pump runs at a time", False)


@pytest.mark.parametrize(
    ("fuse", "verdict"), [(3.0 * FIFTY_A, "pass"), (3.0 * FIFTY_A - 1e-3, "fail"), (400.0, "pass")]
)
def test_running_current_at_the_fuse_passes(fuse: float, verdict: str) -> None:
    assert only(iter(three(fuse)), "running current").verdict == verdict


@pytest.mark.parametrize(
    ("fuse", "verdict"), [(4.0 * FIFTY_A, "pass"), (4.0 * FIFTY_A - 1e-3, "fail")]
)
def test_starting_current_at_twice_the_fuse_passes(fuse: float, verdict: str) -> None:
    assert only(iter(three(fuse)), "starting current").verdict == verdict


def test_no_more_pumps_count_than_may_run_and_the_strongest_count() -> None:
    plates = {
        "P1": MotorPlate(current_a=20.0),
        "P2": MotorPlate(current_a=50.0, start_ratio=4.0),
        "P3": MotorPlate(current_a=40.0, start_ratio=4.9),
    }
    case = case_of(triplex(), plates=plates, service=Service(400.0, 3, 200.0, 0.0, 2))
    found = list(supply(case))
    assert only(iter(found), "running current").value == pytest.approx(90.0)
    # P2 starts with more (200 A), but P3 adds more to what runs: 156 A, not 150
    assert only(iter(found), "starting current").value == pytest.approx(246.0)


def test_starters_that_are_named_have_their_usual_ratio() -> None:
    # a third of six times by star-delta, the square of the 65 % tap by autotransformer
    ratios = {"direct": 6.0, "star-delta": 2.0, "autotransformer": 2.535, "soft starter": 3.0}
    for starter, ratio in ratios.items():
        plates = {"P1": MotorPlate(current_a=10.0, starter=starter)}  # type: ignore[arg-type]
        case = case_of(tank(), plates=plates, service=Service(400.0, main_fuse_a=100.0))
        assert only(supply(case), "starting current").value == pytest.approx(10.0 * ratio)


def test_single_phase_current_has_no_root_of_three() -> None:
    plates = {"P1": MotorPlate(rated_w=2e3, efficiency=0.8, power_factor=0.9)}
    case = case_of(tank(), plates=plates, service=Service(230.0, 1, 25.0))
    one = only(supply(case), "running current")
    assert one.value == pytest.approx(2e3 / 0.8 / 0.9 / 230.0, rel=1e-12)
    assert one.reason.startswith("1 pump and 0 A")
    start = only(supply(case), "starting current")
    assert start.reason == "P1 starts, against 2 times the main fuse of 25 A"


@pytest.mark.parametrize(
    ("service", "plates", "needs"),
    [
        (None, {}, "[service]"),
        (Service(400.0), {"P1": FIFTY}, "service.main_fuse"),
        (
            Service(400.0, main_fuse_a=100.0),
            {},
            "pump.P1.plate: current, or rated_power with efficiency and power_factor",
        ),
        (
            Service(400.0, main_fuse_a=100.0),
            {"P1": MotorPlate(rated_w=9e3, efficiency=0.9)},
            "pump.P1.plate: current, or rated_power with efficiency and power_factor",
        ),
    ],
)
def test_supply_that_is_not_told_is_not_judged(
    service: Service | None, plates: dict[str, MotorPlate], needs: str
) -> None:
    found = list(supply(case_of(tank(), service=service, plates=plates)))
    assert [one.verdict for one in found] == ["not judged"] * 3
    assert {one.reason for one in found} == {f"not judged: needs {needs}"}


def test_a_plug_in_that_says_nothing_of_stagger_is_not_taken_for_one_without() -> None:
    plan = ControlPlan("plug_ins:Scanning", NoSettings(), "fixed", NoSettings())
    case = case_of(
        duplex(control=plan),
        plates=dict.fromkeys(("P1", "P2"), FIFTY),
        service=Service(480.0, main_fuse_a=350.0),
    )
    one = only(supply(case), "starting current, all at once")
    assert one.verdict == "not judged"
    assert "a controller that says" in one.reason


# ---------------------------------------------------------------- generator

SET = Service(480.0, other_load_w=68.25e3)


def plate_of(hp: float, efficiency: float, factor: float, kva_per_hp: float) -> MotorPlate:
    running_va = hp * HP / efficiency / factor
    return MotorPlate(
        rated_w=hp * HP,
        efficiency=efficiency,
        power_factor=factor,
        start_ratio=kva_per_hp * 1e3 * hp / running_va,
    )


PRINTED = {"P1": plate_of(150.0, 0.95, 0.86, 5.5), "P2": plate_of(200.0, 0.954, 0.87, 6.0)}


def test_generator_of_the_printed_example_needs_342_kilowatts() -> None:
    # Consulting-Specifying Engineer, generator sizing examples: 150 hp code F, 200 hp code G and
    # 75 kVA at 0.91 need 342 kW running; 342.4 kW recomputed with 746 W to a horsepower
    case = case_of(duplex(), plates=PRINTED, service=SET, generator=Generator(1000e3))
    one = only(generator(case), "generator output")
    assert one.limit == pytest.approx(342.4e3, rel=5e-4)
    assert (one.value, one.verdict) == (1000e3, "pass")


def test_generator_of_the_printed_example_starts_all_at_once() -> None:
    # the same: 825 + 1,200 + 75 = 2,100 kVA all at once; of the 75 kVA only its 68.25 kW count here
    plant = Generator(1000e3, start_va=2525e3)
    case = case_of(duplex(), plates=PRINTED, service=SET, generator=plant)
    one = only(generator(case), "generator start")
    assert one.limit == pytest.approx(2100e3 - 75e3 + 68.25e3, rel=1e-9)
    assert (one.verdict, one.reason.split(";")[0]) == (
        "pass",
        "no stagger is set: all start together",
    )
    # one by one the last to start is the 200 hp: 1,200 kVA on 136.9 kVA of the other
    staggered = case_of(
        duplex(levels={"stagger_s": 5.0}), plates=PRINTED, service=SET, generator=plant
    )
    one = only(generator(staggered), "generator start")
    assert one.limit == pytest.approx(1200e3 + 150 * HP / 0.95 / 0.86 + 68.25e3, rel=1e-9)
    assert one.reason.startswith("P2 starts last, the others run")


@pytest.mark.parametrize(("part", "verdict"), [(1.0, "pass"), (0.9999, "fail"), (2.0, "pass")])
def test_generator_exactly_at_its_limits_passes(part: float, verdict: str) -> None:
    # own closed form: one motor of 10 kW, efficiency 0.8, power factor 0.8, direct at 6 times
    plates = {"P1": MotorPlate(rated_w=10e3, efficiency=0.8, power_factor=0.8)}
    plant = Generator(12.5e3 * part, rated_va=15.625e3 * part, start_va=6.0 * 15.625e3 * part)
    case = case_of(tank(), plates=plates, service=Service(400.0), generator=plant)
    judged = {one.criterion: one for one in generator(case)}
    for name in ("generator output", "generator apparent output", "generator start"):
        assert judged[name].verdict == verdict, name


def test_generator_counts_no_more_pumps_than_it_may_run() -> None:
    plates = dict.fromkeys(("P1", "P2", "P3"), FIFTY)
    both = [
        case_of(
            triplex(),
            plates=plates,
            service=Service(480.0),
            generator=Generator(1e6, most_running=n),
        )
        for n in (1, 3)
    ]
    one, all_three = (only(generator(case), "generator output") for case in both)
    assert one.limit == pytest.approx(50e3 / 0.93)
    assert all_three.limit == pytest.approx(150e3 / 0.93)
    # fewer than the rule asks for is the scenario's own measure, and says so
    assert one.source == "generator.most_running of the scenario"
    assert one.reason == "1 pump and 0 kW of other load; the rule read asks for all pumps"
    assert all_three.source.startswith("35 IAC 370.450 (read 2026)")
    assert all_three.reason == "3 pumps and 0 kW of other load"


def test_every_criterion_of_a_generator_says_that_fewer_pumps_count() -> None:
    case = case_of(
        duplex(),
        plates=dict.fromkeys(("P1", "P2"), FIFTY),
        service=Service(480.0),
        generator=Generator(1e6, rated_va=1e6, start_va=1e6, most_running=1),
    )
    for name in ("generator output", "generator apparent output", "generator start"):
        one = only(generator(case), name)
        assert one.source == "generator.most_running of the scenario"
        assert one.reason.endswith("; the rule read asks for all pumps")


@pytest.mark.parametrize(("tank_l", "verdict"), [(240.0, "pass"), (239.9, "fail"), (500.0, "pass")])
def test_fuel_lasts_as_long_as_is_asked(tank_l: float, verdict: str) -> None:
    # own closed form: 10 L/h for 24 h are 240 L
    rate = 10e-3 / 3600.0
    engine = engine_pump(fuel_m3_per_s=rate, tank_m3=tank_l * 1e-3)
    plant = Generator(1e6, fuel_m3_per_s=rate, tank_m3=tank_l * 1e-3)
    found = list(generator(case_of(duplex(engine_pump=engine), generator=plant)))
    for name, subject in (("generator fuel", "generator"), ("engine fuel", "E1")):
        one = only(iter(found), name)
        assert (one.verdict, one.subject) == (verdict, subject)
        assert one.value == pytest.approx(tank_l / 10.0 * 3600.0)
        assert one.reason.endswith(" at 10.0 L/h")


def tabled(tank_m3: float | None, plates: dict[str, MotorPlate], **changes: float) -> Judged:
    """Return the criterion of fuel for two pumps on a set of 200 kW with a table of fuel."""
    table = GeneratorSet(
        rated_w=200e3, fuel_loads=(0.0, 0.5, 1.0),
        fuel_rates_m3_per_s=(5e-3 / 3600.0, 25e-3 / 3600.0, 55e-3 / 3600.0),
    )  # fmt: skip
    case = case_of(
        duplex(standby_power=StandbyPower(table)),
        plates=plates,
        service=Service(480.0),
        generator=Generator(200e3, tank_m3=tank_m3, **changes),  # type: ignore[arg-type]
    )
    return only(generator(case), "generator fuel")


@pytest.mark.parametrize(("tank_l", "verdict"), [(654.3, "pass"), (654.1, "fail")])
def test_fuel_by_the_table_at_the_load_of_the_criterion(tank_l: float, verdict: str) -> None:
    # own closed form: 2 x 50 kW / 0.93 = 107.53 kW are 53.76 % of 200 kW: between 50 % and 100 %
    # 25 L/h + (0.5376 - 0.5) / 0.5 x 30 L/h = 27.258 L/h, 654.19 L in 24 h
    # one pump: 26.88 %, 5 L/h + 0.2688 / 0.5 x 20 L/h
    both = dict.fromkeys(("P1", "P2"), FIFTY)
    litres_per_h = 25.0 + (100.0 / 0.93 / 200.0 - 0.5) / 0.5 * 30.0
    one = tabled(tank_l * 1e-3, both)
    assert one.verdict == verdict
    assert one.value == pytest.approx(tank_l / litres_per_h * 3600.0, rel=1e-12)
    assert one.reason.endswith(" at 27.3 L/h, which its table of fuel gives for 108 kW")
    alone = tabled(0.5, both, most_running=1)
    assert alone.value == pytest.approx(500.0 / (5.0 + 50.0 / 0.93 / 100.0 * 20.0) * 3600.0)
    # a plain rate is that of the load of the criterion
    plain = tabled(0.5, both, fuel_m3_per_s=10e-3 / 3600.0)
    assert plain.value == pytest.approx(50.0 * 3600.0)


def test_fuel_by_the_table_needs_the_load_and_the_tank() -> None:
    both = dict.fromkeys(("P1", "P2"), FIFTY)
    assert tabled(None, both).reason == "not judged: needs generator: tank"
    few = tabled(0.5, {"P1": FIFTY})
    assert few.reason.startswith("not judged: needs pump.P2.plate: current, or rated_power")
    amperes = tabled(0.5, dict.fromkeys(("P1", "P2"), MotorPlate(current_a=9.0)))
    needs = "plates: power_factor, or rated_power and efficiency"
    assert amperes.reason == f"not judged: needs {needs}"


@pytest.mark.parametrize(
    ("plant", "service", "plates", "needs"),
    [
        (None, SET, PRINTED, ["[generator]"] * 3),
        (Generator(1e6), None, PRINTED, ["[service]"] * 3),
        (
            Generator(1e6),
            SET,
            {"P1": PRINTED["P1"]},
            ["pump.P2.plate: current, or rated_power with efficiency and power_factor"] * 3,
        ),
        (
            Generator(1e6),
            SET,
            dict.fromkeys(("P1", "P2"), MotorPlate(current_a=9.0)),
            [
                "plates: power_factor, or rated_power and efficiency",
                "generator: rated_apparent_power",
                "generator: start_apparent_power",
            ],
        ),
    ],
)
def test_generator_that_is_not_told_is_not_judged(
    plant: Generator | None,
    service: Service | None,
    plates: dict[str, MotorPlate],
    needs: list[str],
) -> None:
    found = list(generator(case_of(duplex(), generator=plant, service=service, plates=plates)))
    assert [one.reason for one in found[:3]] == [f"not judged: needs {need}" for need in needs]
    fuel = only(iter(found), "generator fuel")
    lacking = "[generator]" if plant is None else "generator: fuel_rate, tank"
    assert fuel.reason == f"not judged: needs {lacking}"


def test_engine_without_a_tank_is_not_judged() -> None:
    one = only(generator(case_of(duplex(engine_pump=engine_pump()))), "engine fuel")
    assert one.reason == "not judged: needs engine_pump: fuel_rate, tank"


# ---------------------------------------------------------------- bypass


@pytest.mark.parametrize(("peak", "verdict"), [(0.05, "pass"), (0.04, "pass"), (0.0501, "fail")])
def test_bypass_carries_the_peak(peak: float, verdict: str) -> None:
    case = case_of(duplex(), bypass=BypassConnection(0.2, 0.05), design=DesignFlows(peak_m3s=peak))
    one = only(bypass(case), "bypass flow")
    assert (one.value, one.limit, one.verdict) == (0.05, peak, verdict)
    # own closed form: 50 L/s through 200 mm are 1.59 m/s
    assert one.reason == ("against the peak of the design; 1.59 m/s in the connection of 200 mm")


@pytest.mark.parametrize(
    ("lift", "required", "verdict"),
    [
        (4.0, 2.5, "pass"),
        (22 * 0.3048 - 2.5, 2.5, "pass"),
        (4.21, 2.5, "fail"),
        (6.2, 2.5, "fail"),
        (6.2, 0.5, "pass"),
    ],
)
def test_bypass_lift_and_head_required_stay_within_22_feet(
    lift: float, required: float, verdict: str
) -> None:
    # 35 IAC 370.420 (read 2026): dynamic suction lift and head required, up to 22 ft together
    connection = BypassConnection(0.2, suction_lift_m=lift, npsh_required_m=required)
    case = case_of(duplex(), bypass=connection)
    one = only(bypass(case), "bypass lift")
    assert (one.value, one.verdict) == (pytest.approx(lift + required), verdict)
    assert only(bypass(case), "bypass flow").reason == "not judged: needs bypass.flow"


def test_bypass_that_is_not_told_is_not_judged() -> None:
    assert [one.reason for one in bypass(case_of(duplex()))] == ["not judged: needs [bypass]"] * 2
    bare = case_of(duplex(), bypass=BypassConnection(0.2, 0.05))
    assert only(bypass(bare), "bypass lift").reason == (
        "not judged: needs bypass.suction_lift, bypass.npsh_required"
    )
    lift = case_of(duplex(), bypass=BypassConnection(0.2, 0.05, 4.0))
    assert only(bypass(lift), "bypass lift").reason == "not judged: needs bypass.npsh_required"


def test_watts_come_from_the_rating_or_else_from_the_current() -> None:
    rating = MotorPlate(rated_w=10e3, efficiency=0.8, current_a=99.0, power_factor=0.5)
    current = dataclasses.replace(rating, rated_w=None)
    for plate, watts in ((rating, 12.5e3), (current, ROOT3 * 400.0 * 99.0 * 0.5)):
        case = case_of(
            tank(), plates={"P1": plate}, service=Service(400.0), generator=Generator(1e6)
        )
        assert only(generator(case), "generator output").limit == pytest.approx(watts, rel=1e-12)
