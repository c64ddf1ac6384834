"""What a controller holds in mind between two turns, and what keeps pumps from taking a call."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from stationsim.signals import PumpSeen
from stationsim.units import show


class Memory(NamedTuple):
    """What the controller holds in mind between two turns, for whoever asks why.

    Parameters
    ----------
    order
        The pumps, lead first.
    calls
        How many calls stand.
    on
        Pump and call of each pump that fills one, in the order of their starts.
    above_since
        Call and since when the level has stood at its start level while a start delay runs [s].
    next_start_s
        Stagger and restart delay let nobody start before this moment [s].
    after_power_loss
        True while the pumps are brought back after a power loss.
    under_limit_s
        For each pump, when it may start without exceeding its starts in an hour [s].
    """

    order: tuple[int, ...]
    calls: int
    on: tuple[tuple[int, int], ...]
    above_since: tuple[tuple[int, float], ...]
    next_start_s: float
    after_power_loss: bool
    under_limit_s: tuple[float, ...]


def hindered(
    now_s: float,
    pumps: Sequence[PumpSeen],
    order: Sequence[int],
    on: set[int],
    under_limit_s: Sequence[float],
) -> str:
    """Return what keeps each pump that fills no call from taking one, for the record.

    Parameters
    ----------
    now_s
        Seconds since the start of the episode [s].
    pumps
        The pumps as the panel sees them.
    order
        Their order, lead first.
    on
        Those that fill a call.
    under_limit_s
        For each pump, when it may start without exceeding its starts in an hour [s].
    """
    found = []
    for pump in order:
        state = pumps[pump]
        if pump in on:
            continue
        rested_s = state.stopped_s + state.min_off_s
        if not state.ready:
            why = state.why_not or "is not ready"
        elif under_limit_s[pump] > max(rested_s, now_s):
            left = show(under_limit_s[pump] - now_s, "duration", "si")
            why = f"at its limit of starts in an hour for {left} more"
        else:
            why = f"rests for {show(max(rested_s - now_s, 0.0), 'duration', 'si')} more"
        found.append(f"{state.name} {why}")
    if found:
        return ", ".join(found)
    return "all others run" if len(order) > 1 else "there is no other pump"
