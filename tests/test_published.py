"""Worked examples, printed by others or worked out by us, through our own functions.

Each file in ``published/`` holds one family. A case has its inputs with units, and answers, each
with the printed value (null where none was seen), the accepted value, the tolerance and the reason
for it; its source says where it was read and how it is known (``STATUSES``). Where the printed
value does not follow from its inputs the reason says that the print is wrong, and the accepted
value is recomputed. No formula of the trade stands in this file: units are converted, our functions
are called, and results converted back.
"""

from __future__ import annotations

import json
import math
import re
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from published_acceptance import ACCEPTANCE
from published_criteria import CRITERIA
from published_motors import MOTORS
from published_rain import RAIN
from published_runs import RUNS
from published_sewers import SEWERS
from published_units import si, to_unit
from scipy.optimize import brentq

from stationsim.equipment.pumps import PumpUnit
from stationsim.physics.forcemain import ForceMain, Pipe
from stationsim.physics.operating import OperatingPoint, operating_point
from stationsim.physics.pumps import FlowTable, G, HeadCurve, PowerDraw, water_power_w
from stationsim.physics.spill import Spillway, coefficient_from_discharge
from stationsim.physics.well import Part, Well, box, cone, cylinder, store

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

FOLDER = Path(__file__).parent / "published"


def load(path: Path) -> dict[str, Any]:
    """Return a family; inputs that are ``like`` a shared set take what they do not state."""
    content: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    for case in content["cases"]:
        like = case["inputs"].pop("like", None)
        if like is not None:
            case["inputs"] = {**content["shared"][like], **case["inputs"]}
    return content


FAMILIES = {path.stem: load(path) for path in sorted(FOLDER.glob("*.json"))}
STATUSES = {
    "printed answer seen": "inputs and an answer were read at the source, and recomputed",
    "inputs or rule seen, own computation": "the answer was worked out from what the source states",
    "from memory": "the equation, or a problem with its answer, is recalled: no source was read",
    "own computation": "numbers of our own, by geometry, exact arithmetic or a closed form",
}
SHORT_ID = re.compile(r"[a-z0-9]+(\.[0-9]+)?(-[a-z0-9]+(\.[0-9]+)?)+")

Inputs = dict[str, Any]
Answer = dict[str, Any]


def of_case(inputs: Inputs, *names: str) -> dict[str, float]:
    """Return the named inputs in SI, those that are given."""
    return {name: si(*inputs[name]) for name in names if name in inputs}


def pipe_of(inputs: Inputs) -> Pipe:
    """Return the pipe of a case; a bare coefficient of the flow squared is a fitting of it."""
    if "coefficient" in inputs:
        bore = Pipe(0.0, 1.0, "none")
        return Pipe(
            0.0, 1.0, "none", fittings_k=si(*inputs["coefficient"]) * 2.0 * G * bore.area_m2**2
        )
    given = of_case(
        inputs, "length", "diameter", "c_factor", "roughness", "viscosity", "fittings_k"
    )
    names = {
        "length": "length_m",
        "diameter": "diameter_m",
        "roughness": "roughness_m",
        "viscosity": "viscosity_m2s",
    }
    settings = {names.get(name, name): value for name, value in given.items()}
    settings.setdefault("length_m", 0.0)
    pipe = Pipe(friction=inputs.get("friction", "none"), **settings)
    if "known_loss" in inputs:
        flow, loss = si(*inputs["known_flow"]), si(*inputs["known_loss"])

        def off(c_factor: float) -> float:
            return Pipe(pipe.length_m, pipe.diameter_m, c_factor=c_factor).friction_m(flow) - loss

        pipe = Pipe(pipe.length_m, pipe.diameter_m, c_factor=brentq(off, 20.0, 300.0, xtol=1e-12))
    return pipe


def curve_of(given: Inputs) -> HeadCurve:
    """Return a pump's curve, several of one kind in series or parallel as one curve."""
    if "c0" in given:
        curve = HeadCurve.from_coefficients(*(si(*given[name]) for name in ("c0", "c1", "c2")))
    else:
        flows, heads = given["flows"], given["heads"]
        curve = HeadCurve.from_points(
            [si(x, flows[1]) for x in flows[0]], [si(x, heads[1]) for x in heads[0]]
        )
    return curve.scaled(flow=given.get("times_flow", 1.0), head=given.get("times_head", 1.0))


