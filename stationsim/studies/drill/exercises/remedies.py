"""When somebody could be there in an exercise, and what they could do about what is wrong.

It makes no claim that this is what ought to be done: it answers whether an exercise is worth
playing, by a run in which all that stands open to the person is done as soon as somebody could be
on site, each thing in its typical time.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationsim.episode import ScriptedEvent
from stationsim.people.response import Response
from stationsim.simulation.people.site import BY_CREW
from stationsim.studies.drill.crew.hands import who_answers

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stationsim.episode import Episode
    from stationsim.people.response import TaskKind
    from stationsim.station import Station
    from stationsim.studies.drill.exercises.troubles import Trouble, Wrong
    from stationsim.trace import Trace

THINKS_S = 300.0
"""From being told to acting, and from a trip to its reset; own choice [s]."""
UNTOLD_S = 7200.0
"""When somebody looks, or is there, whom nothing has told of trouble; own choice [s]."""

_DAY_S = 86400.0
_SATURDAY_SUNDAY = 7
_SET_RIGHT: TaskKind = "set right"
_CLEAR_RAGS: TaskKind = "clear rags"


def there_at(episode: Episode, trace: Trace, at_s: float) -> float:
    """Return when the person who plays could act on site [s].

    Away from the station it takes an alarm, its way to a phone and their own way, each in its
    typical time; where nobody is called they stand before the panel.

    Parameters
    ----------
    episode
        The exercise.
    trace
        What a run with nobody acting left behind.
    at_s
        When the main trouble begins [s].

    Raises
    ------
    InputError
        When somebody in the file has a name that means something else in a drill.
    """
    response = episode.response
    if response is None or not response.people:
        raised = [row.raised_s for row in trace.alarms if row.raised_s >= at_s]
        return min([*raised, at_s + UNTOLD_S]) + THINKS_S
    sent = [row.sent_s for row in trace.alarms if row.sent_s >= at_s and response.calls(row.alarm)]
    person = who_answers(response)
    told_s = min([*sent, at_s + UNTOLD_S])
    told_s += response.picked_up.typical + response.on_phone.typical
    clock_s = episode.clock_offset_s + told_s
    weekday = int(episode.start.weekday() + clock_s // _DAY_S) % _SATURDAY_SUNDAY
    night = response.at_night(clock_s, weekday)
    way_s = sum(
        person.takes(part, night=night).typical
        for part in ("acknowledges", "gets_ready", "travels")
    )
    return told_s + way_s + THINKS_S


def acts_of(
    station: Station, episode: Episode, troubles: Sequence[Trouble], there_s: float
) -> tuple[ScriptedEvent, ...]:
    """Return what somebody could do about what is wrong, once they are there.

    Parameters
    ----------
    station, episode
        What stands there, and the exercise.
    troubles
        What is wrong.
    there_s
        When somebody could act on site [s].
    """
    response = episode.response or Response()
    acts: list[ScriptedEvent] = []
    for trouble in troubles:
        for wrong in trouble.wrongs:
            acts += _against(station, response, wrong, there_s)
    # pumps are turned to hand once, however many troubles ask for it
    return tuple(
        sorted(
            (one for one in dict.fromkeys(acts) if one.at_s < episode.duration_s),
            key=lambda one: one.at_s,
        )
    )


def _against(
    station: Station, response: Response, wrong: Wrong, there_s: float
) -> list[ScriptedEvent]:
    event, remedy = wrong
    begins_s = max(there_s, event.at_s + THINKS_S)
    if remedy == "auto":
        return [_act(there_s, "auto", event.subject)]
    if remedy == "reset":
        cools_s = 0.0 if event.duration_s is None else event.duration_s
        return [_act(max(begins_s, event.at_s + cools_s + 1.0), "reset", event.subject)]
    if remedy == "hand":
        return [_act(begins_s, "hand", unit.name) for unit in station.pumps]
    if remedy in (_SET_RIGHT, _CLEAR_RAGS):
        task = response.task(_SET_RIGHT if remedy == _SET_RIGHT else _CLEAR_RAGS)
        takes_s = 0.0 if task is None else task.takes.typical + task.starts.typical
        done_s = begins_s + response.assesses.typical + takes_s
        acts = [_act(done_s, "put right", event.subject)]
        if event.subject in (*station.machine_names(), "generator"):
            acts.append(_act(done_s + 1.0, "reset", event.subject))
        return acts
    return _bring(response, wrong, there_s)


def _bring(response: Response, wrong: Wrong, there_s: float) -> list[ScriptedEvent]:
    """Return what is brought against an outage, while it lasts."""
    event, remedy = wrong
    kinds: dict[str, TaskKind] = {
        "mobile generator": "connect mobile generator",
        "bypass pump": "connect bypass pump",
    }
    if remedy not in kinds:
        return []
    task = response.task(kinds[remedy])
    if task is None:
        return []
    ready_s = there_s + response.assesses.typical
    if task.tool is not None:
        tool = response.tool(task.tool)
        for span in (tool.fetched, tool.delivered):
            ready_s += 0.0 if span is None else span.typical
    ready_s += task.takes.typical + task.starts.typical
    if event.duration_s is not None and ready_s >= event.at_s + event.duration_s:
        return []
    connected = "mobile generator connected" if remedy == "mobile generator" else (
        "bypass pump connected"
    )  # fmt: skip
    return [ScriptedEvent(ready_s, connected, remedy, cause=BY_CREW)]  # type: ignore[arg-type]


def _act(at_s: float, kind: str, subject: str) -> ScriptedEvent:
    return ScriptedEvent(at_s, kind, subject, cause=BY_CREW)  # type: ignore[arg-type]
