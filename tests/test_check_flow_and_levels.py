"""Criteria of flow, levels and suction, by closed forms of our own or a formula of the source."""

from __future__ import annotations

import dataclasses
import math

import pytest
from rated_stations import case_of, named, only
from scipy.optimize import brentq

from stationsim.control.contract import ControlPlan
from stationsim.control.rotation import NoSettings
from stationsim.equipment.pumps import PumpUnit
from stationsim.equipment.ratings import DesignFlows, MainAges, PumpInlet, Service, SuctionLine
from stationsim.physics.forcemain import ForceMain, Pipe
from stationsim.physics.pumps import FlowTable, HeadCurve
from stationsim.station import AlarmSettings
from stationsim.studies.check.capacity import capacity, velocity
from stationsim.studies.check.levels import engine_suction, levels, submergence
from stationsim.studies.check.sanity import surge
from stationsim.testing import duplex, engine_pump, reference_station, tank, triplex

G = 9.80665
AREA_200 = math.pi * 0.2**2 / 4.0


def main_of(*pipes: Pipe) -> ForceMain:
    return ForceMain(pipes or (Pipe(500.0, 0.2, c_factor=120.0),), 15.0)


# ---------------------------------------------------------------- firm capacity


@pytest.mark.parametrize(
    ("peak", "verdict"), [(0.019, "pass"), (0.020, "pass"), (0.0200001, "fail"), (0.05, "fail")]
)
def test_firm_capacity_of_unlike_pumps_leaves_the_largest_out(peak: float, verdict: str) -> None:
    # own closed form: 30 and 20 L/s of fixed flow, the larger out, leave 20 L/s
    case = case_of(duplex((0.030, 0.020)), design=DesignFlows(peak_m3s=peak))
    one = only(capacity(case), "firm capacity")
    assert (one.value, one.limit, one.verdict) == (pytest.approx(0.020, rel=1e-12), peak, verdict)
    assert one.reason == "P1 out, P2 runs at the high-level alarm, against the peak of the design"
    assert one.margin == pytest.approx(0.020 - peak, abs=1e-15)


def test_firm_capacity_with_totals_by_number_is_that_of_one_pump_less() -> None:
    # the reference station: 30 L/s with one pump running, 42 with two
    one = only(capacity(case_of(reference_station())), "firm capacity")
    assert one.value == pytest.approx(0.030, rel=1e-12)
    assert one.reason.endswith("against the peak of the episode")


def test_firm_capacity_of_one_pump_is_nothing() -> None:
    one = only(capacity(case_of(tank())), "firm capacity")
    assert (one.value, one.verdict) == (0.0, "fail")
    assert one.reason == "P1 out, nothing is left, against the peak of the episode"


def test_firm_capacity_counts_no_more_pumps_than_may_run() -> None:
    # own closed form: of 50, 30 and 20 L/s one may run; with the 50 out the 30 is left
    station = triplex((0.050, 0.030, 0.020))
    assert only(capacity(case_of(station)), "firm capacity").value == pytest.approx(0.050)
    case = case_of(station, service=Service(400.0, most_running=1))
    assert only(capacity(case), "firm capacity").value == pytest.approx(0.030)


def test_firm_capacity_with_old_pipe_is_less_and_both_meet_the_system_curve() -> None:
    # Hazen-Williams as US texts print it in SI, solved here by another road
    station = duplex((0.03, 0.03), force_main=main_of())
    curve = HeadCurve.from_coefficients(30.0, 0.0, -9000.0)
    pumps = tuple(PumpUnit(f"P{n}", curve=curve) for n in (1, 2))
    station = dataclasses.replace(station, pumps=pumps)
    case = case_of(station, main=MainAges(new_c=140.0, old_c=90.0))
    found = {one.subject: one for one in named(capacity(case), "firm capacity")}
    assert list(found) == ["station, new pipe", "station, old pipe"]
    for subject, c_factor in (("station, new pipe", 140.0), ("station, old pipe", 90.0)):

        def off(q: float, c: float = c_factor) -> float:
            loss = 10.667 * 500.0 * (q / c) ** 1.852 / 0.2**4.8704
            return 30.0 - 9000.0 * q * q - (15.0 - 3.0) - loss

        assert found[subject].value == pytest.approx(brentq(off, 1e-4, 0.1), rel=3e-4)
    assert found["station, new pipe"].value > found["station, old pipe"].value


