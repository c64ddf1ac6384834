"""What the pattern of readings suggests, tried on days with one thing wrong that is known.

The days are made by ``acceptance_faults``, which reckons the water by itself and draws what is
wrong otherwise than it is looked for. ``test_acceptance_causes_slow.py`` has many draws of each.
"""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from acceptance_faults import (
    FAULTS,
    World,
    day,
    fall_s,
    readings,
    sheet_of,
    shown,
    sound,
    with_gauges,
)
from scipy.integrate import quad
from scipy.stats import multivariate_normal

from stationsim.equipment.acceptance import Gauge
from stationsim.physics.gauge import pressure_pa
from stationsim.scenario.load import load_scenario
from stationsim.station import Station
from stationsim.studies.acceptance.causes.fits import Search
from stationsim.studies.acceptance.causes.foreseen import Outlook
from stationsim.studies.acceptance.causes.looks import LOOKS
from stationsim.studies.acceptance.causes.ranked import Cause, causes_of
from stationsim.studies.acceptance.causes.spread import SHARED, Likely, Spread, with_unit
from stationsim.studies.acceptance.causes.suspects import Suspect, suspects_of_pumps
from stationsim.studies.acceptance.causes.suspects_in_main import suspects_of_main
from stationsim.studies.acceptance.causes.suspects_in_readings import suspects_of_readings
from stationsim.studies.acceptance.drawn import planned_fall
from stationsim.studies.acceptance.reading import Reading, Taken
from stationsim.studies.acceptance.rig import AsBuilt, Back, InletAir, Rig

SCENARIOS = Path(__file__).parents[1] / "scenarios"
STATIONS = ("osier-wharf", "alder-lane")


def station_of(name: str) -> Station:
    return with_gauges(load_scenario(SCENARIOS / f"{name}.toml")[0])


@pytest.fixture(scope="module", params=STATIONS)
def triplex(request: pytest.FixtureRequest) -> Station:
    return station_of(request.param)


@pytest.fixture(scope="module")
def plain() -> Station:
    """A station of fixed flows, without curves, main and gauges."""
    return load_scenario(SCENARIOS / "reference-station.toml")[0]


_days: dict[tuple[str, str | None, int], tuple] = {}


def day_at(station: Station, fault: str | None, seed: int) -> tuple:
    """Return a day as :func:`day` makes it: sheet, readings and truth. Each is made once."""
    key = (station.name, fault, seed)
    if key not in _days:
        _days[key] = day(station, fault, seed)
    return _days[key]


def suspects(outlook: Outlook) -> list[Suspect]:
    kinds = (suspects_of_pumps, suspects_of_main, suspects_of_readings)
    return [one for kind in kinds for one in kind(outlook)]


def named(found: list[Cause]) -> list[tuple[str, str]]:
    return [(one.cause, one.subject) for one in found]


def exact(station: Station, *, values: dict[str, float] | None = None) -> list[Taken]:
    """Return readings just as expected, but for some by name."""
    values = values or {}
    return [
        Taken(one, values.get(one.name, one.expected), one.uncertainty)
        for one in sheet_of(station)
        if math.isfinite(one.expected)
    ]


# --- the truth is found ---------------------------------------------------------------------------


@pytest.mark.parametrize("fault", FAULTS)
def test_the_true_cause_is_among_the_first_two(triplex, fault):
    sheet, taken, truth = day_at(triplex, fault, 1)
    found = causes_of(triplex, sheet, taken)
    assert truth in named(found)[:2]
    assert found[0].standing == "fits best"


def test_a_sound_station_is_not_accused(triplex):
    for seed in range(2):
        sheet, taken, _truth = day_at(triplex, None, seed)
        found = causes_of(triplex, sheet, taken)
        assert found[0].cause == "sound", (seed, named(found))
        assert found[0].explains == ()
        assert all(one.standing == "fits nearly as well" for one in found[1:])


def test_readings_just_as_expected_are_sound_and_leave_nothing(triplex):
    (only,) = causes_of(triplex, sheet_of(triplex), exact(triplex))
    assert (only.cause, only.subject, only.leaves, only.apart) == ("sound", "", (), ())
    assert only.misfit == pytest.approx(0.0, abs=1e-9)


