"""Starts and rest at the worst steady inflow, and the active volume: against cycle theory."""

from __future__ import annotations

import dataclasses
import math

import pytest
from plug_ins import ScanSettings
from rated_stations import case_of, only
from scipy.optimize import minimize_scalar

from stationsim.control.contract import ControlPlan
from stationsim.control.rotation import NoSettings
from stationsim.equipment.pumps import PumpUnit
from stationsim.equipment.ratings import MotorPlate
from stationsim.physics.well import Well, cylinder
from stationsim.station import Station
from stationsim.studies.check.criterion import Case
from stationsim.studies.check.cycles import starts
from stationsim.studies.check.steady import Worst, rates_of, steady_inflows, worst_starts
from stationsim.testing import duplex, reference_station, staging, tank, triplex

GALLON, GPM = 3.785411784e-3, 3.785411784e-3 / 60.0
HP = 745.6998715822702
LB_FT2 = 0.45359237 * 0.3048**2


def round_well(
    *flows_m3s: float, rotation: str = "fixed", volume_m3: float | None = None, **levels: float
) -> Station:
    """Return pumps of fixed flow in a round well of 3.0 m, 0.80 m between stop and lead start."""
    height = 0.8 if volume_m3 is None else volume_m3 / (math.pi * 9.0 / 4.0)
    settings = {"stop_m": 0.7, "lead_start_m": 0.7 + height} | levels
    return Station(
        name="round",
        well=Well((cylinder(3.0),)),
        pumps=tuple(PumpUnit(f"P{n}", fixed_flow_m3s=q) for n, q in enumerate(flows_m3s, start=1)),
        control=staging(rotation, **settings),
    )


def worst_of(case: Case) -> dict[str, Worst]:
    return worst_starts(case, rates_of(case))


def test_one_pump_starts_most_at_half_of_its_flow() -> None:
    # 3.0 m well, 0.80 m, 30 L/s: V = 5.65487 m3, Q / 4 V = 4.77465 starts an hour at 15 L/s
    worst = worst_of(case_of(round_well(0.030)))["P1"]
    assert worst.per_hour == pytest.approx(4.77465, rel=1e-5)
    assert worst.at_m3s == pytest.approx(0.015)
    # the rest is shortest where most arrives: V over 0.9 x 30 L/s
    assert worst.rest_s == pytest.approx(math.pi * 9.0 / 4.0 * 0.8 / 0.027, rel=1e-6)


@pytest.mark.parametrize(
    ("inflow", "per_hour"),
    [(0.003, 1.71887), (0.012, 4.58366), (0.013, 4.68977), (0.015, 4.77465), (0.0225, 3.58099)],
)
def test_each_steady_inflow_gives_v_over_q_and_v_over_the_rest(
    inflow: float, per_hour: float
) -> None:
    # own closed form: 3600 / (V / q + V / (Q - q)), with V = 5.654867 m3 and Q = 30 L/s
    rates = rates_of(case_of(round_well(0.030)))
    volume = math.pi * 9.0 / 4.0 * 0.8
    for q, found in rates.items():
        expected = 3600.0 / (volume / q + volume / (0.030 - q))
        assert found["P1"].per_hour == pytest.approx(expected, rel=1e-6)
        assert found["P1"].rest_s == pytest.approx(volume / q, rel=1e-6)
    at = min(rates, key=lambda q: abs(q - inflow))
    assert at == pytest.approx(inflow, rel=1e-6)
    assert rates[at]["P1"].per_hour == pytest.approx(per_hour, rel=1e-5)


@pytest.mark.parametrize("rotation", ["fixed", "each cycle"])
def test_the_worst_inflow_of_a_common_stop_is_found_between_the_first_steps(rotation: str) -> None:
    # own closed form: 10 m3 to the lead start, 5 m3 more to the lag start on one pump of 30 L/s,
    # and 15 m3 drawn by two; the least of it by another road
    def cycle_s(q: float) -> float:
        return 10.0 / q + 5.0 / (q - 0.030) + 15.0 / (0.060 - q)

    best = minimize_scalar(
        cycle_s, bounds=(0.0301, 0.0599), method="bounded", options={"xatol": 1e-9}
    )
    assert (best.x, 3600.0 / best.fun) == (
        pytest.approx(0.0415, abs=5e-5), pytest.approx(2.4217, abs=5e-5)
    )  # fmt: skip
    levels = {"stop_m": 1.0, "lead_start_m": 2.0, "lag_start_m": 2.5}
    station = duplex(control=staging(rotation, **levels))
    rates = rates_of(case_of(station))
    lag = {q: one["P2"].per_hour for q, one in rates.items() if q > 0.030 and "P2" in one}
    assert max(lag.values()) == pytest.approx(2.4217, rel=1e-3)
    assert max(lag, key=lambda q: lag[q]) == pytest.approx(0.0415, rel=0.02)
    for q, per_hour in lag.items():
        assert per_hour == pytest.approx(3600.0 / cycle_s(q), rel=1e-6)