def solve_pipe(inputs: Inputs, answer: Answer) -> float:
    pipe, flow = pipe_of(inputs), si(*inputs["flow"])
    found: dict[str, Callable[[], float]] = {
        "friction": lambda: pipe.friction_m(flow),
        "velocity": lambda: pipe.velocity_ms(flow),
        "factor": lambda: pipe.friction_factor(flow),
        "volume": lambda: pipe.volume_m3,
        "time_through": lambda: pipe.volume_m3 / flow,
    }
    return found[answer["of"]]()


def _point(inputs: Inputs, speed_ratio: float = 1.0) -> OperatingPoint:
    level = 3.0  # not the floor, so that the lift is a difference
    main = ForceMain((pipe_of(inputs["system"]),), level + si(*inputs["static"]))
    units = [
        PumpUnit(f"P{n}", curve_of(given), speed_ratio=speed_ratio)
        for n, given in enumerate(inputs["curves"], start=1)
    ]
    return operating_point(units, main, level)


def _power(inputs: Inputs) -> PowerDraw:
    efficiency = si(*inputs["efficiency"])
    motor = si(*inputs.get("motor_efficiency", [1.0, "-"]))
    return PowerDraw(
        efficiency=FlowTable((0.0, 1.0), (efficiency, efficiency)), motor_efficiency=motor
    )


def solve_operating(inputs: Inputs, answer: Answer) -> float:
    point = _point(inputs)
    flow, head = point.total_m3s, point.header_m
    found: dict[str, Callable[[], float]] = {
        "flow": lambda: flow,
        "head": lambda: head,
        "velocity": lambda: pipe_of(inputs["system"]).velocity_ms(flow),
        "water_power": lambda: water_power_w(flow, head),
        "input": lambda: _power(inputs).input_at(flow, head),
    }
    # what the pumps give is what the main takes
    assert all(h == pytest.approx(head, rel=1e-9) for h in point.pump_heads_m)
    assert sum(point.flows_m3s) == pytest.approx(flow, rel=1e-12)
    return found[answer["of"]]()


def solve_speed(inputs: Inputs, answer: Answer) -> float:
    wanted = si(*inputs["flow"])
    ratio = brentq(lambda r: _point(inputs, r).total_m3s - wanted, 0.6, 1.0, xtol=1e-12)
    return {
        "speed": ratio * si(*inputs["speed"]),
        "head": _point(inputs, ratio).header_m,
    }[answer["of"]]


def solve_head(inputs: Inputs, answer: Answer) -> float:
    assert answer["of"] == "head"
    (given,) = inputs["curves"]
    return curve_of(given).head_at(si(*inputs["flow"]))


def solve_affinity(inputs: Inputs, answer: Answer) -> float:
    (given,) = inputs["curves"]
    curve = curve_of(given)
    if "speed_ratio" in inputs:
        changed = curve.at_speed(si(*inputs["speed_ratio"]))
    else:
        changed = curve.scaled(si(*inputs["flow_factor"]), si(*inputs["head_factor"]))
    if answer["of"] == "end_flow":
        return changed.end_m3s
    flows, unit = inputs["flows"]
    return changed.head_at(si(flows[int(answer["of"].removeprefix("head "))], unit))


def solve_power(inputs: Inputs, answer: Answer) -> float:
    flow, head = si(*inputs["flow"]), si(*inputs["head"])
    found: dict[str, Callable[[], float]] = {
        "water_power": lambda: water_power_w(flow, head),
        "input": lambda: _power(inputs).input_at(flow, head),
        "energy per volume": lambda: _power(inputs).input_at(flow, head) / flow,
        "water hp per kW": lambda: water_power_w(flow, head) / _power(inputs).input_at(flow, head),
    }
    return found[answer["of"]]()


def solve_pipe_power(inputs: Inputs, answer: Answer) -> float:
    pipe, flow = pipe_of(inputs), si(*inputs["flow"])
    head = si(*inputs["lift"]) + pipe.loss_m(flow)
    return {
        "velocity": pipe.velocity_ms(flow),
        "head": head,
        "input": _power(inputs).input_at(flow, head),
    }[answer["of"]]


def solve_weir(inputs: Inputs, answer: Answer) -> float:
    assert answer["of"] == "flow"
    coefficient = (
        coefficient_from_discharge(si(*inputs["cd"]))
        if "cd" in inputs
        else si(*inputs["coefficient"])
    )
    crest = 2.0
    weir = Spillway(crest, si(*inputs["length"]), coefficient)
    return weir.flow_m3s(crest + si(*inputs["head"]))


