"""From now: the water stands here at this time; how long with nothing running, or with this pump.

The inflow is the day's shape as the scenario has it, scaled by a rise or a fall that somebody has
just timed. Everything is one pass of the balance for each lineup, so the answer comes at once.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import asdict, dataclass, replace
from datetime import timedelta
from functools import partial
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stationsim.errors import InputError
from stationsim.inflow.segments import DAY_S, Segments, add
from stationsim.inflow.series import Recorded
from stationsim.outline import inflow_range
from stationsim.studies.ahead import Ahead, Stream, crest_of, stream_of
from stationsim.studies.rehearse.days import (
    REACH_S,
    extended,
    is_storm,
    moved,
    with_dark_upstream,
)
from stationsim.study_result import Later, Source, StudyResult

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

    from stationsim.episode import Episode
    from stationsim.station import Station

LOOK_S = 6.0 * 3600.0
"""How far ahead the greatest inflow is looked for [s]."""

FAR = (0.5, 2.0)
"""A day's shape scaled beyond this is said to be far off [-]."""

_MOST_SCALE = 1000.0
_MOST_SETS = 3


@dataclass(frozen=True)
class Rise:
    """A rise or a fall that somebody has timed; it ends now.

    Parameters
    ----------
    by_m
        How far the water rose [m]; below nought for a fall.
    in_s
        In which time [s].
    running
        Names of the machines that ran meanwhile.
    """

    by_m: float
    in_s: float
    running: tuple[str, ...] = ()


@dataclass(frozen=True)
class NowAsked:
    """What is asked from now.

    Parameters
    ----------
    at_s
        Now [s since the start of the episode].
    level_m
        Where the water stands [m above floor].
    out
        Names of the machines that cannot run.
    rise
        What was timed; None to take the day's shape as it is.
    tanker_m3
        What a tanker takes at a time [m3].
    upstream, upstream_lag_s
        Part of the inflow that is pumped by stations that have just gone dark too [-], and how long
        their water is on its way [s].
    """

    at_s: float
    level_m: float
    out: tuple[str, ...] = ()
    rise: Rise | None = None
    tanker_m3: float = 10.0
    upstream: float = 0.0
    upstream_lag_s: float = 0.0


class LineupRow(NamedTuple):
    """What comes of it with one lineup; times from now in [s], infinity for never.

    ``alarm_s`` until the alarm level is reached from below, 0 when the water stands there;
    ``below_alarm_s`` until the water has fallen to it; NaN where the level is not set.
    """

    lineup: str
    machines: str
    flow_m3s: float
    alarm_s: float
    spill_s: float
    below_alarm_s: float
    stop_s: float
    level_at_end_m: float


class Now(NamedTuple):
    """All that the words and the table need."""

    station: Station
    episode: Episode
    asked: NowAsked
    scale: float
    inflow_m3s: float
    greatest_m3s: float
    greatest_at_s: float
    rows: list[LineupRow]
    steady_spill_s: float


def from_now(
    station: Station, episode: Episode, asked: NowAsked, sources: Sequence[Source] = ()
) -> StudyResult:
    """Return what comes from now on, with nothing running and with each lineup that still works.

    Parameters
    ----------
    station, episode
        What stands there, and what arrives; scripted events do not count.
    asked
        What is asked.
    sources
        The scenario that they came from.

    Raises
    ------
    InputError
        When the level, a machine or the timed rise cannot be so.
    """
    from stationsim.studies.rehearse import now_text

    now = _now(station, episode, asked)
    return StudyResult(
        study="rehearse",
        subject=station.name,
        tables=Later(partial(_tables, now)),
        tell=partial(now_text.sentences, now),
        show=partial(now_text.lines, now),
        asked=asdict(asked),
        sources=tuple(sources),
    )


def _tables(now: Now) -> dict[str, pd.DataFrame]:
    import pandas as pd

    asked = now.asked
    ahead_s = now.greatest_at_s - asked.at_s
    tanker = [
        ("now", 0.0, now.inflow_m3s, now.scale, _loads(now.inflow_m3s, asked)),
        ("greatest ahead", ahead_s, now.greatest_m3s, now.scale, _loads(now.greatest_m3s, asked)),
    ]
    return {
        "lineups": pd.DataFrame(now.rows, columns=LineupRow._fields),
        "tanker": pd.DataFrame(
            tanker, columns=["moment", "after_s", "inflow_m3s", "shape_factor", "loads_per_hour"]
        ),
    }


def _loads(flow_m3s: float, asked: NowAsked) -> float:
    return flow_m3s * 3600.0 / asked.tanker_m3