def test_age_left_out_is_that_of_the_pipe_and_other_friction_does_not_age() -> None:
    curve = HeadCurve.from_coefficients(30.0, 0.0, -9000.0)
    pumps = tuple(PumpUnit(f"P{n}", curve=curve) for n in (1, 2))
    station = dataclasses.replace(duplex(force_main=main_of()), pumps=pumps)
    as_given = only(capacity(case_of(station)), "firm capacity")
    assert as_given.subject == "station, pipe as given"
    half = named(capacity(case_of(station, main=MainAges(old_c=90.0))), "firm capacity")
    assert half[0].subject == "station, new pipe"
    assert half[0].value == as_given.value > half[1].value
    darcy = dataclasses.replace(
        station, force_main=main_of(Pipe(500.0, 0.2, "darcy-weisbach", roughness_m=1e-4))
    )
    one = only(capacity(case_of(darcy, main=MainAges(new_c=140.0, old_c=90.0))), "firm capacity")
    assert one.subject == "station, pipe as given"


# ---------------------------------------------------------------- velocity


def test_velocities_are_flow_over_area_in_the_widest_and_the_narrowest_pipe() -> None:
    # own closed form: fixed flows of 30 and 20 L/s through 200 mm and 250 mm
    station = duplex((0.030, 0.020), force_main=main_of(Pipe(9.0, 0.2), Pipe(9.0, 0.25)))
    found = {one.criterion: one for one in velocity(case_of(station))}
    area_250 = math.pi * 0.25**2 / 4.0
    assert found["least velocity"].value == pytest.approx(0.020 / area_250, rel=1e-12)  # 0.41
    assert found["cleaning velocity"].value == pytest.approx(0.050 / area_250, rel=1e-12)  # 1.02
    assert found["greatest velocity"].value == pytest.approx(0.050 / AREA_200, rel=1e-12)  # 1.59
    assert [found[name].verdict for name in found] == ["fail", "pass", "pass"]
    assert found["least velocity"].reason == "P2 alone at the stop level, 20.0 L/s in 250 mm"
    assert found["least velocity"].told("us") == "P2 alone at the stop level, 317 gpm in 9.84 in"


@pytest.mark.parametrize(
    ("criterion", "limit", "flow"),
    [
        ("least velocity", "least_velocity_ms", 0.020),
        ("cleaning velocity", "cleaning_velocity_ms", 0.050),
        ("greatest velocity", "most_velocity_ms", 0.050),
    ],
)
def test_velocity_exactly_at_its_limit_passes_and_a_hair_beyond_fails(
    criterion: str, limit: str, flow: float
) -> None:
    station = duplex((0.030, 0.020), force_main=main_of())
    at = flow / AREA_200
    beyond = at * (1.0 - 1e-6 if criterion == "greatest velocity" else 1.0 + 1e-6)
    one = only(velocity(case_of(station, limits={limit: at})), criterion)
    assert one.verdict == "pass"
    assert one.source.startswith("limits.")
    assert "velocity" in one.source
    assert one.source.endswith(" of the scenario")
    assert only(velocity(case_of(station, limits={limit: beyond})), criterion).verdict == "fail"


def test_velocity_too_fast_fails() -> None:
    # own closed form: 90 L/s through 200 mm are 2.86 m/s, over 8 ft/s
    one = only(velocity(case_of(triplex(force_main=main_of()))), "greatest velocity")
    assert one.value == pytest.approx(0.090 / AREA_200)
    assert (one.verdict, one.limit) == ("fail", 8.0 * 0.3048)


def test_velocity_without_a_main_is_not_judged() -> None:
    found = list(velocity(case_of(duplex())))
    assert [one.verdict for one in found] == ["not judged"] * 3
    assert {one.reason for one in found} == {"not judged: needs [force_main]"}