def test_the_size_is_near_the_true_one(triplex):
    rng = np.random.default_rng(5)
    world = sound(triplex, rng)
    world.meter *= 0.88
    sheet = sheet_of(triplex)
    best = causes_of(triplex, sheet, readings(world, sheet, rng))[0]
    assert best.cause == "flow meter off"
    assert best.size == pytest.approx(0.88, abs=0.02)
    assert f"about {best.size:.2f} of what flows" in best.size_told


def test_a_misread_value_is_named_and_told(triplex):
    name = "P2 alone: gauge on the header at"
    reading = next(one for one in sheet_of(triplex) if one.name.startswith(name))
    taken = exact(triplex, values={reading.name: reading.expected + 20e3})
    best = causes_of(triplex, sheet_of(triplex), taken)[0]
    assert (best.cause, best.subject) == ("one reading misread", reading.name)
    assert best.size == pytest.approx(20e3, rel=0.02)
    assert best.size_told.endswith("kPa too much")
    assert best.explains == (reading.name,)
    assert best.leaves == ()


def test_a_misread_time_is_told_as_a_time(plain):
    sheet = sheet_of(plain)
    reading = next(one for one in sheet if one.name == "P2 alone: time of the fall")
    taken = exact(plain, values={reading.name: reading.expected + 60.0})
    found = causes_of(plain, sheet, taken)
    misread = next(one for one in found if one.cause == "one reading misread")
    assert misread.subject == reading.name
    assert misread.size_told in {"about 60 s too much", "about 59 s too much"}


# --- what is said of a cause ----------------------------------------------------------------------


def weak_p1(station: Station, *, without: tuple[str, ...] = ()) -> tuple[list, list[Cause]]:
    """Return a sheet and the causes of a day on which P1 has lost some of its flow and head."""
    rng = np.random.default_rng(3)
    world = sound(station, rng)
    world.flow[0] *= 0.82
    world.head[0] *= 0.92
    sheet = sheet_of(station)
    taken = [one for one in readings(world, sheet, rng) if one.reading.what not in without]
    return sheet, causes_of(station, sheet, taken)


def test_a_shut_off_pressure_not_read_tells_a_weak_pump_from_a_valve(triplex):
    gauges = ("pump pressure", "shut-off pressure", "current", "speed")
    _sheet, found = weak_p1(triplex, without=gauges)
    weak = next(one for one in found if (one.cause, one.subject) == ("weak pump", "P1"))
    apart = next(one for one in weak.apart if one.other == "valve at a pump not fully open")
    assert (apart.other_subject, apart.measure, apart.taken) == ("P1", "pressure", False)
    assert apart.reading.startswith(("P1 shut off", "P1 alone: gauge of the pump"))
    assert apart.here < apart.there  # behind a valve the pressure of a good pump rises
    assert "kPa if P1 is weak, " in apart.told("si")
    assert "psi if a valve at P1 is partly closed" in apart.told("us")
    outlook = Outlook(triplex, sheet_of(triplex), [])
    item = next(one for one in outlook.items if one.reading.name == apart.reading)
    suspect = next(
        one for one in suspects(outlook) if (one.cause, one.subject) == ("weak pump", "P1")
    )
    sizes = [
        outlook.shown(Rig(shape.built(weak.size)), item)
        for shape in suspect.shapes
        if shape.words(weak.size) == weak.size_told
    ]
    assert sizes == [pytest.approx(apart.here, rel=2e-3)]


def test_it_names_what_it_explains_and_what_it_leaves(triplex):
    sheet, found = weak_p1(triplex)
    best = found[0]
    assert (best.cause, best.subject) == ("weak pump", "P1")
    by_name = {one.name: one for one in sheet}
    assert best.explains
    assert all(0 in by_name[name].machines for name in best.explains)
    assert not set(best.explains) & set(best.leaves)
    assert best.readings == len([one for one in sheet if math.isfinite(one.expected)])