@pytest.mark.parametrize("rotation", ["each cycle", "run hours"])
@pytest.mark.parametrize("count", [2, 3])
def test_pumps_that_alternate_share_the_starts(rotation: str, count: int) -> None:
    for worst in worst_of(case_of(round_well(*[0.030] * count, rotation=rotation))).values():
        assert worst.per_hour == pytest.approx(4.77465 / count, rel=1e-5)


@pytest.mark.parametrize(("count", "per_hour"), [(1, 10.0), (2, 5.0), (3, 10.0 / 3.0)])
def test_750_gallons_at_500_gpm_give_ten_starts_shared_by_all(count: int, per_hour: float) -> None:
    # T = 4 V / D = 6 min, MIL-HDBK-1005/9A (1997) 2.5.3.6; shared by alternation, EI 11C201 (1997)
    rotation = "each cycle" if count > 1 else "fixed"
    station = round_well(*[500 * GPM] * count, rotation=rotation, volume_m3=750 * GALLON)
    case = case_of(station)
    assert [one.per_hour for one in worst_of(case).values()] == [
        pytest.approx(per_hour, rel=1e-5)
    ] * count
    for limit, verdict in ((per_hour * 1.0001, "pass"), (per_hour * 0.9999, "fail")):
        limited = case_of(station, limits={"most_starts_per_hour": limit})
        one = only(starts(limited, rates_of(limited)), "starts in an hour", "P1")
        assert (one.verdict, one.source) == (verdict, "limits.most_starts_per_hour of the scenario")
        volume = only(starts(limited, rates_of(limited)), "active volume")
        assert volume.verdict == verdict
        assert volume.limit == pytest.approx(750 * GALLON * per_hour / limit, rel=1e-9)


@pytest.mark.parametrize(
    ("hp", "flow_gpm", "gallons"), [(15.0, 300.0, 750.0), (50.0, 600.0, 2250.0)]
)
def test_active_volume_by_the_size_of_the_motor(hp: float, flow_gpm: float, gallons: float) -> None:
    # US Army EI 11C201 (1997), 7: V = t q / 4, 10 min below 20 bhp, 15 min for 50; halved by
    # automatic alternation
    plate = MotorPlate(rated_w=hp * HP, poles=4)
    for count, rotation in ((1, "fixed"), (2, "each cycle")):
        station = round_well(
            *[flow_gpm * GPM] * count, rotation=rotation, volume_m3=gallons * GALLON / count
        )
        case = case_of(station, plates={"P1": plate, "P2": plate})
        one = only(starts(case, rates_of(case)), "active volume")
        assert one.limit == pytest.approx(gallons * GALLON / count, rel=1e-9)
        assert one.verdict == "pass"  # it stands exactly at its limit
        by_size = only(starts(case, rates_of(case)), "starts in an hour", "P1")
        assert by_size.source.startswith("US Army EI 11C201 (1997), Table 7-1")
        assert by_size.limit == pytest.approx(6.0 if hp == 15.0 else 4.0)


STAGED = {"stop_policy": "last on, first off"}


@pytest.mark.parametrize(
    ("lag_start", "lag_stop", "per_hour"),
    [(1.80, 1.50, 5.09296), (1.60, 1.50, 15.2789), (1.80, 1.20, 2.54648), (1.60, 1.20, 3.81972)],
)
def test_lag_of_a_staged_stop_takes_all_the_starts(
    lag_start: float, lag_stop: float, per_hour: float
) -> None:
    # own closed form: V / (Q - Q1) + V / (Q2 - Q), shortest at 36 L/s between 30 and 42 L/s
    levels = {"stop_m": 0.7, "lead_start_m": 1.5, "lag_start_m": lag_start, "lag_stop_m": lag_stop}
    station = reference_station(control=staging("fixed", **STAGED, **levels))
    worst = worst_of(case_of(station))
    assert worst["P1"].per_hour == pytest.approx(4.77465, rel=1e-5)
    assert worst["P2"].per_hour == pytest.approx(per_hour, rel=1e-4)
    assert worst["P2"].at_m3s == pytest.approx(0.036)
    # whichever pump is the lag when the storm comes takes them: each cycle, any of them may
    moving = reference_station(control=staging("each cycle", **STAGED, **levels))
    for one in worst_of(case_of(moving)).values():
        assert one.per_hour == pytest.approx(max(per_hour, 4.77465 / 2.0), rel=1e-4)
        if per_hour > 3.0:
            assert one.at_m3s == pytest.approx(0.036)


