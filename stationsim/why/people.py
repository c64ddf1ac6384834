"""Who was where at a moment, what they waited for, who knew of which alarm, when somebody came."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stationsim.metrics.call_outs import CallOut, call_outs
from stationsim.why.said import lasting
from stationsim.why.scene import SAME_INSTANT_S
from stationsim.wording import at_end, listed
from stationsim.wording.call_out import name_text

if TYPE_CHECKING:
    from stationsim.trace import AlarmRow, CrewRow
    from stationsim.why.scene import Scene

_DOING = {
    "called": "{who}'s phone had been ringing",
    "gets ready": "{who} was getting ready to leave",
    "fetches": "{who} was fetching the {what}",
    "comes": "the {what} was on its way",
    "travels": "{who} was on the way to the {what}",
    "looks around": "{who} was looking around on site",
    "looks on": "{who} was looking on, with nothing to do,",
    "is away with a load": "the {what} was away with a load",
}
_CHAIN = {
    "gets ready": "to get ready",
    "fetches": "to fetch the {what}",
    "travels": "on the way",
}
_OF_ALL = ("station",)


def of_people(scene: Scene) -> list[str]:
    """Return what there is to tell of people at a moment, a sentence each; nothing without people.

    Parameters
    ----------
    scene
        The moment.
    """
    response = scene.result.episode.response
    if response is None:
        return []
    told = [_alarm(scene, row) for row in _standing(scene) if response.calls(row.alarm)]
    doing = [row for row in scene.trace.crew if _goes_on(scene, row)]
    doing.sort(key=lambda row: (row.start_s, row.person))
    told += [_doing(scene, row) for row in doing]
    told += [_waiting(scene, row) for row in _waits(scene)]
    told += _when_they_come(scene, doing)
    if not told:
        return ["Nobody was called, on the way or on site."]
    return told


# ---------------------------------------------------------------------- who knows


def _standing(scene: Scene) -> list[AlarmRow]:
    now_s = scene.at_s + SAME_INSTANT_S
    rows = [
        row for row in scene.trace.alarms if row.raised_s <= now_s and not row.cleared_s <= now_s
    ]
    return sorted(rows, key=lambda row: row.raised_s)


def _alarm(scene: Scene, row: AlarmRow) -> str:
    """Return since when an alarm stood, and who knew of it."""
    own = f" of {row.subject}" if row.subject in scene.names else ""
    said = f"The alarm '{row.alarm}'{own} stood since {scene.clock(row.raised_s)}"
    now_s = scene.at_s + SAME_INSTANT_S
    if row.reached_s <= now_s:
        return f"{said}; people knew of it since {scene.clock(row.reached_s)}."
    if math.isnan(row.sent_s) or row.sent_s > now_s:
        never = math.isnan(row.sent_s)
        said += "; it had not left the station and "
        said += "never did" if never else f"did so at {scene.clock(row.sent_s)}"
    if math.isnan(row.reached_s):
        return f"{said}; nobody knew of it, nor ever did."
    return f"{said}; nobody knew of it before {scene.clock(row.reached_s)}."


# ---------------------------------------------------------------------- who is where


def _goes_on(scene: Scene, row: CrewRow) -> bool:
    now_s = scene.at_s + SAME_INSTANT_S
    return row.start_s <= now_s and (row.stop_s > now_s or _open(scene, row))


def _open(scene: Scene, row: CrewRow) -> bool:
    return row.outcome == "end of run" and at_end(scene.result, row.stop_s)


def _capital(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}"


def _doing(scene: Scene, row: CrewRow) -> str:
    """Return what somebody, or a tool, was at, and until when."""
    who = name_text(row.person) if row.person else f"whoever brought the {row.tool}"
    known = row.task in _DOING
    text = _DOING.get(row.task, "{who} was at the step '{task}'")
    said = text.format(who=who, what=row.tool or row.subject, task=row.task)
    if row.task == "travels":
        said = text.format(who=who, what=row.subject)
    if not known and row.subject not in _OF_ALL:
        said += f" ({row.subject})"
    return _capital(f"{said} since {scene.clock(row.start_s)}, {_until(scene, row)}.")


def _until(scene: Scene, row: CrewRow) -> str:
    if _open(scene, row):
        return "to the end of the run"
    end = {
        "no answer": ", in vain",
        "another one took it": ", when another one took it",
        "not to be had": ": there is none",
    }.get(row.outcome, "")
    return f"{scene.until(row.stop_s)}{end}"


# ---------------------------------------------------------------------- what waits


def _waits(scene: Scene) -> list[CrewRow]:
    """Return the steps that waited at the moment for a tool or for hands, each once."""
    now_s = scene.at_s + SAME_INSTANT_S
    rows = [row for row in scene.trace.crew if row.start_s - row.waited_s <= now_s < row.start_s]
    return list({(row.task, row.subject, row.start_s): row for row in rows}.values())


def _waiting(scene: Scene, row: CrewRow) -> str:
    since_s = row.start_s - row.waited_s
    named = "" if row.subject in _OF_ALL else f" ({row.subject})"
    return (
        f"The step '{row.task}'{named} waited for hands or a tool since {scene.clock(since_s)},"
        f" {scene.until(row.start_s)}."
    )


# ---------------------------------------------------------------------- why nobody was there yet


def _when_they_come(scene: Scene, doing: list[CrewRow]) -> list[str]:
    """Return when somebody first stood on site, and what the time before was made of."""
    now_s = scene.at_s + SAME_INSTANT_S
    found = call_outs(scene.trace, scene.result.episode.response)
    since_s = min((row.raised_s for row in _standing(scene)), default=scene.at_s)
    of_now = [
        one
        for one in found
        if one.stop_s > now_s and (one.start_s <= now_s or since_s <= one.raised_s <= now_s)
    ]
    if not of_now:
        stands = bool(_standing(scene)) and not doing
        return ["Nobody was called, on the way or on site."] if stands else []
    one = of_now[0]
    if one.on_site_s <= now_s:
        return [_there(scene, one)] if not doing else []
    if math.isnan(one.on_site_s):
        reason = "nobody was reached" if one.first("nobody reached") else "nobody came in this run"
        if one.first("stood down") is not None:
            reason = "all was clear before anybody had to come"
        return [f"Nobody was on site: {reason}."]
    left = lasting(one.on_site_s - scene.at_s)
    said = f"Nobody was on site before {scene.clock(one.on_site_s)} ({left} more)"
    parts = _parts(one)
    if not parts:
        return [f"{said}."]
    whole = lasting(one.on_site_s - one.raised_s)
    return [f"{said}: of the {whole} from the first alarm, {listed(parts)}."]


def _there(scene: Scene, one: CallOut) -> str:
    return f"Somebody had been on site since {scene.clock(one.on_site_s)}."


def _parts(one: CallOut) -> list[str]:
    """Return what the time from the first alarm to somebody on site was made of."""
    taken = one.first("acknowledged")
    if taken is None or math.isnan(one.raised_s):
        return []
    who = taken.cause.removeprefix("by ")
    rang_s = min((row.start_s for row in one.rows if row.task == "called"), default=taken.t_s)
    spans = [
        (rang_s - one.raised_s, "passed until a phone rang"),
        (taken.t_s - rang_s, "until somebody acknowledged"),
    ]
    spans += [
        (row.stop_s - row.start_s, _CHAIN[row.task].format(what=row.tool))
        for row in one.rows
        if row.person == who and row.task in _CHAIN and row.stop_s <= one.on_site_s
    ]
    return [f"{lasting(span)} {what}" for span, what in spans if span > 0.0]