def test_what_a_cause_explains_lay_outside_and_lies_within():
    """By hand: what differs by more than two deviations before, and no more after."""
    station = station_of("osier-wharf")
    sheet, taken, _truth = day_at(station, "meter", 4)
    best = causes_of(station, sheet, taken)[0]
    outlook = Outlook(station, sheet, taken)
    off = Spread(outlook).deviations()
    before = np.abs(outlook.values - outlook.sound) / off
    flows = [
        item.reading.name
        for item, size in zip(outlook.items, before, strict=True)
        if item.reading.what == "meter flow" and size > 2.0
    ]
    assert flows
    assert set(best.explains) <= {
        item.reading.name for item, size in zip(outlook.items, before, strict=True) if size > 2.0
    }
    assert set(flows) <= set(best.explains) | set(best.leaves)


def test_sizes_and_values_are_told_in_either_system(triplex):
    sheet, taken, _truth = day_at(triplex, "header gauge", 1)
    best = causes_of(triplex, sheet, taken)[0]
    assert best.cause == "gauge on the header off"
    assert "kPa too" in best.told("si")
    assert "psi too" in best.told("us")
    assert " m " in best.told("si")
    assert " ft " in best.told("us")
    assert best.size_told == best.told("si")


def test_nothing_is_told_as_certain_or_in_percent(triplex):
    for fault in ("weak", "leak", "rough"):
        sheet, taken, _truth = day_at(triplex, fault, 1)
        for cause in causes_of(triplex, sheet, taken):
            said = " ".join([
                cause.cause, cause.subject, cause.size_told, cause.standing, cause.look_first,
                *(apart.told("us") for apart in cause.apart),
            ])  # fmt: skip
            assert "%" not in said
            assert "certain" not in said
            assert "about" in cause.size_told or cause.cause == "sound"


@pytest.mark.parametrize(
    "faults", [("weak", "header gauge"), ("valve at a pump", "rough"), ("area", "weak")]
)
def test_of_two_things_wrong_at_once_one_is_named_and_much_is_left(triplex, faults):
    rng = np.random.default_rng(4)
    world, sheet = sound(triplex, rng), sheet_of(triplex)
    truths = [(FAULTS[f][0], FAULTS[f][1](world, i, rng)) for i, f in enumerate(faults)]
    best = causes_of(triplex, sheet, readings(world, sheet, rng))[0]
    assert (best.cause, best.subject) in truths
    assert best.leaves_much
    assert best.leaves


def test_one_thing_wrong_leaves_no_more_than_scatter(triplex):
    for fault in ("weak", "meter", "leak"):
        sheet, taken, _truth = day_at(triplex, fault, 1)
        best = causes_of(triplex, sheet, taken)[0]
        assert not best.leaves_much
        count = best.readings
        assert 0.5 * count < best.misfit < count + 4.0 * math.sqrt(2.0 * count)


def test_at_most_six_the_best_first(triplex):
    for fault in ("weak", "air at the inlet"):
        sheet, taken, _truth = day_at(triplex, fault, 1)
        few = [one for one in taken if one.reading.what == "fall"]
        found = causes_of(triplex, sheet, few)
        standings = [one.standing for one in found]
        order = ["fits best", "fits nearly as well", "fits less well"]
        assert 1 <= len(found) <= 6
        assert standings == sorted(standings, key=order.index)
        assert standings.count("fits best") == 1


def test_every_suspect_has_a_look_and_a_cause_of_harm_names_who_may_do_it(triplex, plain):
    for station in (triplex, plain):
        outlook = Outlook(station, sheet_of(station), [])
        assert {one.cause for one in suspects(outlook)} <= set(LOOKS)
    assert "licensed electrician" in LOOKS["pump turns the wrong way"]
    assert "locked out" in LOOKS["pump turns the wrong way"]
    assert "locked out" in LOOKS["weak pump"]
    assert "permit" in LOOKS["air trapped in the main"]
    for cause in ("inflow left out", "area of the well or drop wrong"):
        assert "nobody enters the well" in LOOKS[cause].lower()


# --- few readings ---------------------------------------------------------------------------------


