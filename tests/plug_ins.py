"""Controllers and rotations as a user might write them: good ones, and ones that misbehave."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from stationsim.control.contract import Rotation, setting
from stationsim.control.rotation import EachCycle, NoSettings
from stationsim.signals import Command, Decision, Snapshot


@dataclass(frozen=True)
class ScanSettings:
    """Levels and scan of ``Scanning``."""

    start_m: float = setting("level", 2.0, meaning="level at which one pump starts")
    stop_m: float = setting("level", 1.0, meaning="level at which it stops")
    scan_s: float = setting("duration", 1.0, meaning="time from one look to the next")


class Scanning:
    """A panel that looks once a second, and runs the first pump that is ready."""

    Settings = ScanSettings

    def __init__(self, settings: ScanSettings, rotation: Rotation, pump_count: int) -> None:
        self.settings = settings
        self.looks_s: list[float] = []

    def decide(self, now_s: float, seen: Snapshot) -> Decision:
        self.looks_s.append(now_s)
        running = [n for n, pump in enumerate(seen.pumps) if pump.running]
        ready = [n for n, pump in enumerate(seen.pumps) if pump.ready]
        commands: tuple[Command, ...] = ()
        if seen.level_m >= self.settings.start_m and ready and not running:
            commands = (Command("start", ready[0], "lead", "scan found the level high"),)
        elif seen.level_m <= self.settings.stop_m and running:
            commands = (Command("stop", running[0], "", "scan found the level low"),)
        return Decision(commands, (), now_s + self.settings.scan_s)


class ThirtyThreeSeconds(Scanning):
    """Wants its turn at set times and insists: not due a microsecond early."""

    def decide(self, now_s: float, seen: Snapshot) -> Decision:
        self.looks_s.append(now_s)
        return Decision((), (), (math.floor(now_s / 33.0) + 1.0) * 33.0)


@dataclass(frozen=True)
class LieSettings:
    """What ``Misbehaving`` says, and when."""

    says: str = setting("text", "", meaning="which impossible thing it says")
    after_s: float = setting("duration", 60.0, meaning="when it begins to")


class Misbehaving:
    """Says something impossible when its time has come."""

    Settings = LieSettings

    def __init__(self, settings: LieSettings, rotation: Rotation, pump_count: int) -> None:
        self.settings = settings

    def decide(self, now_s: float, seen: Snapshot) -> Decision:
        if now_s < self.settings.after_s:
            return Decision((), (), self.settings.after_s)
        verb: Any = "start"
        sayings = {
            "unknown pump": Decision((Command(verb, 7, "lead", "because"),)),
            "pump below nought": Decision((Command(verb, -1, "lead", "because"),)),
            "unknown verb": Decision((Command("reverse", 0, "", "because"),)),  # type: ignore[arg-type]
            "level above": Decision((), (99.0,)),
            "level below": Decision((), (-0.5,)),
            "level nan": Decision((), (math.nan,)),
            "past": Decision((), (), now_s - 10.0),
            "present": Decision((), (), now_s),
            "time nan": Decision((), (), math.nan),
            "starts what is out": Decision((Command(verb, 0, "lead", "because"),)),
            "stops what is in hand": Decision((Command("stop", 0, "", "because"),)),
        }
        return sayings[self.settings.says]


class EachCycleBackwards(EachCycle):
    """A rotation of one's own: the last pump becomes the lead."""

    Settings = NoSettings

    def order(self, occasion: Any, now_s: float, seen: Any, order: tuple[int, ...]) -> Any:
        return (order[-1], *order[:-1])


class NoDecide:
    """Lacks what a controller must have."""

    Settings = ScanSettings


class NoSettingsAtAll:
    """Has a decide, but no dataclass of parameters."""

    def decide(self, now_s: float, seen: Snapshot) -> Decision:
        return Decision()


class SettingsNoDataclass(NoSettingsAtAll):
    """Its Settings are no dataclass."""

    Settings = dict


not_a_class = 5