# ---------------------------------------------------------------- surge


def test_surge_is_lift_and_loss_and_joukowsky() -> None:
    # own closed form: one pump of 30 L/s through 200 mm, no friction, 1000 m/s
    main = main_of(Pipe(500.0, 0.2, "none"))
    station = dataclasses.replace(tank(flow_m3s=0.030), force_main=main)
    expected = 15.0 + 1000.0 * (0.030 / AREA_200) / G  # 112.4 m
    for rating, verdict in ((expected, "pass"), (expected - 1e-4, "fail"), (200.0, "pass")):
        ages = MainAges(wave_speed_ms=1000.0, pressure_rating_m=rating)
        one = only(surge(case_of(station, main=ages)), "surge, screening")
        assert one.value == pytest.approx(expected, rel=1e-12)
        assert one.verdict == verdict
        assert "within 1.0 s; a transient study decides" in one.reason
    for ages, needs in (
        (MainAges(), "force_main: wave_speed, pressure_rating"),
        (MainAges(wave_speed_ms=1000.0), "force_main: pressure_rating"),
    ):
        assert only(surge(case_of(station, main=ages)), "surge, screening").reason == (
            f"not judged: needs {needs}"
        )


# ---------------------------------------------------------------- levels


def test_levels_in_order_and_their_smallest_step() -> None:
    found = {one.criterion: one for one in levels(case_of(reference_station()))}
    # the reference station: stop 0.70, lead 1.50, lag 1.80, alarm 2.30, inlet 2.60, spill 4.20
    assert found["spacing of levels"].value == pytest.approx(0.30)
    assert found["spacing of levels"].reason == "smallest step: lead start to lag start"
    assert found["alarm under the inlet"].value == pytest.approx(0.30)
    assert {one.verdict for one in found.values()} == {"pass"}


@pytest.mark.parametrize(
    ("lag", "order", "spacing"),
    [(2.15, "pass", "pass"), (2.149, "pass", "fail"), (2.0, "pass", "fail"), (1.9, "fail", "fail")],
)
def test_levels_too_close_or_upside_down_fail(lag: float, order: str, spacing: str) -> None:
    found = {one.criterion: one for one in levels(case_of(duplex(levels={"lag_start_m": lag})))}
    assert found["order of levels"].verdict == order
    assert found["spacing of levels"].verdict == spacing
    assert found["spacing of levels"].value == pytest.approx(lag - 2.0)


def test_staged_stop_close_under_its_start_counts_as_spacing() -> None:
    settings = {"stop_policy": "last on, first off", "lag_start_m": 2.5, "lag_stop_m": 2.4}
    found = {one.criterion: one for one in levels(case_of(duplex(levels=settings)))}
    assert found["spacing of levels"].value == pytest.approx(0.1)
    assert found["spacing of levels"].reason == "smallest step: lag stop to lag start"
    assert found["spacing of levels"].verdict == "fail"


@pytest.mark.parametrize(("inlet", "verdict"), [(3.0, "pass"), (2.99, "fail"), (3.4, "pass")])
def test_alarm_must_stand_under_the_inlet(inlet: float, verdict: str) -> None:
    one = only(levels(case_of(duplex(inlet_invert_m=inlet))), "alarm under the inlet")
    assert (one.verdict, one.value) == (verdict, pytest.approx(inlet - 3.0))


def test_levels_that_are_not_set_are_not_judged() -> None:
    case = case_of(duplex(alarms=AlarmSettings()))
    assert only(levels(case), "alarm under the inlet").reason == (
        "not judged: needs alarms.high_level"
    )
    plan = ControlPlan("plug_ins:Misbehaving", NoSettings(), "fixed", NoSettings())
    bare = duplex(control=plan, alarms=AlarmSettings(), spillway=None)
    assert {one.verdict for one in levels(case_of(bare))} == {"not judged"}
    alarm_and_spill = {one.criterion: one for one in levels(case_of(duplex(control=plan)))}
    assert alarm_and_spill["order of levels"].value == pytest.approx(1.0)  # 3.0 to 4.0 m
    assert alarm_and_spill["spacing of levels"].verdict == "not judged"