@pytest.mark.parametrize(("lag_start", "per_hour"), [(1.80, 1.99290), (1.60, 2.69627)])
def test_lag_with_one_common_stop_starts_once_a_cycle(lag_start: float, per_hour: float) -> None:
    # own closed form: fill, rise on one pump, and draw down with two, at 36 L/s
    levels = {"stop_m": 0.7, "lead_start_m": 1.5, "lag_start_m": lag_start}
    rates = rates_of(case_of(reference_station(control=staging("each cycle", **levels))))
    at = min(rates, key=lambda q: abs(q - 0.036))
    assert at == pytest.approx(0.036)
    for one in rates[at].values():
        assert one.per_hour == pytest.approx(per_hour, rel=1e-5)


def test_clock_gives_a_pump_all_starts_while_it_leads() -> None:
    for every_s in (86_400.0, 7200.0):
        station = round_well(0.030, 0.030)
        station = dataclasses.replace(
            station, control=staging("clock", every_s, stop_m=0.7, lead_start_m=1.5)
        )
        for worst in worst_of(case_of(station)).values():
            assert worst.per_hour == pytest.approx(4.77465, rel=1e-5)


def test_unlike_pumps_are_tried_at_half_of_each() -> None:
    # own closed form: 30 and 24 L/s in turn at q take V/q + V/(30-q) + V/q + V/(24-q) for both
    case = case_of(round_well(0.030, 0.024, rotation="each cycle"))
    tried = steady_inflows(case)
    assert {0.012, 0.015} <= {round(q, 9) for q in tried}
    volume = math.pi * 9.0 / 4.0 * 0.8
    for q, found in rates_of(case).items():
        if q < 0.024:
            both = 2.0 * volume / q + volume / (0.030 - q) + volume / (0.024 - q)
            assert found["P1"].per_hour == pytest.approx(3600.0 / both, rel=1e-6)
            assert found["P2"].per_hour == pytest.approx(3600.0 / both, rel=1e-6)


def test_delays_and_rest_lengthen_the_cycle() -> None:
    # own closed form: a start delay of 60 s adds 60 s of filling, and what has come is drawn too
    station = tank(10.0, 0.020)
    delayed = dataclasses.replace(
        station, control=staging("fixed", lead_start_m=2.0, stop_m=1.0, start_delay_s=60.0)
    )
    rates = rates_of(case_of(delayed))
    for q, found in rates.items():
        volume = 10.0 + 60.0 * q
        cycle = volume / q + volume / (0.020 - q)
        assert found["P1"].per_hour == pytest.approx(3600.0 / cycle, rel=1e-6)


@pytest.mark.parametrize(
    ("rotation", "told"),
    [
        ("fixed", ", the lead takes all starts"),
        ("clock", ", the lead takes all starts"),
        (
            "shares",
            ", its turns follow the shares of the hours; reckoned as if one pump took all starts",
        ),
        ("each cycle", ", 2 taking turns"),
    ],
)
def test_active_volume_says_how_the_starts_are_shared(rotation: str, told: str) -> None:
    control = staging(rotation, stop_m=0.7, lead_start_m=1.5)
    case = case_of(dataclasses.replace(round_well(0.030, 0.030), control=control))
    one = only(starts(case, rates_of(case)), "active volume")
    assert one.reason.endswith(told)
    # own closed form: T D / 4 with 10 min and 30 L/s, and half of it with two in turn
    assert one.limit == pytest.approx(2.25 if rotation == "each cycle" else 4.5)


def test_steady_inflows_go_no_further_than_the_calls() -> None:
    # three pumps, two calls: the third adds nothing that is ever called
    station = triplex()
    two = dataclasses.replace(
        station, control=staging("each cycle", stop_m=1.0, lead_start_m=2.0, lag_start_m=2.5)
    )
    assert max(steady_inflows(case_of(two))) < 0.060
    assert max(steady_inflows(case_of(station))) > 0.080


def test_a_controller_without_stages_is_followed_all_the_same() -> None:
    plan = ControlPlan("plug_ins:Scanning", ScanSettings(scan_s=10.0), "fixed", NoSettings())
    case = case_of(duplex((0.03, 0.03), control=plan))
    rates = rates_of(case)
    # own closed form: 10 m3 between 1.0 and 2.0 m, and up to one look late at either end
    at_half = min(rates, key=lambda q: abs(q - 0.015))
    assert rates[at_half]["P1"].per_hour == pytest.approx(0.03 / 40.0 * 3600.0, rel=0.02)
    found = list(starts(case, rates))
    assert only(iter(found), "active volume").reason == (
        "not judged: needs a stop level and a lead start"
    )
    assert only(iter(found), "starts in an hour", "P1").verdict == "pass"