def test_what_no_reading_sees_is_not_listed(triplex):
    for fault in ("weak", "area"):
        sheet, taken, _truth = day_at(triplex, fault, 1)
        few = [one for one in taken if one.reading.what == "fall"]
        unseen = ("flow meter off", "gauge on the header off", "gauges at the pumps off",
                  "gauge at a pump off")  # fmt: skip
        assert not {one.cause for one in causes_of(triplex, sheet, few)} & set(unseen)
    sheet, taken, _truth = day_at(triplex, "weak", 1)
    few = [one for one in taken if one.reading.what == "header pressure"]
    found = {one.cause for one in causes_of(triplex, sheet, few)}
    assert not found & {"inflow left out", "area of the well or drop wrong", "flow meter off"}


def test_with_times_of_falls_alone_several_causes_stand_together(triplex):
    sheet, taken, (_cause, subject) = day_at(triplex, "weak", 1)
    few = [one for one in taken if one.reading.what == "fall"]
    found = causes_of(triplex, sheet, few)
    first = named(found)[:3]
    assert ("weak pump", subject) in first
    assert ("valve at a pump not fully open", subject) in first
    near = [one for one in found if one.standing != "fits less well"]
    assert len(near) >= 2
    assert any(not apart.taken for apart in found[0].apart)


def test_with_the_gauge_on_the_header_alone_a_weak_pump_is_still_found(triplex):
    sheet, taken, truth = day_at(triplex, "weak", 1)
    few = [one for one in taken if one.reading.what == "header pressure"]
    found = causes_of(triplex, sheet, few)
    assert {one.subject for one in found[:2]} == {truth[1]}
    assert truth in named(found)[:2]


def test_no_reading_no_cause(triplex):
    sheet = sheet_of(triplex)
    assert causes_of(triplex, sheet, []) == []
    float_acts = Reading("float high acts", "floats", "acts at level", "float high", expected=2.4)
    well_tight = Reading("well is tight", "well", "yes or no", "well", expected=1.0)
    other = [Taken(float_acts, 2.1, 0.01), Taken(well_tight, 0.0, 0.0)]
    assert causes_of(triplex, [*sheet, float_acts, well_tight], other) == []


def test_one_reading_alone_is_never_explained_with_a_clear_best(triplex):
    reading = next(one for one in sheet_of(triplex) if one.what == "meter flow")
    low = Taken(reading, 0.8 * reading.expected, reading.uncertainty)
    found = causes_of(triplex, sheet_of(triplex), [low])
    assert found[0].cause != "sound"
    assert sum(one.standing != "fits less well" for one in found) >= 3


def test_rises_that_were_timed_clear_the_inflow():
    """A lineup with its rises has its inflow counted: then nothing was left out of it."""
    station = station_of("alder-lane")
    sheet, taken, truth = day_at(station, "inflow", 1)
    assert named(causes_of(station, sheet, taken))[0] == truth
    plan = replace(station.ratings.acceptance, inflow="comes in")
    station = replace(station, ratings=replace(station.ratings, acceptance=plan))
    sheet, fall = sheet_of(station), planned_fall(station)
    well = station.well
    volume = well.volume_at(fall.from_m) - well.volume_at(fall.to_m)
    rng = np.random.default_rng(8)
    world = sound(station, rng)
    world.inflow_m3s = 0.004
    rises = [
        Taken(one, volume / world.inflow_m3s, one.uncertainty)
        for one in sheet
        if one.what in {"rise before", "rise after"}
    ]
    assert rises
    taken = readings(world, sheet, rng)
    assert causes_of(station, sheet, taken)[0].cause == "inflow left out"
    assert causes_of(station, sheet, [*taken, *rises])[0].cause == "sound"


# --- stations without curves ----------------------------------------------------------------------


@pytest.mark.parametrize("machine", [0, 1])
def test_a_pump_of_fixed_flow_that_delivers_less_is_named(plain, machine):
    rng = np.random.default_rng(machine)
    world = sound(plain, rng)
    world.flow[machine] *= 0.8
    sheet = sheet_of(plain)
    found = causes_of(plain, sheet, readings(world, sheet, rng))
    assert named(found)[0] == ("pump delivers less than given", f"P{machine + 1}")
    assert found[0].size == pytest.approx(0.8, abs=0.05)
    assert "worn" in found[0].look_first
    assert "weak pump" not in {one.cause for one in found}


