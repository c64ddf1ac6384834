"""Pumps that are like another one: what they take over, and what is told only once of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from stationsim.findings import Finding
from stationsim.scenario.lines import Path, split_path
from stationsim.scenario.slips import nearest_key, nearest_name

_ALTERNATIVES = (("flow", "curve"), ("power", "power_curve", "efficiency"))


@dataclass
class Likes:
    """What came of the ``like`` of all pumps.

    Parameters
    ----------
    of
        Pump -> the one whose keys it took.
    taken
        Pump -> the keys that it took over.
    refused
        What was wrong.
    unknown
        Pumps whose ``like`` names no pump, or goes in a circle: they lack what it would have given.
    """

    of: dict[str, str] = field(default_factory=dict)
    taken: dict[str, set[str]] = field(default_factory=dict)
    refused: list[Finding] = field(default_factory=list)
    unknown: set[str] = field(default_factory=set)

    def told_once(self, findings: list[Finding]) -> list[Finding]:
        """Return the findings without those that a pump only has because of the one it is like.

        Parameters
        ----------
        findings
            What was found.
        """
        known = {(split_path(one.place), one.reason) for one in findings}
        return [one for one in findings if not self._told_elsewhere(one, known)]

    def _told_elsewhere(self, one: Finding, known: set[tuple[Path, str]]) -> bool:
        path = split_path(one.place)
        if len(path) < 2 or path[0] != "pump":
            return False
        name = path[1]
        if len(path) > 2 and path[2] not in self.taken.get(name, ()):
            return False
        seen = {name}
        while name in self.of and self.of[name] not in seen:
            name = self.of[name]
            seen.add(name)
            if (("pump", name, *path[2:]), one.reason) in known:
                return True
        return False


def take_likes(document: dict[str, Any]) -> Likes:
    """Give each pump that says ``like`` the keys of the other one, save those it gives itself.

    Parameters
    ----------
    document
        The scenario as read; changed in place.
    """
    likes = Likes()
    pumps = document.get("pump")
    if not isinstance(pumps, dict):
        return likes
    own = {name: dict(table) for name, table in pumps.items() if isinstance(table, dict)}
    asked = {name: _asked(table) for name, table in own.items()}
    for name, table in own.items():
        merged, seen, like = dict(table), [name], asked[name]
        while isinstance(like, str):
            if like not in own or like in seen:
                likes.unknown.add(name)
                if like not in pumps or like in seen:  # what is no table is told elsewhere
                    _refuse(name, like, seen, list(pumps), likes)
                break
            likes.of.setdefault(seen[-1], like)
            seen.append(like)
            for key, value in own[like].items():
                if key != "like" and not _answered(key, merged):
                    merged[key] = value
                    likes.taken.setdefault(name, set()).add(key)
            like = asked[like]
        if isinstance(table.get("like"), str):
            merged.pop("like")
        pumps[name] = merged
    return likes


def _asked(table: Mapping[str, Any]) -> Any:
    """Return whom a pump is like; a slip in the word itself (told elsewhere) does not count."""
    if "like" in table:
        return table["like"]
    near = next((key for key in table if nearest_key(key, ["like"])), None)
    return None if near is None else table[near]


def _answered(key: str, merged: Mapping[str, Any]) -> bool:
    """Tell whether a pump answers by itself what a key of the other one would answer."""
    if key == "motor_efficiency" and ("power" in merged or "power_curve" in merged):
        return True  # its input is given at the cable, so the other's motor does not matter
    group = next((one for one in _ALTERNATIVES if key in one), (key,))
    return any(one in merged for one in group)


def _refuse(name: str, like: str, seen: list[str], known: list[str], likes: Likes) -> None:
    others = [other for other in known if other != name]
    if like not in known:
        if seen[-1] != name:
            return  # told of the pump that says it
        reason = f"no pump is called '{like}'"
        near = nearest_name(like, others)
        fix = f"did you mean '{near}'?" if near else ""
        limit = ", ".join(others) or "another pump"
        likes.refused.append(Finding(f"pump.{name}.like", "error", reason, f'"{like}"', limit, fix))
    elif not any(other in likes.unknown for other in seen if other != name):
        circle = " -> ".join([*seen[seen.index(like) :], like])
        reason = f"goes in a circle ({circle})"
        fix = "let one of them give its own keys"
        likes.refused.append(Finding(f"pump.{name}.like", "error", reason, fix=fix))