def test_a_pump_that_never_cycles_passes_with_no_starts_and_says_so() -> None:
    # fixed rotation with one call: P2 is never called
    case = case_of(round_well(0.030, 0.030))
    one = only(starts(case, rates_of(case)), "starts in an hour", "P2")
    assert (one.value, one.verdict) == (0.0, "pass")
    assert one.reason == "it does not cycle at any of the steady inflows tried"


# ---------------------------------------------------------------- plates


def test_starts_by_the_size_of_the_motor_and_the_inertia_of_its_load() -> None:
    # NEMA MG 10, worked example: 25 hp, 4 poles, 50 lb ft2: 2.44 starts an hour, 58 s of rest
    plate = MotorPlate(rated_w=25 * HP, poles=4, load_inertia_kgm2=50 * LB_FT2)
    case = case_of(round_well(0.030), plates={"P1": plate})
    found = list(starts(case, rates_of(case)))
    one = only(iter(found), "motor starts by size")
    assert (one.limit, one.verdict) == (pytest.approx(2.44, abs=1e-12), "fail")  # it makes 4.77
    assert one.reason == "taken as 25 hp, 4 poles"
    rest = only(iter(found), "rest between runs")
    assert (rest.limit, rest.verdict) == (58.0, "pass")
    light = case_of(round_well(0.030), plates={"P1": MotorPlate(rated_w=25 * HP, poles=4)})
    one = only(starts(light, rates_of(light)), "motor starts by size")
    assert (one.limit, one.verdict) == (8.8, "pass")
    assert one.reason == "taken as 25 hp, 4 poles, inertia of the load left out"


@pytest.mark.parametrize(("least", "verdict"), [(209.0, "pass"), (210.0, "fail"), (60.0, "pass")])
def test_rest_by_the_maker_against_the_shortest_rest(least: float, verdict: str) -> None:
    # own closed form: 5.65487 m3 at 27 L/s fill in 209.44 s
    case = case_of(round_well(0.030), plates={"P1": MotorPlate(least_off_s=least)})
    one = only(starts(case, rates_of(case)), "rest between runs")
    assert (one.value, one.verdict) == (pytest.approx(209.4395, abs=1e-3), verdict)
    assert one.source == "maker's plate"
    at = dataclasses.replace(case.ratings, plates={"P1": MotorPlate(least_off_s=one.value)})
    exact = Case(dataclasses.replace(case.station, ratings=at), case.episode)
    assert only(starts(exact, rates_of(exact)), "rest between runs").verdict == "pass"


def test_the_stricter_of_plate_and_scenario_counts() -> None:
    plate = MotorPlate(most_starts_per_hour=4.0, rated_w=5e3)
    case = case_of(round_well(0.030), plates={"P1": plate})
    one = only(starts(case, rates_of(case)), "starts in an hour")
    assert (one.limit, one.source, one.verdict) == (4.0, "maker's plate", "fail")
    both = case_of(round_well(0.030), plates={"P1": plate}, limits={"most_starts_per_hour": 3.0})
    one = only(starts(both, rates_of(both)), "starts in an hour")
    assert (one.limit, one.source) == (3.0, "limits.most_starts_per_hour of the scenario")


@pytest.mark.parametrize(
    ("plate", "criterion", "needs"),
    [
        (None, "motor starts by size", "pump.P1.plate: rated_power, poles"),
        (None, "rest between runs", "pump.P1.plate: least_off_time, or rated_power and poles"),
        (MotorPlate(rated_w=9e3), "motor starts by size", "pump.P1.plate: rated_power, poles"),
        (
            MotorPlate(rated_w=9e3, poles=8),
            "motor starts by size",
            "a motor of 2, 4 or 6 poles up to 250 hp (beyond it the maker decides)",
        ),
        (
            MotorPlate(rated_w=200e3, poles=4),
            "starts in an hour",
            "pump.P1.plate: most_starts_per_hour (by size the maker decides)",
        ),
        (MotorPlate(rated_w=200e3, poles=4), "active volume", "plates: most_starts_per_hour"),
    ],
)
def test_what_a_plate_does_not_say_is_not_judged(
    plate: MotorPlate | None, criterion: str, needs: str
) -> None:
    plates = {} if plate is None else {"P1": plate}
    case = case_of(round_well(0.030), plates=plates)
    one = only(starts(case, rates_of(case)), criterion)
    assert (one.verdict, one.reason) == ("not judged", f"not judged: needs {needs}")
