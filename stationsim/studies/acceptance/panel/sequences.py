"""Sequences by script: what the panel should do on the day, step by step, with its seconds.

Each is a run of the station itself, with its own controller, with clean water that runs in at one
rate; so the expected order, levels and times are those of this station's settings. A sequence that
the station cannot do, or that would spill or pump the well empty by its own script, is left out
with the reason.

The gap from one expected event to the next is what counts, not the time since the beginning: a well
that fills ten per cent slower makes each gap that much longer, and no gap is blamed for the ones
before it. What comes with a hand of the crew has no time of its own.

References
----------
What is tested, and that each is tested: common practice, no source. Clean water, alarms simulated,
sequence of starts, power failure and restart are what plans of acceptance ask for.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationsim.studies.acceptance.panel.bench import Bench
from stationsim.studies.acceptance.panel.by_level import (
    all_calls,
    alternation,
    by_floats,
    high_level,
    low_level,
)
from stationsim.studies.acceptance.panel.by_trouble import fail_overs, power_failure, restart
from stationsim.studies.acceptance.panel.script import ExpectedEvent, PanelTest

if TYPE_CHECKING:
    from datetime import datetime

    from stationsim.station import Station

__all__ = ["ExpectedEvent", "PanelTest", "sequences_of"]


def sequences_of(
    station: Station, start: datetime
) -> tuple[list[PanelTest], list[tuple[str, str]]]:
    """Return the sequences of a station, and what is left out, with why.

    Parameters
    ----------
    station
        What stands there.
    start
        Local time at which each of them begins; one that hangs on the clock has its own.
    """
    bench = Bench(station, start)
    why = bench.cannot()
    if why:
        return [], [("sequences by the panel", why)]
    tried = [
        alternation(bench),
        ("lag and standby starts", all_calls(bench)),
        *fail_overs(bench),
        ("power failure with the lead running", power_failure(bench)),
        ("restart after return with the well high", restart(bench)),
        ("high-level alarm", high_level(bench)),
        ("low-level alarm", low_level(bench)),
        ("level signal lost and floats take over", by_floats(bench)),
    ]
    made = [one for _name, one in tried if isinstance(one, PanelTest)]
    left_out = [(name, one) for name, one in tried if isinstance(one, str)]
    return made, left_out