@pytest.mark.parametrize("fault", ["meter", "area", "inflow", "leak"])
def test_instruments_and_inflow_at_a_station_of_fixed_flows(plain, fault):
    hits = 0
    for seed in range(4):
        rng = np.random.default_rng([seed, 3])
        world = sound(plain, rng)
        truth = (FAULTS[fault][0], FAULTS[fault][1](world, 0, rng))
        sheet = sheet_of(plain)
        found = causes_of(plain, sheet, readings(world, sheet, rng))
        hits += truth in named(found)[:2]
    assert hits == 4


def test_a_sound_station_of_fixed_flows_is_not_accused(plain):
    sheet = sheet_of(plain)
    for seed in range(10):
        rng = np.random.default_rng([seed, 4])
        found = causes_of(plain, sheet, readings(sound(plain, rng), sheet, rng))
        assert found[0].cause == "sound", (seed, named(found))


# --- the parts it is made of ----------------------------------------------------------------------


def test_the_two_ways_to_reckon_the_water_agree(triplex):
    """The maker of days and the rig, which share no solver, show the same for a sound station."""
    outlook = Outlook(triplex, sheet_of(triplex), [])
    world, rig = World(outlook.station, smooth=False), outlook.rig
    fall = planned_fall(triplex)
    for item in outlook.items:
        reading = item.reading
        if reading.what in {"speed", "current"}:
            continue
        theirs = shown(world, reading)
        if reading.what == "fall":
            ours = rig.fall_s(reading.machines, *fall)
            assert ours == pytest.approx(theirs, rel=2e-3), reading.name
            assert ours == pytest.approx(
                fall_s(world, reading.machines, fall.from_m, fall.to_m), rel=2e-3
            )
        else:
            assert outlook.shown(rig, item) == pytest.approx(theirs, rel=1e-4), reading.name


