"""Any response to any trouble at a small station that takes everything: strategies."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

from everything import event_of
from hypothesis import strategies as st

from stationsim.chance import Range
from stationsim.episode import Episode, ScriptedEvent
from stationsim.equipment.power import GeneratorSet, StandbyPower
from stationsim.people.response import (
    ClockSpan,
    PasserBy,
    Person,
    Response,
    Task,
    Tool,
    Visit,
)
from stationsim.station import AlarmSettings, Station
from stationsim.testing import MONDAY, bypass_pump, duplex, engine_pump, episode

HOUR = 3600.0
NAMES = ("anna", "bert", "carl")
TOOLS = ("mobile generator", "tanker", "lifting gear", "cans")
KINDS = (
    "reset", "set right", "clear rags", "pull a pump", "connect mobile generator",
    "connect bypass pump", "refuel", "haul",
)  # fmt: skip
ALARMS = ("power failed", "high level", "pump failed", "telemetry lost")
TROUBLES = (
    "grid loss", "fails", "overload", "clogged", "ragging", "fails to start", "phase lost",
    "seal leak into motor", "controller stopped", "control breaker open", "telemetry lost",
    "alarm off", "level signal lost", "level signal frozen", "air-bound", "plug valve closed",
    "battery flat", "fails to prime", "check valve open",
)  # fmt: skip


def station() -> Station:
    """Return a duplex with an engine, a mobile set and a bypass pump, all with small tanks."""
    found = duplex(
        engine_pump=engine_pump(fuel_m3_per_s=3e-6, tank_m3=0.01),
        bypass_pump=bypass_pump(fuel_m3_per_s=3e-6, tank_m3=0.01),
        standby_power=StandbyPower(
            mobile=GeneratorSet(fuel_loads=(0.0,), fuel_rates_m3_per_s=(3e-6,), tank_m3=0.02)
        ),
    )
    alarms = AlarmSettings(3.0, 0.7, 10.0, 10.0, 30.0, telemetry_lost_delay_s=60.0)
    return replace(found, alarms=replace(alarms, battery_s=2 * HOUR))


@st.composite
def spans(draw: st.DrawFn, most_s: float = 2400.0) -> Range:
    """Draw a duration, often none at all."""
    if draw(st.booleans()):
        return Range.point(draw(st.sampled_from((0.0, 0.0, 60.0, 600.0))))
    low, typical, high = sorted(draw(st.integers(0, int(most_s))) for _ in range(3))
    return Range(float(low), float(typical), float(high))


clock_spans = st.one_of(
    st.none(),
    st.builds(
        ClockSpan,
        st.integers(0, 23).map(lambda h: h * HOUR),
        st.integers(0, 23).map(lambda h: h * HOUR),
    ),
)


@st.composite
def tools(draw: st.DrawFn, name: str) -> Tool:
    """Draw where a tool comes from."""
    way = draw(st.sampled_from(("on site", "fetched", "delivered")))
    return Tool(
        name,
        number=draw(st.sampled_from((1, 1, 1, 2, 0))),
        fetched=draw(spans()) if way == "fetched" else None,
        delivered=draw(spans()) if way == "delivered" else None,
        holds_m3=draw(st.sampled_from((2.0, 8.0))) if name == "tanker" else 0.0,
        round_trip=draw(spans()),
    )


@st.composite
def responses(draw: st.DrawFn) -> Response:
    """Draw who answers, with what, and which plan they have."""
    people = tuple(
        Person(
            name,
            draw(spans()), draw(spans()), draw(spans()),
            night_travels=draw(st.one_of(st.none(), spans())),
            on_call=draw(clock_spans) if draw(st.booleans()) else None,
            answers=draw(st.sampled_from((True, True, True, False))),
            answers_at_night=draw(st.booleans()),
        )
        for name in NAMES[: draw(st.integers(1, 3))]
    )  # fmt: skip
    names = [one.name for one in people]
    kinds = draw(st.permutations(KINDS))[: draw(st.integers(1, len(KINDS)))]
    tasks = tuple(
        Task(
            kind,  # type: ignore[arg-type]
            draw(spans()), draw(spans(600.0)), draw(spans(600.0)),
            people=draw(st.sampled_from((0, 1, 1, 2, 3))),
            tool="tanker" if kind == "haul" else draw(st.sampled_from((None, *TOOLS))),
            brought_for=tuple(draw(st.lists(st.sampled_from(ALARMS), max_size=2, unique=True))),
            fuel_below=draw(st.sampled_from((0.25, 0.9, 1.0))),
        )
        for kind in kinds
    )  # fmt: skip
    return Response(
        people=people,
        call_list=tuple(draw(st.permutations(names))[: draw(st.integers(0, len(names)))]),
        alarms=draw(st.sampled_from((None, None, ("power failed", "high level"), ()))),
        picked_up=draw(spans(300.0)),
        on_phone=draw(spans(300.0)),
        next_after_s=draw(st.sampled_from((60.0, 900.0, float("inf")))),
        rounds=draw(st.integers(1, 3)),
        assesses=draw(spans(600.0)),
        look_again_s=draw(st.sampled_from((60.0, 600.0))),
        night=draw(clock_spans),
        weekend_as_night=draw(st.booleans()),
        tools=tuple(draw(tools(name)) for name in TOOLS),
        tasks=tasks,
        visit=draw(
            st.one_of(
                st.none(),
                st.builds(
                    Visit, st.sampled_from(names), st.integers(0, 23).map(lambda h: h * HOUR),
                    st.sampled_from((HOUR, 86400.0)),
                ),
            )
        ),
        passer_by=draw(
            st.one_of(
                st.none(),
                st.builds(
                    PasserBy, spans(), st.sampled_from(("spill", "alarm light")), clock_spans
                ),
            )
        ),
        pace=draw(st.sampled_from(("low", "typical", "high", "drawn"))),
        late_s=draw(st.sampled_from((0.0, 0.0, 900.0))),
    )  # fmt: skip


@st.composite
def troubles(draw: st.DrawFn) -> ScriptedEvent:
    """Draw what goes wrong, and when."""
    kind = draw(st.sampled_from(TROUBLES))
    at_s = float(draw(st.integers(0, int(4 * HOUR))))
    lasts_s = float(draw(st.sampled_from((60, 1500, 9000))))
    event = event_of(kind, at_s, lasts_s)
    if kind not in ("grid loss", "phase lost") and draw(st.booleans()):
        return replace(event, duration_s=None)
    return event


@st.composite
def cases(draw: st.DrawFn) -> Episode:
    """Draw a day of trouble, and who answers."""
    events = draw(st.lists(troubles(), min_size=1, max_size=5))
    case = episode(
        draw(st.sampled_from((3.0, 6.0, 7.5))) * HOUR,
        draw(st.sampled_from((0.002, 0.012, 0.035))),
        *events,
        start_level_m=1.5,
        start=MONDAY
        + timedelta(days=draw(st.sampled_from((0, 5))), hours=draw(st.integers(0, 23))),
    )
    return replace(case, response=draw(responses()), seed=draw(st.integers(1, 9)))