# ---------------------------------------------------------------- suction


def with_inlet(**inlet: object) -> list:
    case = case_of(
        tank(flow_m3s=0.05),
        inlets={"P1": PumpInlet(**inlet)},  # type: ignore[arg-type]
    )
    return list(submergence(case))


@pytest.mark.parametrize(("level", "verdict"), [(0.415, "pass"), (0.416, "fail"), (0.2, "pass")])
def test_submergence_of_a_wide_opening_by_the_bell_formula(level: float, verdict: str) -> None:
    # ANSI/HI 9.8 by hand: 50 L/s, 300 mm: V 0.70736 m/s, Fd 0.41240, S 0.58456 m; stop at 1.0 m
    one = only(with_inlet(level_m=level, diameter_m=0.3), "submergence at the stop level")
    assert one.limit == pytest.approx(0.58456, abs=1e-5)
    assert (one.verdict, one.value) == (verdict, pytest.approx(1.0 - level))
    assert one.source.startswith("ANSI/HI 9.8")


def test_submergence_of_a_fast_opening_by_entrance_velocity() -> None:
    # MIL-HDBK-1005/9A: 1.5 m/s are 4.921 ft/s, 2.0 + 0.6 x 0.921 = 2.5528 ft of water
    case = case_of(
        tank(flow_m3s=1.5 * math.pi * 0.1**2 / 4.0),
        inlets={"P1": PumpInlet(level_m=0.2, diameter_m=0.1)},
    )
    one = only(submergence(case), "submergence at the stop level")
    assert one.limit == pytest.approx(2.5528 * 0.3048, abs=1e-4)
    assert one.source.startswith("MIL-HDBK")


@pytest.mark.parametrize(("least", "verdict"), [(0.6, "pass"), (0.61, "fail")])
def test_submergence_by_the_maker_comes_first(least: float, verdict: str) -> None:
    found = with_inlet(level_m=0.4, diameter_m=0.3, least_submergence_m=least)
    one = only(iter(found), "submergence at the stop level")
    assert (one.limit, one.verdict, one.source) == (least, verdict, "maker's figure")


def test_entrance_velocity_over_five_feet_a_second_fails() -> None:
    # own closed form: 50 L/s through 200 mm are 1.592 m/s; 5 ft/s are 1.524
    one = only(iter(with_inlet(level_m=0.0, diameter_m=0.2)), "entrance velocity")
    assert (one.value, one.limit) == (pytest.approx(0.05 / AREA_200), pytest.approx(1.524))
    assert one.verdict == "fail"
    deep = only(iter(with_inlet(level_m=0.0, diameter_m=0.2)), "submergence at the stop level")
    assert math.isfinite(deep.limit)
    at = math.sqrt(4.0 * 0.05 / 1.524 / math.pi)
    for diameter, verdict in ((at, "pass"), (at * 0.9999, "fail")):
        found = iter(with_inlet(level_m=0.0, diameter_m=diameter))
        assert only(found, "entrance velocity").verdict == verdict


def test_suction_head_is_air_less_vapour_and_water_over_the_inlet() -> None:
    # own closed form: 10.33 - 0.24 + (1.0 - 0.4) = 10.69 m, required 4 m at 50 L/s, margin 0.5 m
    table = FlowTable((0.02, 0.05), (3.0, 4.0))
    one = only(iter(with_inlet(level_m=0.4, npsh_required=table)), "suction head")
    assert one.value == pytest.approx(10.69)
    assert (one.limit, one.verdict) == (pytest.approx(4.5), "pass")
    for required, verdict in ((10.19, "pass"), (10.1901, "fail")):
        table = FlowTable((0.02, 0.05), (3.0, required))
        found = iter(with_inlet(level_m=0.4, npsh_required=table))
        assert only(found, "suction head").verdict == verdict


def test_suction_head_beyond_the_curve_that_was_given_is_not_judged() -> None:
    table = FlowTable((0.02, 0.04), (3.0, 4.0))
    one = only(iter(with_inlet(level_m=0.4, npsh_required=table)), "suction head")
    assert one.reason == "not judged: needs pump.P1.inlet: npsh_required up to 50.0 L/s"


