"""What people did about it: what began it, who knew when, who came when, what it bought."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING

from stationsim.metrics.call_outs import CallOut, call_outs
from stationsim.units import show
from stationsim.wording.nobody_knew import LATE_S, nobody_knew, spilled_m3
from stationsim.wording.sayings import STANDING
from stationsim.wording.spells import Happened
from stationsim.wording.standing import stood
from stationsim.wording.words import at_end, listed, moment, times

if TYPE_CHECKING:
    from stationsim.results import Result
    from stationsim.trace import AlarmRow, CrewRow, EventRow
    from stationsim.units import System

_WORTH_TELLING_S = 60.0
_OFF_PLAN = {
    "called": "until somebody acknowledged",
    "gets ready": "to get ready",
    "fetches": "to fetch the {tool}",
    "comes": "until the {tool} came",
    "travels": "for the way",
    "looks around": "to look around",
    "is away with a load": "for a trip of the {tool}",
    "reset": "to reset {who}",
    "set right": "to set {who} right",
    "clear rags": "to clear {who} of rags",
    "pull a pump": "to pull {who} and mend it",
    "connect mobile generator": "to connect the mobile generator",
    "connect bypass pump": "to connect the bypass pump",
    "disconnect mobile generator": "to take the mobile generator off",
    "disconnect bypass pump": "to take the bypass pump off",
    "refuel": "to refuel {who}",
    "haul": "for a load of the {tool}",
}
_ALONE = ("looks on", "visits", "stood down")
_MOST_OFF_PLAN = 6

_DONE = {
    "reset": "{who} was reset",
    "set right": "{who} was set right",
    "clear rags": "{who} was clear of rags",
    "pull a pump": "{who} was pulled and mended",
    "connect mobile generator": "the mobile generator was connected",
    "connect bypass pump": "the bypass pump was connected",
    "refuel": "{who} was refuelled",
    "haul": "a tanker had its load",
}
"""Task -> what was then so, at the moment that follows."""


def of_people(result: Result, units: System) -> list[str]:
    """Return what people did in a run, in three sentences at most; none when nothing asked for it.

    Parameters
    ----------
    result
        The run.
    units
        ``si`` or ``us``.
    """
    response = result.episode.response
    if response is None:
        return []
    found = call_outs(result.trace, response)
    said = []
    if found:
        told = _Told(result, units, max(found, key=lambda one: _weight(result, one)))
        if len(found) > 1:
            said.append(_all_of_them(result, found, units))
            said.append(f"The one that mattered most: {told.chain()}")
        else:
            chain = told.chain()
            said.append(f"{chain[0].upper()}{chain[1:]}")
        said.append(told.off_plan())
    said.append(nobody_knew(result, found, units))
    return [one for one in said if one][:3]


def _weight(result: Result, one: CallOut) -> tuple[float, float]:
    """Return how much a call-out mattered: what spilled, else how long nobody was there."""
    since_s = one.raised_s if one.alarms else one.start_s
    until_s = one.stop_s if math.isnan(one.on_site_s) else one.on_site_s
    volume_m3, _began_s = spilled_m3(result, min(since_s, one.start_s), _over_s(result, one))
    return volume_m3, until_s - since_s


def _over_s(result: Result, one: CallOut) -> float:
    """Return when a call-out was over: where nobody was reached, what had called goes on [s]."""
    if not math.isnan(one.known_s):
        return one.stop_s
    ends = [result.trace.end_s if math.isnan(r.cleared_s) else r.cleared_s for r in one.alarms]
    return max([one.stop_s, *ends])


def _all_of_them(result: Result, found: list[CallOut], units: System) -> str:
    """Return how often people were called, came, and were not reached."""
    ways = [one.on_site_s - one.raised_s for one in found if one.alarms]
    ways = [way for way in ways if way >= 0.0]  # a round may come before any alarm
    came = sum(not math.isnan(one.on_site_s) for one in found)
    first = f"between {moment(result, found[0].start_s)} and {moment(result, found[-1].start_s)}"
    said = [f"People were called, or came by, {times(len(found))} {first}"]
    part = f"somebody stood on site {times(came)}" if came else "nobody ever stood on site"
    if ways:
        least, most = (show(f(ways), "duration", units) for f in (min, max))
        part += f", {least} after the first alarm"
        part += f" at best and {most} at worst" if least != most else ""
    said.append(part)
    in_vain = sum(one.first("stood down") is not None for one in found)
    if in_vain:
        said.append(f"{times(in_vain)} all was clear before anybody had come")
    missed = [one for one in found if one.first("nobody reached") is not None]
    if missed:
        rang = dict.fromkeys(
            row.person
            for one in missed
            for row in one.rows
            if row.task == "called" and row.outcome == "no answer"
        )
        deaf = f": {listed([name_text(name) for name in rang])} did not answer" if rang else ""
        said.append(f"{times(len(missed))} nobody was reached{deaf}")
    return "; ".join(said) + "."


def name_text(name: str) -> str:
    """Return whom a response names, as in a sentence: a role in small letters has an article.

    Parameters
    ----------
    name
        As the response has it.
    """
    return f"the {name}" if name[:1].islower() else name


def _subject_text(result: Result, subject: str) -> str:
    own = (*result.station.machine_names(), "telemetry")
    return subject if subject in own else name_text(subject)


def _one_after_the_other(said: list[str]) -> str:
    """Return clauses in one, where two of the same machine in a row share its name and verb."""
    whole = said[0] if said else ""
    for n, (before, one) in enumerate(pairwise(said), start=2):
        who, was, what = one.partition(" was ")
        if was and before.startswith(f"{who}{was}"):
            whole += f", and {what}"
        else:
            whole += f", {one}" if n < len(said) else f", and {one}"
    return whole


class _Told:
    """One call-out, told.

    Parameters
    ----------
    result
        The run.
    units
        ``si`` or ``us``.
    one
        The call-out.
    """

    def __init__(self, result: Result, units: System, one: CallOut) -> None:
        self.result, self.units, self.one = result, units, one
        self._day = ""
        self._cause, self.since_s = self._began()

    # ------------------------------------------------------------------ the words

    def _at(self, t_s: float) -> str:
        """Return a moment; within the day that was told last, by the clock alone."""
        text = moment(self.result, t_s)
        day, _, clock = text.rpartition(" ")
        if day == self._day:
            return clock
        self._day = day
        return text

    def _lasting(self, duration_s: float) -> str:
        """Return a duration to the minute, where it is that long."""
        if duration_s == 60.0:
            return "1 min"
        whole = 60.0 * math.floor(duration_s / 60.0 + 0.5) if duration_s >= 600.0 else duration_s
        return show(whole, "duration", self.units)

    # ------------------------------------------------------------------ the parts

    def _began(self) -> tuple[str, float]:
        """Return what began it, without its moment, and when [s]."""
        one = self.one
        worked = {row.subject for row in one.rows if row.task in _DONE}
        happened = Happened(self.result, self.units)
        by_s = min((t for t in (one.raised_s, one.start_s) if not math.isnan(t)), default=0.0)
        worst: tuple[float, str] | None = None
        for kind, saying in STANDING.items():
            for subject, spells in stood(happened, kind).items():
                here = [s for s in spells if s.start_s <= by_s < s.stop_s]
                if subject in worked and here and (worst is None or here[0].start_s < worst[0]):
                    text = saying.text.format(who=subject, size="").rstrip(",")
                    worst = here[0].start_s, text
        out = [
            row
            for row in self.result.trace.power
            if row.source == "grid"
            and row.state == "out"
            and row.start_s <= by_s
            and row.stop_s > by_s
        ]
        if out:
            phase = out[0].cause == "phase lost"
            lost = "one phase of the grid was lost" if phase else "the power failed"
            if worst is None or out[0].start_s <= worst[0]:
                return lost, out[0].start_s
        if worst is not None:
            return worst[1], worst[0]
        if one.alarms:
            return f"the alarm {self._alarm(one.alarms[0])} came", one.raised_s
        spill = one.first("a passer-by rings") or one.first("visited")
        _volume, began_s = spilled_m3(self.result, one.start_s, one.stop_s)
        if spill is not None and began_s <= one.start_s:
            return "it began to spill", began_s
        return "", one.start_s

    def _alarm(self, row: AlarmRow) -> str:
        own = row.subject in self.result.station.machine_names()
        return f"'{row.alarm}'{f' of {row.subject}' if own else ''}"

    def chain(self) -> str:
        """Return the chain: what began it, who knew, who came, what was done, what it cost."""
        began = ""
        if self._cause:
            verb = "" if self._cause.endswith(("failed", "lost", "came", "spill")) else "from "
            at = self._at(self.since_s)
            began = f"{self._cause} {verb or 'at '}{at}{' on' if verb else ''}"
        parts = [began, self._knew()]
        done = self._done()
        if done:
            parts.append(done)
        parts.append(self._cost())
        return "; ".join(part for part in parts if part) + "."

    def _knew(self) -> str:
        """Return how people came to know, and when they stood on site."""
        one = self.one
        taken, rung = one.first("acknowledged"), one.first("a passer-by rings")
        came_by = one.first("visited")
        first_s = one.known_s
        told: list[str] = []
        if rung is not None and not rung.t_s > first_s:
            told.append(
                f"nobody knew until somebody who passed by and saw {rung.cause} rang at"
                f" {self._at(rung.t_s)}{self._after(rung.t_s)}"
            )
        elif self._left_late():
            told.append(f"no alarm left the station until {self._at(self._sent_s())}")
        if came_by is not None and not (taken is not None and taken.t_s <= came_by.t_s):
            told.append(self._came_by(came_by))
            return "; ".join(told)
        if taken is None:
            return "; ".join([*told, self._missed()])
        who = taken.cause.removeprefix("by ")
        what = self._what_reached(taken, rung)
        in_vain = self._not_answered(who, taken.t_s)
        reached = f"{what} reached {name_text(who)} at {self._at(taken.t_s)}{in_vain}"
        came = self._came(taken.t_s)
        told.append((reached.rstrip(",") if came.startswith(",") else reached) + came)
        return "; ".join(told)

    def _came_by(self, visited: EventRow) -> str:
        """Return that somebody came by on the round, and whether anybody had known before."""
        who = name_text(self._visitor(visited.t_s))
        round_ = "" if "round" in who else " on the round"
        came = f"{who} came by{round_} at {self._at(visited.t_s)}"
        if not self._cause:
            return f"{came} and found: {visited.detail}"
        before = "nobody knew until " if self.one.alarms else ""
        return f"{before}{came}{self._after(visited.t_s)}"

    def _what_reached(self, taken: EventRow, rung: EventRow | None) -> str:
        """Return what reached whoever took the call: it was told already, or it is named."""
        if rung is not None and rung.t_s <= taken.t_s:
            return "the call"
        if self._cause.startswith(f"the alarm '{taken.detail}'"):
            return "it"
        known = self._cause == "the power failed" and taken.detail == "power failed"
        return "the alarm" if known else f"the alarm '{taken.detail}'"

    def _came(self, taken_s: float) -> str:
        one = self.one
        if not math.isnan(one.on_site_s):
            at = self._at(one.on_site_s)
            return f" and they stood on site at {at}{self._after(one.on_site_s)}"
        if one.first("stood down") is not None:
            return ", and nobody had to go: all was clear by then"
        if at_end(self.result, one.stop_s):
            return ", and nobody was on site by the end of the run"
        return ", and nobody came" if taken_s < one.stop_s else ""

    def _after(self, t_s: float) -> str:
        """Return how long after the beginning a moment is, where that is worth telling."""
        if t_s - self.since_s < _WORTH_TELLING_S:
            return ""
        return f", {self._lasting(t_s - self.since_s)} after it"

    def _sent_s(self) -> float:
        return min((row.sent_s for row in self.one.alarms if row.sent_s >= 0.0), default=math.nan)

    def _left_late(self) -> bool:
        return self._sent_s() - self.one.raised_s > LATE_S

    def _visitor(self, t_s: float) -> str:
        rows = [row for row in self.one.rows if row.task == "visits" and row.start_s <= t_s]
        return rows[-1].person if rows else "somebody"

    def _not_answered(self, who: str, before_s: float) -> str:
        """Return who was called before whoever took the call, and did not answer in time."""
        rang = [row for row in self.one.rows if row.task == "called" and row.start_s < before_s]
        began_s = max((row.start_s for row in rang if row.person == who), default=math.inf)
        took = [row.person for row in rang if row.outcome == "acknowledged"]
        names = dict.fromkeys(
            row.person for row in rang if row.person not in took and row.start_s < began_s
        )
        if not names:
            return ""
        return f", for {listed([name_text(name) for name in names])} did not answer in time,"

    def _missed(self) -> str:
        """Return that nobody was reached, and whom the phone rang for."""
        one = self.one
        row = one.first("nobody reached")
        rang = dict.fromkeys(row.person for row in one.rows if row.task == "called")
        if row is None and rang:
            first_s = min(r.start_s for r in one.rows if r.task == "called")
            names = listed([name_text(name) for name in rang])
            verb = "was" if len(rang) == 1 else "were"
            ends = "nobody had answered by the end of the run"
            return f"{names} {verb} called from {self._at(first_s)} on, and {ends}"
        if row is None:
            return "and there was nobody to be called"
        if not rang:
            return f"at {self._at(row.t_s)} nobody was on call, and nobody came"
        first_s = min(r.start_s for r in one.rows if r.task == "called")
        names = listed([name_text(name) for name in rang])
        verb = "was" if len(rang) == 1 else "were"
        return f"{names} {verb} called from {self._at(first_s)} on and did not answer: nobody came"

    # ------------------------------------------------------------------ what was done

    def _done(self) -> str:
        """Return what was done, each with its moment; loads of a tanker together."""
        rows = [row for row in self.one.rows if row.task in _DONE]
        kinds: dict[tuple[str, str], list[CrewRow]] = {}
        for row in rows:
            if row.outcome == "done":
                key = (row.task, row.subject)
                same = kinds.setdefault(key, [])
                if not any(row.stop_s == one.stop_s for one in same):  # several hands at one thing
                    same.append(row)
        said = [self._work(task, subject, same) for (task, subject), same in kinds.items()]
        vain = dict.fromkeys(row.task for row in rows if row.outcome == "no longer needed")
        said += [f"the step '{task}' was no longer needed" for task in vain if task not in
                 {key[0] for key in kinds}]  # fmt: skip
        lacking = dict.fromkeys(row.tool for row in self.one.rows if row.outcome == "not to be had")
        if lacking:
            said.append(f"{' and '.join(f'no {tool}' for tool in lacking)} was to be had")
        if not said and not math.isnan(self.one.on_site_s):
            return "nothing was done there"
        return _one_after_the_other(said)

    def _work(self, task: str, subject: str, rows: list[CrewRow]) -> str:
        who = _subject_text(self.result, subject)
        if task == "haul" and len(rows) > 1:
            taken = show(self.result.trace.hauled_m3, "volume", self.units)
            first, last = self._at(rows[0].start_s), self._at(rows[-1].stop_s)
            loads = sum(row.event == "tanker takes" for row in self.result.trace.events)
            sum_ = f", {taken} in all" if loads == len(rows) else ""
            return f"a tanker took {len(rows)} loads from {first} to {last}{sum_}"
        at_s = rows[0].stop_s
        if task == "connect mobile generator":
            fed_s = self._fed_from_s(at_s)
            if not math.isnan(fed_s):
                at = self._at(fed_s)
                return f"the mobile generator fed the station from {at}{self._after(fed_s)}"
        often = f" {times(len(rows))}, first" if len(rows) > 1 else ""
        return f"{_DONE[task].format(who=who)}{often} at {self._at(at_s)}{self._after(at_s)}"

    def _fed_from_s(self, t_s: float) -> float:
        """Return when the mobile set fed the busbar, from a moment on [s]; NaN for never."""
        fed = [
            row.start_s
            for row in self.result.trace.power
            if row.source == "busbar"
            and row.state == "mobile generator"
            and t_s - 1.0 <= row.start_s <= self.one.stop_s
        ]
        return min(fed, default=math.nan)

    def _cost(self) -> str:
        """Return what spilled from the beginning until the last one left."""
        over_s = _over_s(self.result, self.one)
        volume_m3, began_s = spilled_m3(self.result, self.since_s, over_s)
        if volume_m3 <= 0.0:
            crest = self.result.station.spillway is not None
            return "nothing spilled meanwhile" if crest else ""
        volume = show(volume_m3, "volume", self.units)
        return f"{volume} spilled meanwhile, from {self._at(began_s)} on"

    def off_plan(self) -> str:
        """Return what took another time than was planned by more than a minute; else nothing."""
        said = []
        for row in self.one.rows:
            if row.task in _ALONE or row.outcome in ("end of run", "no answer", "not to be had",
                                                     "another one took it"):  # fmt: skip
                continue
            took_s = row.stop_s - row.start_s
            if not abs(took_s - row.planned_s) > _WORTH_TELLING_S:
                continue
            who = _subject_text(self.result, row.subject)
            what = _OFF_PLAN.get(row.task, f"for '{row.task}'").format(tool=row.tool, who=who)
            planned = self._lasting(row.planned_s)
            said.append(f"{self._lasting(took_s)} instead of {planned} {what}")
        said = list(dict.fromkeys(said))  # two pairs of hands at one thing
        parts = []
        if said:
            more = len(said) - _MOST_OFF_PLAN
            rest = [f"{more} more in the table of the crew"] if more > 0 else []
            parts.append(f"it took {listed([*said[:_MOST_OFF_PLAN], *rest])}")
        waits: dict[str, float] = {}
        brought = {row.tool for row in self.one.rows if row.task == "comes"}  # told above if late
        for row in self.one.rows:
            if row.waited_s > _WORTH_TELLING_S and row.tool not in brought:
                waits[row.task] = max(waits.get(row.task, 0.0), row.waited_s)
        parts += [
            f"the step '{task}' waited {self._lasting(waited_s)} for hands or a tool"
            for task, waited_s in waits.items()
        ]
        return f"Against the plan, {'; '.join(parts)}." if parts else ""
