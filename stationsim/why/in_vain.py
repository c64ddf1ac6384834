"""Why the level stood at the start level of a pump, and yet the pump was not started.

What the controller held in mind at each of its turns tells it: either a call stood and was
withdrawn before the pump could take it, or the start delay began to run and the level fell again
before it was over.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stationsim.why.said import lasting, role_text
from stationsim.why.scene import SAME_INSTANT_S, Scene

if TYPE_CHECKING:
    from stationsim.control.staging import StagingSettings
    from stationsim.why.watching import Turn


def in_vain(scene: Scene, name: str, call: int, since_s: float) -> tuple[str, list[str]]:
    """Return what became of a start level that was reached, as a clause; and what else to tell.

    Parameters
    ----------
    scene
        The moment.
    name
        The pump, which does not run.
    call
        Which call it would have filled.
    since_s
        Since when it has had this part [s].
    """
    role, start_m, _stop_m = scene.station.control.settings.stages()[call]
    start = f"its {role} start, {scene.level(start_m)}"
    turns = [
        turn
        for turn in scene.turns[: scene.last_turn + 1]
        if turn.t_s >= since_s - SAME_INSTANT_S and turn.memory is not None
    ]
    for index in range(len(turns) - 1, -1, -1):
        memory = turns[index].memory
        assert memory is not None  # noqa: S101  (picked so)
        if call < memory.calls:
            return _withdrawn(scene, name, call, turns[: index + 2])
        if call in dict(memory.above_since):
            return _too_short(scene, call, turns[: index + 2], start), []
    stood = f"the level had stood at {start}, and why no pump was called is not on record"
    return stood, []


def _withdrawn(scene: Scene, name: str, call: int, turns: list[Turn]) -> tuple[str, list[str]]:
    """Return that a call stood until the last turn but one, and was withdrawn at the last."""
    role, _start_m, stop_m = scene.station.control.settings.stages()[call]
    last, first = len(turns) - 2, len(turns) - 2
    while first > 0 and _calls(turns[first - 1]) > call:
        first -= 1
    called_s, ended_s = turns[first].t_s, turns[-1].t_s
    why = _held_back(scene, name, turns[last])
    delay_s = scene.station.control.settings.stop_delay_s
    fell = "the level fell to" if delay_s <= 0.0 else "the level had fallen to"
    part = "" if call else f" as {role_text(role)}"  # that of a later call is told already
    clause = (
        f"it was called{part} at {scene.clock(called_s)}, but {why}, and {fell} its"
        f" {role} stop, {scene.level(stop_m)}, at {scene.clock(ended_s)}, before it could start"
    )
    return clause, refusals(scene, called_s, ended_s)


def _calls(turn: Turn) -> int:
    return 0 if turn.memory is None else turn.memory.calls


def _held_back(scene: Scene, name: str, turn: Turn) -> str:
    """Return what kept a pump from being started while its call stood: what would last longest."""
    pump = scene.names.index(name)
    memory, state = turn.memory, turn.seen.pumps[pump]
    assert memory is not None  # noqa: S101  (asked only where it is known)
    rested_s = state.stopped_s + state.min_off_s
    limit_s, held_s = memory.under_limit_s[pump], memory.next_start_s
    free_s = max(rested_s, limit_s, held_s)
    if free_s <= turn.t_s + SAME_INSTANT_S:
        return "other pumps were to be taken first"
    if free_s == limit_s:
        return f"{at_limit(scene.station.control.settings)}, until {scene.clock(limit_s)}"
    if free_s == rested_s:
        rest = lasting(state.min_off_s)
        return f"it had to rest {rest} after its stop, until {scene.clock(rested_s)}"
    held = "restart delay or stagger" if memory.after_power_loss else "stagger"
    return f"the {held} held it back until {scene.clock(held_s)}"


def at_limit(settings: StagingSettings) -> str:
    """Return that a pump was at its limit of starts in an hour.

    Parameters
    ----------
    settings
        Of the controller, with such a limit.
    """
    most = settings.most_starts_per_hour
    return f"it had made {most:g} start{'' if most == 1.0 else 's'} within an hour, its limit"


def _too_short(scene: Scene, call: int, turns: list[Turn], start: str) -> str:
    """Return that the start delay began to run, and what came of it.

    It ran up to the last turn but one, and at the last it did no more; or it runs still.
    """
    delay_s = scene.station.control.settings.start_delay_s
    delay = f"the start delay of {lasting(delay_s)}"
    runs = [dict(turn.memory.above_since) for turn in turns if turn.memory is not None]
    if call in runs[-1]:
        begin_s = runs[-1][call]
        return (
            f"the level came to {start}, at {scene.clock(begin_s)}, and {delay} ran"
            f" {scene.until(begin_s + delay_s)}"
        )
    begin_s, end_s = runs[-2][call], turns[-1].t_s
    times = len({one[call] for one in runs if call in one})
    often = "" if times == 1 else f" (the last of {times} times)"
    peak = scene.seen_peak(begin_s, end_s)
    top = "" if math.isnan(peak.level_m) else f", peaked at {scene.level(peak.level_m)}"
    return (
        f"the level came to {start}, at {scene.clock(begin_s)}{often}{top} and fell below it again"
        f" after {lasting(end_s - begin_s)}, before {delay} was over"
    )


def refusals(scene: Scene, since_s: float, until_s: float = math.inf) -> list[str]:
    """Return the last start that the panel refused in a span, as the record has it.

    Parameters
    ----------
    scene
        The moment.
    since_s, until_s
        From when to when [s]; to the moment at the latest.
    """
    last_s = min(until_s, scene.at_s)
    rows = [
        row
        for row in scene.of("station", "start refused")
        if since_s <= row.t_s <= last_s + SAME_INSTANT_S
    ]
    if not rows:
        return []
    row = rows[-1]
    detail = f" ({row.detail})" if row.detail else ""
    return [f"Start refused at {scene.clock(row.t_s)}: {row.cause}{detail}."]