def test_inlet_that_is_not_told_is_not_judged() -> None:
    found = list(submergence(case_of(tank())))
    assert [(one.criterion, one.reason) for one in found] == [
        ("submergence at the stop level", "not judged: needs pump.P1.inlet: level"),
        ("entrance velocity", "not judged: needs pump.P1.inlet: diameter"),
        ("suction head", "not judged: needs pump.P1.inlet: level, npsh_required"),
    ]
    one = only(iter(with_inlet(level_m=0.4)), "submergence at the stop level")
    assert one.reason == "not judged: needs pump.P1.inlet: least_submergence or diameter"


@pytest.mark.parametrize(
    ("required", "verdict"), [(2.0, "pass"), (22.0 * 0.3048 - 3.8, "pass"), (2.906, "fail")]
)
def test_suction_lift_and_head_required_stay_within_22_feet(required: float, verdict: str) -> None:
    # own closed form: eye at 5.0 m, stop of the engine-driven pump at 1.2 m: 3.8 m of lift
    station = duplex(engine_pump=engine_pump())
    pipe = Pipe(6.0, 0.2, "none")
    case = case_of(station, engine_suction=SuctionLine(5.0, pipe, npsh_required_m=required))
    one = only(engine_suction(case), "suction lift")
    assert (one.value, one.limit) == (pytest.approx(3.8 + required), pytest.approx(6.7056))
    assert one.verdict == verdict


def test_suction_lift_counts_the_loss_in_its_line() -> None:
    # own closed form: 40 L/s through 150 mm, K 2: 2 V^2 / 2 g
    pipe = Pipe(0.0, 0.15, "none", fittings_k=2.0)
    case = case_of(
        duplex(engine_pump=engine_pump()),
        engine_suction=SuctionLine(5.0, pipe, npsh_required_m=2.0),
    )
    speed = 0.04 / (math.pi * 0.15**2 / 4.0)
    one = only(engine_suction(case), "suction lift")
    assert one.value == pytest.approx(3.8 + 2.0 + speed**2 / G, rel=1e-9)


@pytest.mark.parametrize(
    ("primes", "verdict"), [(6.0, "pass"), (1.8 + 4.0 * 0.3048, "pass"), (3.0, "fail")]
)
def test_priming_keeps_four_feet_at_the_start_level(primes: float, verdict: str) -> None:
    # own closed form: eye at 5.0 m, start at 3.2 m: 1.8 m to prime
    case = case_of(
        duplex(engine_pump=engine_pump()),
        engine_suction=SuctionLine(5.0, most_priming_lift_m=primes),
    )
    one = only(engine_suction(case), "priming")
    assert (one.value, one.verdict) == (pytest.approx(primes - 1.8), verdict)


@pytest.mark.parametrize(
    ("engine", "line", "needs"),
    [
        (False, None, ["[engine_pump]", "[engine_pump]"]),
        (True, None, ["[engine_pump.suction]", "[engine_pump.suction]"]),
        (
            True,
            SuctionLine(5.0),
            [
                "engine_pump.suction: length, diameter, npsh_required",
                "engine_pump.suction: most_priming_lift",
            ],
        ),
        (
            True,
            SuctionLine(5.0, npsh_required_m=2.0),
            [
                "engine_pump.suction: length, diameter",
                "engine_pump.suction: most_priming_lift",
            ],
        ),
        (
            True,
            SuctionLine(5.0, Pipe(6.0, 0.2)),
            ["engine_pump.suction: npsh_required", "engine_pump.suction: most_priming_lift"],
        ),
    ],
)
def test_suction_of_the_engine_that_is_not_told_is_not_judged(
    engine: bool, line: SuctionLine | None, needs: list[str]
) -> None:
    station = duplex(engine_pump=engine_pump()) if engine else duplex()
    found = list(engine_suction(case_of(station, engine_suction=line)))
    assert [one.reason for one in found] == [f"not judged: needs {need}" for need in needs]
    assert {one.verdict for one in found} == {"not judged"}