def well_of(parts: list[Inputs]) -> Well:
    """Return the well of a case."""

    def part_of(given: Inputs) -> Part:
        low = si(*given.get("from", [0.0, "m"]))
        high = si(*given["to"]) if "to" in given else math.inf
        shapes: dict[str, Callable[[], Part]] = {
            "cylinder": lambda: cylinder(si(*given["diameter"]), low, high),
            "box": lambda: box(si(*given["length"]), si(*given["width"]), low, high),
            "cone": lambda: cone(si(*given["bottom"]), si(*given["top"]), low, high),
            "store": lambda: store(si(*given["volume"]), low, high),
        }
        return shapes[given["shape"]]()

    return Well(tuple(part_of(given) for given in parts))


def solve_storage(inputs: Inputs, answer: Answer) -> float:
    well, at = well_of(inputs["parts"]), si(*answer["at"])
    found: dict[str, Callable[[], float]] = {
        "volume": lambda: well.volume_at(at),
        "volume between": lambda: well.volume_at(si(*answer["to"])) - well.volume_at(at),
        "level": lambda: well.level_at(at),
    }
    return found[answer["of"]]()


SOLVERS: dict[str, Callable[[Inputs, Answer], float]] = {
    "pipe": solve_pipe,
    "operating": solve_operating,
    "speed for flow": solve_speed,
    "head": solve_head,
    "affinity": solve_affinity,
    "power": solve_power,
    "pipe power": solve_pipe_power,
    "weir": solve_weir,
    "storage": solve_storage,
    "run": lambda inputs, answer: RUNS[answer["of"]](inputs, well_of(inputs["parts"])),
    **SEWERS,
    **MOTORS,
    **RAIN,
    **CRITERIA,
    **ACCEPTANCE,
}


def answers() -> Iterator[Any]:
    """Give every answer of every case."""
    for family, content in FAMILIES.items():
        for case in content["cases"]:
            for answer in case["answers"]:
                yield pytest.param(case, answer, id=f"{family}: {case['id']}: {answer['of']}")


ANSWERS = list(answers())


@pytest.mark.parametrize(("case", "answer"), ANSWERS)
def test_worked_example_comes_out_of_our_functions(case: Inputs, answer: Answer) -> None:
    found = to_unit(SOLVERS[case["kind"]](case["inputs"], answer), answer["unit"])
    ((measure, tolerance),) = answer["tolerance"].items()
    limit = tolerance * abs(answer["accepted"]) if measure == "relative" else tolerance
    assert abs(found - answer["accepted"]) <= limit, (
        f"{case['id']}: {answer['of']} {found:.8g} {answer['unit']}, accepted "
        f"{answer['accepted']:.8g} within {limit:.2g} ({answer['why']})"
    )


@pytest.mark.parametrize(("case", "answer"), ANSWERS)
def test_answer_states_printed_value_tolerance_and_reason(case: Inputs, answer: Answer) -> None:
    assert set(answer["tolerance"]) in ({"relative"}, {"absolute"})
    (tolerance,) = answer["tolerance"].values()
    assert tolerance > 0.0
    assert len(answer["why"]) >= 5
    printed = answer["printed"]
    if printed is not None and abs(printed - answer["accepted"]) > 0.01 * abs(answer["accepted"]):
        assert "print" in answer["why"], "printed otherwise, and not said why"


@pytest.mark.parametrize("family", FAMILIES)
def test_case_names_its_source_and_how_it_is_known(family: str) -> None:
    content = FAMILIES[family]
    ids = [entry["id"] for entry in [*content["cases"], *content["left_out"]]]
    assert [name for name in ids if not SHORT_ID.fullmatch(name)] == []
    assert len(set(ids)) == len(ids) > 0
    for case in content["cases"]:
        assert case["source"]["status"] in STATUSES, case["id"]
        assert len(case["source"]["citation"]) >= 8, case["id"]
        assert len(case["what"]) >= 8, case["id"]
        assert case["answers"], case["id"]
        assert case["kind"] in SOLVERS, case["id"]
    for out in content["left_out"]:
        assert len(out["why"]) >= 8, out["id"]


@pytest.mark.parametrize("family", FAMILIES)
def test_printed_answers_stand_where_the_status_says_so(family: str) -> None:
    for case in FAMILIES[family]["cases"]:
        printed = [a["printed"] for a in case["answers"] if a["printed"] is not None]
        if case["source"]["status"] == "printed answer seen":
            assert printed, case["id"]
        if case["source"]["status"] == "own computation":
            assert not printed, case["id"]


@pytest.mark.parametrize("family", FAMILIES)
def test_file_counts_its_cases_by_status(family: str) -> None:
    content = FAMILIES[family]
    assert content["statuses"] == Counter(case["source"]["status"] for case in content["cases"])
