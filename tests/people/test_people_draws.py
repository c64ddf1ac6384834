"""Durations that are drawn: each from its own stream, and nobody shifts another's."""

from __future__ import annotations

from dataclasses import replace

from crews import (
    ACKNOWLEDGES,
    GETS_READY,
    HOUR,
    TRAVELS,
    bytes_of,
    chain,
    just,
    minutes,
    reference,
    rows_of,
    wednesday,
    with_mobile,
)

from stationsim.chance import Range, Stream, key_of
from stationsim.episode import Episode, RandomFault, ScriptedEvent
from stationsim.people.response import Task, Tool
from stationsim.results import Result
from stationsim.simulation.session import simulate
from stationsim.testing import duplex, episode, reference_station
from stationsim.trace import CrewRow


def lasts(rows: list[CrewRow]) -> list[float]:
    """Return how long each of them lasted [s]."""
    return [row.stop_s - row.start_s for row in rows]


def drawn(seed: int = 5, replicate: int = 0, **changes: object) -> Result:
    """Run the chain at the reference station with drawn durations."""
    case = wednesday(7.0, chain("drawn", **changes))
    case = replace(case, seed=seed, replicate=replicate)
    return simulate(with_mobile(reference_station()), case)


def test_each_duration_is_the_number_of_its_own_stream() -> None:
    trace = drawn(seed=5, replicate=3).trace
    for task, purpose, span in (
        ("called", "acknowledges", ACKNOWLEDGES),
        ("gets ready", "gets ready", GETS_READY),
        ("travels", "travels", TRAVELS),
    ):
        part = Stream(5, key_of("operator", purpose), 3).number(0)
        (found,) = lasts(rows_of(trace, task))
        assert abs(found - span.at(part)) < 1e-6


def test_the_same_seed_gives_the_same_bytes_and_another_one_does_not() -> None:
    assert bytes_of(drawn()) == bytes_of(drawn())
    assert bytes_of(drawn(seed=6)) != bytes_of(drawn())
    assert bytes_of(drawn(replicate=1)) != bytes_of(drawn())


def test_another_step_shifts_no_draw_of_the_others() -> None:
    reset = Task("reset", takes=minutes(1, 7, 20))
    fails = ScriptedEvent(0.0, "fails", "P1")
    station = with_mobile(reference_station())
    tasks = chain().tasks
    runs = [
        simulate(station, wednesday(7.0, chain("drawn", tasks=plan), fails)).trace
        for plan in (tasks, (*tasks, reset))
    ]
    assert rows_of(runs[1], "reset")
    for task in ("called", "gets ready", "fetches", "travels", "connect mobile generator"):
        one, other = (lasts(rows_of(trace, task)) for trace in runs)
        assert one == other, task


def test_another_call_out_shifts_no_draw_of_the_plant() -> None:
    # random trips of P1 come at the same hours of running whoever answers, and whatever for
    trips = RandomFault("trips", (ScriptedEvent(0.0, "fails", "P1"),), "running", 1 / HOUR,
                        Range.point(300.0))  # fmt: skip
    case = replace(episode(24 * HOUR, 0.01), random=(trips,), seed=4)
    quiet = chain("drawn", tasks=(), alarms=("telemetry lost",))
    silent = ScriptedEvent(2 * HOUR, "telemetry lost", "telemetry", 600.0)

    def fails(each: Episode) -> list[float]:
        found = simulate(duplex(), each).trace
        return [row.t_s for row in found.events if row.event == "trip"]

    alone = fails(replace(case, events=(silent,)))
    assert len(alone) > 3
    called = fails(replace(case, events=(silent,), response=quiet))
    assert len(called) == len(alone)
    assert max(abs(x - y) for x, y in zip(alone, called, strict=True)) < 1e-6


def test_the_second_way_of_one_person_is_the_second_number_of_the_stream() -> None:
    # nothing is fetched on the way, so the operator drives for it: three ways
    trace = drawn(tasks=(replace(chain().tasks[0], brought_for=()),)).trace
    stream = Stream(5, key_of("operator", "travels"))
    ways = sorted(rows_of(trace, "travels"), key=lambda row: row.start_s)
    assert [row.subject for row in ways] == ["station", "yard", "station"]
    for n, found in enumerate(lasts(ways)):
        assert abs(found - TRAVELS.at(stream.number(n))) < 1e-6


def test_a_stream_of_people_and_one_of_the_plant_never_meet() -> None:
    # a tool that bears a pump's name draws from a stream of its own
    odd = Tool("P1", fetched=minutes(1, 2, 9))
    task = replace(chain().tasks[0], tool="P1")
    trace = drawn(tools=(odd,), tasks=(task,)).trace
    part = Stream(5, key_of("P1", "fetched")).number(0)
    assert abs(lasts(rows_of(trace, "fetches"))[0] - odd.fetched.at(part)) < 1e-6  # type: ignore[union-attr]


def test_a_point_is_itself_at_any_pace() -> None:
    at = [
        reference(7.0, chain(pace, picked_up=just(33.0), on_phone=just(0.0))).trace.crew[0].start_s
        for pace in ("low", "typical", "high", "drawn")
    ]
    assert at == [33.0] * 4