def test_what_is_foreseen_in_between_is_what_the_rig_shows(triplex):
    """Within a twentieth of what a suspect changes, or 0.3 of what a reading scatters by itself.

    Air at an inlet goes with the level, and the check valve of its pump may shut in between: three
    times as much.
    """
    outlook = Outlook(triplex, sheet_of(triplex), [])
    own = Spread(outlook).own
    for suspect in suspects(outlook):
        for shape in suspect.shapes:
            for size in (shape.sizes[0], shape.sizes[len(shape.sizes) // 2]):
                built = shape.built(size)
                near = outlook.under(built, suspect.touches, suspect.shut_off)
                rig = Rig(built)
                told = np.array([outlook.shown(rig, item) for item in outlook.items])
                np.testing.assert_array_equal(np.isnan(near), np.isnan(told))
                change = np.abs(told - outlook.sound)
                away = np.nan_to_num(np.abs(near - told))
                allowed = np.maximum(0.05 * np.nan_to_num(change), 0.3 * own)
                allowed *= 1.0 if built.inlet_air is None else 3.0
                worst = int(np.argmax(away / allowed))
                assert away[worst] <= allowed[worst], (suspect.cause, size, worst)


def test_the_hydraulics_are_asked_no_more_than_a_sheet_may_take(triplex, monkeypatch):
    """Time is not tested; how often the points of the pumps are sought is."""
    asked = 0
    find = Rig._find

    def counted(self: Rig, machines: tuple[int, ...], level_m: float):
        nonlocal asked
        asked += 1
        return find(self, machines, level_m)

    sheet, taken, _truth = day_at(triplex, "weak", 1)
    monkeypatch.setattr(Rig, "_find", counted)
    causes_of(triplex, sheet, taken)
    assert 500 < asked < 1900


def test_covariance_of_a_flow_meter_by_hand(plain):
    """Own scatter, the gain that all readings share, and how near each pump lies to its flow."""
    outlook = Outlook(plain, sheet_of(plain), [])
    covariance = Spread(outlook).covariance(range(len(outlook.items)))
    flows = {
        (item.reading.machines, item.reading.level_m): place
        for place, item in enumerate(outlook.items)
        if item.reading.what == "meter flow"
    }
    levels = sorted({level for machines, level in flows if machines == (0,)})
    a, b = flows[(0,), levels[0]], flows[(0,), levels[1]]
    other = flows[(1,), levels[0]]
    flow, off = 0.030, 0.5 * 0.02 * 0.030
    pump = (Likely().flow * flow) ** 2
    assert covariance[a, a] == pytest.approx(off**2 + pump, rel=1e-6)
    assert covariance[a, b] == pytest.approx((SHARED * off) ** 2 + pump, rel=1e-6)
    assert covariance[a, other] == pytest.approx((SHARED * off) ** 2, rel=1e-6)


def test_covariance_is_that_of_many_sound_days():
    """Drawn from the parts one by one, pump by pump, the spread of readings is the covariance."""
    station = station_of("osier-wharf")
    outlook = Outlook(station, sheet_of(station), [])
    spread, likely, rig = Spread(outlook), Likely(), outlook.rig
    places = [
        place
        for place, item in enumerate(outlook.items)
        if item.reading.machines == (0,) and item.reading.what in {"meter flow", "header pressure"}
    ]
    rng = np.random.default_rng(2)
    days = []
    for _ in range(250):
        unit = rig.units[0]
        built = with_unit(
            rig,
            0,
            flow_factor=unit.flow_factor * (1.0 + likely.flow * rng.normal()),
            head_factor=unit.head_factor * (1.0 + likely.head * rng.normal()),
        )
        main = built.station.force_main
        pipes = tuple(
            replace(pipe, length_m=pipe.length_m * (1.0 + likely.friction * rng.normal()))
            for pipe in main.pipes
        )
        lift = main.discharge_level_m + likely.lift_m * rng.normal()
        built = replace(
            built, station=replace(built.station, force_main=replace(main, pipes=pipes,
                                                                     discharge_level_m=lift))
        )  # fmt: skip
        own = Rig(built)
        days.append([outlook.shown(own, outlook.items[place]) for place in places])
    drawn = np.cov(np.array(days).T)
    parts = ("flow P1", "head P1", "friction", "lift")
    foreseen = sum(
        np.outer(spread.columns[name][places], spread.columns[name][places]) for name in parts
    )
    scale = np.sqrt(np.diag(foreseen))
    np.testing.assert_allclose(drawn / np.outer(scale, scale),
                               foreseen / np.outer(scale, scale), atol=0.25)  # fmt: skip


def test_score_is_the_probability_of_the_readings_by_quadrature(plain):
    """A meter that is off moves its readings straight: the mean over its sizes by quadrature."""
    sheet = sheet_of(plain)
    rng = np.random.default_rng(6)
    world = sound(plain, rng)
    world.meter *= 0.9
    outlook = Outlook(plain, sheet, readings(world, sheet, rng))
    spread = Spread(outlook)
    search = Search(outlook, spread)
    meter = next(one for one in suspects_of_readings(outlook) if one.cause == "flow meter off")
    fit = search.fit(meter, 1.0)
    places = search.places
    flows = np.array([outlook.items[p].reading.what == "meter flow" for p in places])
    cov = spread.covariance(places)
    scale = np.sqrt(np.diag(cov))
    noise = multivariate_normal(cov=cov / np.outer(scale, scale))
    values, expected = outlook.values[places], outlook.sound[places]

    def likelihood(part: float) -> float:
        return noise.pdf((values - expected * np.where(flows, part, 1.0)) / scale)

    low = quad(likelihood, 0.70, 0.97, points=[0.9])[0] / 0.27
    high = quad(likelihood, 1.03, 1.30)[0] / 0.27
    count = len(places)
    whole = -2.0 * math.log(0.5 * (low + high)) + 2.0 * float(np.sum(np.log(scale)))
    assert fit.score == pytest.approx(whole - count * math.log(2.0 * math.pi), abs=0.05)
    sizes = np.linspace(0.85, 0.95, 2001)
    assert fit.size == pytest.approx(sizes[np.argmax([likelihood(s) for s in sizes])], abs=2e-3)


def test_score_of_a_misread_value_by_quadrature(plain):
    """A value that is off by anything within half of it, either way."""
    sheet = sheet_of(plain)
    name = "P1 alone: time of the fall"
    reading = next(one for one in sheet if one.name == name)
    outlook = Outlook(plain, sheet, exact(plain, values={name: 1.2 * reading.expected}))
    spread = Spread(outlook)
    search = Search(outlook, spread)
    fit = next(one for one in search.misread() if one.subject == name)
    places = search.places
    at = next(i for i, p in enumerate(places) if outlook.items[p].reading.name == name)
    cov = spread.covariance(places)
    scale = np.sqrt(np.diag(cov))
    noise = multivariate_normal(cov=cov / np.outer(scale, scale))
    away = (outlook.values - outlook.sound)[places]
    unit = np.zeros(len(places))
    unit[at] = 1.0
    half = 0.5 * outlook.sound[places[at]]

    def likelihood(off: float) -> float:
        return noise.pdf((away - off * unit) / scale)

    mean = quad(likelihood, -half, half, points=[fit.size])[0] / (2.0 * half)
    whole = -2.0 * math.log(mean * 0.3 / len(places)) + 2.0 * float(np.sum(np.log(scale)))
    assert fit.score == pytest.approx(whole - len(places) * math.log(2.0 * math.pi), abs=0.02)


# --- what the rig can be made to have ------------------------------------------------------------


def test_a_well_that_holds_more_takes_longer_to_fall(plain):
    fall = planned_fall(plain)
    as_given = Rig(AsBuilt(plain)).fall_s((0,), *fall)
    wider = Rig(AsBuilt(plain, area_part=1.1))
    assert wider.fall_s((0,), *fall) == pytest.approx(1.1 * as_given, rel=1e-12)
    assert wider.drawn_m3s((0,), *fall) == pytest.approx(0.030 / 1.1, rel=1e-12)


def test_plain_flows_by_share_and_with_water_running_back(plain):
    less = Rig(AsBuilt(plain, shares=((1, 0.5),)))
    assert less.point((0,), 1.0).total_m3s == pytest.approx(0.030)
    assert less.point((1,), 1.0).total_m3s == pytest.approx(0.015)
    assert less.point((0, 1), 1.0).flows_m3s == pytest.approx((0.021, 0.0105))
    back = Rig(AsBuilt(plain, back=Back(1, 0.004)))
    assert back.point((0,), 1.0).total_m3s == pytest.approx(0.026)
    assert back.point((0, 1), 1.0).total_m3s == pytest.approx(0.042)


def test_air_at_the_inlet_goes_straight_with_the_level():
    station = station_of("osier-wharf")
    rig = Rig(AsBuilt(station, inlet_air=InletAir(0, 1.7, 1.1, 0.8)))
    sound_rig = Rig(AsBuilt(station))
    assert rig.point((0,), 1.8) == sound_rig.point((0,), 1.8)
    assert rig.point((1,), 1.1) == sound_rig.point((1,), 1.1)
    unit = station.pumps[0]
    for level, left in ((1.1, 0.8), (1.4, 0.9)):
        scaled = with_unit(
            sound_rig, 0, flow_factor=unit.flow_factor * left, head_factor=unit.head_factor * left
        )
        assert rig.point((0,), level) == Rig(scaled).point((0,), level)


def test_a_gauge_of_one_pump_is_off_by_itself():
    station = station_of("alder-lane")
    station = replace(
        station,
        ratings=replace(
            station.ratings,
            acceptance=replace(station.ratings.acceptance, pump_gauge=Gauge(4.0)),
        ),
    )
    plain_rig, rig = Rig(AsBuilt(station)), Rig(AsBuilt(station, own_off_pa=((1, 5e3),)))
    assert rig.shut_off_pa(1, 1.0) - plain_rig.shut_off_pa(1, 1.0) == pytest.approx(5e3)
    assert rig.pump_pa((1,), 1, 1.0) - plain_rig.pump_pa((1,), 1, 1.0) == pytest.approx(5e3)
    assert rig.pump_pa((0,), 0, 1.0) == plain_rig.pump_pa((0,), 0, 1.0)
    shut_off = station.pumps[1].curve_now().shutoff_m
    assert plain_rig.shut_off_pa(1, 1.0) == pytest.approx(pressure_pa(1.0 + shut_off - 4.0))
