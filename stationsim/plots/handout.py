"""The plot of a hand-out: the level as the panel saw it, who ran, and which alarms stood."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from stationsim.handout import dark_spans
from stationsim.outline import set_levels
from stationsim.plots import rows, style
from stationsim.plots.levels import explain, finish_level, rows_in, span_text, stacked
from stationsim.trace import seen_levels

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from stationsim.results import Result

_POINTS = 4000


def handout_figure(result: Result, system: str = "si") -> Figure:
    """Return the figure of what an observer would have: no truth is in it.

    Parameters
    ----------
    result
        The run.
    system
        ``si`` or ``us``.
    """
    ends_s = (0.0, result.trace.end_s)
    with style.styled():
        names = rows.row_names(result, ends_s, seen_only=True)
        figure, (level, runs) = stacked([3.3, rows_in(names)], [0.62, 0.28], names)
        start = result.episode.start
        for axis in (level, runs):
            style.time_axis(axis, start, *ends_s)
            rows.shade_outages(axis, result)
        legs = result.course.knots[0]
        signal = [row[0] for row in result.trace.signal]
        times = np.unique(np.concatenate((np.linspace(*ends_s, _POINTS), legs, signal)))
        times = times[(times >= 0.0) & (times <= ends_s[1])]
        seen = seen_levels(result.trace, times, result.level_at(times))
        for begin, end in dark_spans(result):
            seen[(times >= begin) & (times < end)] = np.nan
        depth = style.level_axis(result.station, system)
        level.plot(style.day_numbers(start, times), depth(seen), color=style.BLACK, linewidth=1.0)
        finish_level(level, result, system)
        # how high the water truly came is no business of these axes
        set_m = [value for _name, value in set_levels(result.station)]
        top_m = max(*set_m, float(np.nanmax(seen, initial=0.0)))
        level.set_ylim(float(depth(0.0)), float(depth(1.06 * top_m)))
        level.tick_params(labelbottom=False)
        rows.draw_runs(runs, result, *ends_s, seen_only=True)
        explain(
            runs,
            rows.role_patches(result, ends_s) + rows.mark_patches(result, ends_s, seen_only=True),
        )
        title = f"{result.station.name}: level as the panel saw it, runs and alarms"
        style.head(figure, title, span_text(result, ends_s))
        return figure
