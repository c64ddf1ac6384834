"""Spans as text: low, typical and high durations, and spans of the day by the clock."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationsim.people.response import DAY_S
from stationsim.units import show

if TYPE_CHECKING:
    from stationsim.chance import Range
    from stationsim.people.response import ClockSpan

_MINUTE_S = 60.0
_MOST_IN_MINUTES_S = 7200.0
"""Up to this, whole minutes stay minutes beside each other [s]."""


def span_text(*spans: Range, minutes: bool = False) -> str:
    """Return low, typical and high durations: ``10 / 15 / 40 min``; one where all are alike.

    Parameters
    ----------
    *spans
        Low, typical and high [s]; those of several, one after the other, add up.
    minutes
        True for minutes with no unit, as a narrow cell takes them: ``10-15-40``.
    """
    sums = [sum(getattr(one, name) for one in spans) for name in ("low", "typical", "high")]
    if sums[0] == sums[-1]:
        sums = sums[:1]
    if minutes:
        return "-".join(f"{round(value / _MINUTE_S, 1):g}" for value in sums)
    whole = sums[-1] <= _MOST_IN_MINUTES_S and all(value % _MINUTE_S == 0.0 for value in sums)
    if whole and sums[1:]:
        return " / ".join(f"{value / _MINUTE_S:.0f}" for value in sums) + " min"
    texts = [show(value, "duration", "si") for value in sums]
    pieces = [text.split(" ") for text in texts]
    if all(len(one) == 2 and one[1] == pieces[0][1] for one in pieces):
        return " / ".join(one[0] for one in pieces) + f" {pieces[0][1]}"
    return " / ".join(texts)


def day_span_text(span: ClockSpan) -> str:
    """Return a span of the day, ``22:00 to 06:00``; midnight at its end is 24:00.

    Parameters
    ----------
    span
        From when to when, by the clock.
    """
    if span.from_s % DAY_S == span.to_s % DAY_S:
        return "00:00 to 24:00"
    return f"{clock_text(span.from_s)} to {clock_text(span.to_s or DAY_S)}"


def clock_text(at_s: float) -> str:
    """Return a time of the day, to the minute: ``06:30``.

    Parameters
    ----------
    at_s
        Since midnight [s].
    """
    at_min = round(at_s / _MINUTE_S)
    return f"{at_min // 60:02d}:{at_min % 60:02d}"
