"""Controllers that are wrong on purpose, one thing each; all else they do as the built-in one."""

from __future__ import annotations

import random
from typing import Any

from stationsim.control.staging import Staging
from stationsim.signals import Command, Decision, Note, Snapshot


class UnknownPump(Staging):
    """Names a pump that is not there."""

    def decide(self, now_s: float, seen: Snapshot) -> Decision:
        made = super().decide(now_s, seen)
        return made._replace(commands=(*made.commands, Command("start", 7, "lead", "why not")))


class WakesInThePast(Staging):
    """Asks to be woken before now."""

    def decide(self, now_s: float, seen: Snapshot) -> Decision:
        return super().decide(now_s, seen)._replace(wake_at_s=now_s - 1.0)


class WakesInTheSky(Staging):
    """Asks for a level far above the well."""

    def decide(self, now_s: float, seen: Snapshot) -> Decision:
        return super().decide(now_s, seen)._replace(wake_at_levels_m=(900.0,))


class Raises(Staging):
    """Fails in itself."""

    def decide(self, now_s: float, seen: Snapshot) -> Decision:
        raise KeyError("lead")


class StartsTripped(Staging):
    """Starts P1 at each turn, ready or not."""

    def decide(self, now_s: float, seen: Snapshot) -> Decision:
        made = super().decide(now_s, seen)
        extra = () if seen.pumps[0].ready or not seen.supply else (0,)
        return made._replace(
            commands=(*made.commands, *(Command("start", n, "lead", "forced") for n in extra))
        )


class StartsWithoutSupply(Staging):
    """Does not mind an outage."""

    def decide(self, now_s: float, seen: Snapshot) -> Decision:
        made = super().decide(now_s, seen)
        if seen.supply:
            return made
        return made._replace(commands=(Command("start", 0, "lead", "never mind"),))


class RepeatsItself(Staging):
    """Orders a stop at each turn, whether anything runs or not."""

    def decide(self, now_s: float, seen: Snapshot) -> Decision:
        made = super().decide(now_s, seen)
        return made._replace(commands=(Command("stop", 2, "", "to be sure"), *made.commands))


class ThrowsDice(Staging):
    """Waits for a time that it draws by lot."""

    def decide(self, now_s: float, seen: Snapshot) -> Decision:
        made = super().decide(now_s, seen)
        return made._replace(wake_at_s=now_s + 600.0 + random.random())  # noqa: S311


class GivesNoCause(Staging):
    """Does not say why."""

    def decide(self, now_s: float, seen: Snapshot) -> Decision:
        made = super().decide(now_s, seen)
        return made._replace(commands=tuple(c._replace(cause="") for c in made.commands))


class Deaf(Staging):
    """Never starts anything."""

    def decide(self, now_s: float, seen: Snapshot) -> Decision:
        return super().decide(now_s, seen)._replace(commands=(), wake_at_s=now_s + 600.0)


class RunsDry(Staging):
    """Never stops anything."""

    def decide(self, now_s: float, seen: Snapshot) -> Decision:
        made = super().decide(now_s, seen)
        starts = tuple(c for c in made.commands if c.verb == "start")
        ready = tuple(c for c in starts if not seen.pumps[c.pump].running)
        return made._replace(commands=ready)


class NeverRelieves(Staging):
    """Lets nobody take the place of another, and looks only at P1."""

    def decide(self, now_s: float, seen: Snapshot) -> Decision:
        made = super().decide(now_s, seen)
        allowed = tuple(c for c in made.commands if c.verb == "stop" or c.pump == 0)
        return made._replace(commands=allowed)


class UnknownWord(Staging):
    """Notes something under a word of its own."""

    def decide(self, now_s: float, seen: Snapshot) -> Decision:
        made = super().decide(now_s, seen)
        return made._replace(notes=(*made.notes, Note("station", "hiccup", "no idea")))


CAUGHT: dict[str, Any] = {
    "UnknownPump": "stops the run",
    "WakesInThePast": "stops the run",
    "WakesInTheSky": "stops the run",
    "Raises": "stops the run",
    "StartsTripped": "starts unready",
    "StartsWithoutSupply": "starts powerless",
    "RepeatsItself": "repeats itself",
    "ThrowsDice": "forgets",
    "GivesNoCause": "gives no cause",
    "Deaf": "deaf",
    "RunsDry": "runs dry",
    "NeverRelieves": "never relieves",
    "UnknownWord": "unknown word",
}