def _now(station: Station, episode: Episode, asked: NowAsked) -> Now:
    station = station.as_built()
    _check(station, asked)
    if asked.rise is not None and asked.at_s < asked.rise.in_s:
        # the change began before the episode: everything counts from a day earlier
        asked = replace(asked, at_s=asked.at_s + DAY_S)
        dry, storm = _flows(episode, asked.at_s, DAY_S)
        episode = replace(episode, start=episode.start - timedelta(days=1))
    else:
        dry, storm = _flows(episode, asked.at_s, 0.0)
    greatest = inflow_range(add([dry, storm]), asked.at_s + REACH_S)[1]
    ahead = Ahead(station, 2.0 * greatest)
    scale = 1.0 if asked.rise is None else _scale(ahead, dry, storm, asked)
    full = add([_times(dry, scale), storm])
    if scale > 1.0:
        ahead = Ahead(station, 2.0 * inflow_range(full, asked.at_s + REACH_S)[1])
    inflow = with_dark_upstream(full, asked.at_s, asked.upstream, asked.upstream_lag_s)
    stream = stream_of(inflow)
    here = float(inflow.at(np.array([asked.at_s]))[0])
    peak_m3s, peak_at_s = inflow.greatest(asked.at_s, asked.at_s + LOOK_S)
    rows = [
        _row(ahead, stream, asked, label, machines, here)
        for label, machines in lineups(station, asked.out)
    ]
    steady_s = math.nan
    if not FAR[0] <= scale <= FAR[1]:
        # were the difference to stay as it is, and not to grow and shrink with the day
        own = float(dry.at(np.array([asked.at_s]))[0])
        more = Segments(np.zeros(1), np.array([(scale - 1.0) * own]), np.zeros(1))
        kept = add([dry, storm, more])
        kept = Segments(kept.start_s, np.maximum(kept.flow_m3s, 0.0), kept.slope_m3s2)
        steady_s = _row(ahead, stream_of(kept), asked, "nothing", (), here).spill_s
    return Now(station, episode, asked, scale, here, peak_m3s, peak_at_s, rows, steady_s)


def _check(station: Station, asked: NowAsked) -> None:
    crest = crest_of(station, station.name)
    names = station.machine_names()
    rise = asked.rise
    for name in (*asked.out, *(rise.running if rise else ())):
        if name not in names:
            raise InputError(f"no machine is called '{name}'; there are {', '.join(names)}")
    if not 0.0 <= asked.level_m <= crest:
        message = f"the level of {asked.level_m:g} m above the floor does not lie between the floor"
        raise InputError(f"{message} and the spill at {crest:g} m")
    if rise is not None and not 0.0 <= asked.level_m - rise.by_m <= crest:
        message = f"a change of {rise.by_m:g} m that ends at {asked.level_m:g} m above the floor"
        raise InputError(f"{message} began below the floor or above the spill at {crest:g} m")


def _flows(episode: Episode, at_s: float, earlier_s: float) -> tuple[Segments, Segments]:
    """Return the dry inflow and that of the storms, from some time before the episode on."""
    ends_s = at_s + DAY_S + REACH_S
    dry, storm = [], []
    before = replace(episode, start=episode.start - timedelta(seconds=earlier_s))
    for source in episode.inflow:
        if is_storm(source):
            storm.append(moved(source.segments(episode.start, ends_s), earlier_s, before_m3s=0.0))
        elif isinstance(source, Recorded):
            dry.append(moved(_recorded(source, episode, at_s - earlier_s, ends_s), earlier_s))
        else:
            dry.append(source.segments(before.start, ends_s))
    return add(dry), add(storm)


def _recorded(source: Recorded, episode: Episode, at_s: float, ends_s: float) -> Segments:
    """Return a record from the start of the episode on; after its end its last day repeats."""
    known_s = float(np.asarray(source.times_s)[-1])
    if at_s > known_s + source.interval_s:
        ends = f"{episode.moment(known_s):%a %Y-%m-%d %H:%M}"
        raise InputError(f"the moment lies after the end of the recorded inflow, {ends}")
    return extended(source, episode, 0.0, ends_s, episode.moment(at_s), whole_day=False)


def _times(part: Segments, scale: float) -> Segments:
    return Segments(part.start_s, part.flow_m3s * scale, part.slope_m3s2 * scale)


