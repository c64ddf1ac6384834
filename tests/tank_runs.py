"""Runs of the tank with two pumps (``stationsim.testing.duplex``), for the tests of trouble."""

from __future__ import annotations

from stationsim.episode import ScriptedEvent
from stationsim.results import Result
from stationsim.simulation.session import simulate
from stationsim.station import Station
from stationsim.testing import duplex, episode
from stationsim.trace import Trace


def run(
    *events: ScriptedEvent,
    station: Station | None = None,
    duration_s: float = 6000.0,
    inflow: float = 0.01,
    level_m: float = 1.0,
) -> Result:
    """Run the tank, or another station, with what happens; its water must close.

    Parameters
    ----------
    events
        What happens.
    station
        Another station.
    duration_s
        How long [s].
    inflow
        What arrives [m3/s].
    level_m
        Level at the start [m above floor].
    """
    what = episode(duration_s, inflow, *events, start_level_m=level_m)
    result = simulate(station or duplex(), what)
    assert result.trace.balance_error < 1e-9
    return result


def told(trace: Trace, *words: str) -> list[tuple[float, str, str]]:
    """Return time [s], event and cause of the events that have one of some names.

    Parameters
    ----------
    trace
        What happened.
    words
        Names of events.
    """
    return [(row.t_s, row.event, row.cause) for row in trace.events if row.event in words]