def _scale(ahead: Ahead, dry: Segments, storm: Segments, asked: NowAsked) -> float:
    """Return by how much the day's shape is to be multiplied so that the timed change comes out."""
    rise = asked.rise
    assert rise is not None  # noqa: S101 - asked for only then
    names = ahead.station.machine_names()
    machines = tuple(sorted({names.index(name) for name in rise.running}))
    well = ahead.station.well
    began_s = asked.at_s - rise.in_s
    before, now = (well.volume_at(z) for z in (asked.level_m - rise.by_m, asked.level_m))

    def over(scale: float) -> float:
        stream = stream_of(add([_times(dry, scale), storm]))
        came = ahead.go(stream, began_s, before, asked.at_s, machines)
        return came.v_m3 + came.spilled_m3 - now

    if over(0.0) > 1e-9:
        running = " + ".join(dict.fromkeys(rise.running))
        what = f"{running} cannot lower it that fast"
        if not running:
            what = "the rain alone brings more"
            if rise.by_m < 0.0:
                what = "it fell, and no pump is named that ran, such as '... with P1'"
        raise InputError(f"the timed change cannot be: {what}, even with no other inflow at all")
    if over(0.0) >= 0.0:
        return 0.0
    high = 1.0
    while over(high) < 0.0:
        high *= 2.0
        if high > _MOST_SCALE:
            message = "the timed change cannot be scaled to: the day's shape has (almost) no flow"
            raise InputError(f"{message} at that time")
    low = 0.0
    for _ in range(80):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if over(middle) < 0.0 else (low, middle)
    return high


def lineups(station: Station, out: Sequence[str] = ()) -> list[tuple[str, tuple[int, ...]]]:
    """Return the lineups that still work, each by a label and the machines that run; first nothing.

    Where all pumps are alike only their number counts; of unlike ones up to three, every set is
    told, of more each alone and all together.

    Parameters
    ----------
    station
        What stands there.
    out
        Names of the machines that cannot run.
    """
    left = [i for i, pump in enumerate(station.pumps) if pump.name not in out]
    names = station.machine_names()
    alike = station.pumps_alike(left)
    sets: list[tuple[int, ...]]
    if alike:
        sets = [tuple(left[:number]) for number in range(1, len(left) + 1)]
    elif len(left) <= _MOST_SETS:
        sets = [s for n in range(1, len(left) + 1) for s in itertools.combinations(left, n)]
    else:
        sets = [*((i,) for i in left), tuple(left)]
    words = ("", "one", "two", "three", "four", "five", "six", "seven", "eight")
    found: list[tuple[str, tuple[int, ...]]] = [("nothing", ())]
    for machines in sets:
        count = len(machines)
        label = " + ".join(names[i] for i in machines)
        if alike and len(left) > 1 and count < len(words):
            label = f"{words[count]} pump{'s' if count > 1 else ''}"
        found.append((label, machines))
    engine = len(station.pumps)
    if station.engine_pump is not None and names[engine] not in out:
        found.append((names[engine], (engine,)))
    return found


def _row(
    ahead: Ahead,
    stream: Stream,
    asked: NowAsked,
    label: str,
    machines: tuple[int, ...],
    arriving_m3s: float,
) -> LineupRow:
    station = ahead.station
    well, alarm, stop = station.well, ahead.alarm_m3, ahead.stop_m3
    start = well.volume_at(asked.level_m)
    goals = {"spill": ahead.crest_m3}
    if not math.isnan(alarm) and start != alarm:
        goals["alarm"] = alarm
    if start > stop:
        goals["stop"] = stop
    when = {"spill": math.inf, "alarm": math.inf, "below": math.inf, "stop": math.inf}
    if start >= alarm:
        when["alarm"] = 0.0
    if start <= alarm:
        when["below"] = 0.0
    if start <= stop:
        when["stop"] = 0.0
    if start >= ahead.crest_m3 and ahead.flow_m3s(machines, start) <= arriving_m3s:
        when["spill"] = 0.0
        goals.pop("spill")
    t, v, end_s = asked.at_s, start, asked.at_s + REACH_S
    while goals:
        order = sorted(goals, key=lambda name: goals[name])
        came = ahead.go(stream, t, v, end_s, machines, [goals[name] for name in order])
        rising = came.v_m3 > v
        t, v = came.t_s, came.v_m3
        if came.goal < 0:
            break
        name = order[came.goal]
        goals.pop(name)
        where = name if name != "alarm" or rising else "below"
        when[where] = min(when[where], t - asked.at_s)
        if name != "alarm":
            break
    return LineupRow(
        lineup=label,
        machines=" + ".join(station.machine_names()[index] for index in machines),
        flow_m3s=ahead.flow_m3s(machines, start),
        alarm_s=when["alarm"] if not math.isnan(alarm) else math.nan,
        spill_s=when["spill"],
        below_alarm_s=when["below"] if not math.isnan(alarm) else math.nan,
        stop_s=when["stop"] if not math.isnan(stop) else math.nan,
        level_at_end_m=well.level_at(v),
    )
