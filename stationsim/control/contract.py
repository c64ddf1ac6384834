"""What a controller and a rotation are, and how they are found.

A controller is told and answers: ``decide(now_s, seen) -> Decision``. It holds its own memory, is
picklable, and never sees the truth. A rotation settles who leads.

Both are found by a plain name (the built-in ones) or as ``package.module:Class``. Each class has
an attribute ``Settings``, a frozen dataclass whose fields are its parameters; a field made by
:func:`setting` says of what kind it is, so that a scenario can give it as text with a unit, and an
unknown parameter is an error like any other. A panel that scans every second is a controller that
sets ``wake_at_s``: it costs about a hundred times as much as one that sleeps until a level.
"""

from __future__ import annotations

import dataclasses
import importlib
from dataclasses import dataclass
from typing import Any, ClassVar, Literal, Protocol, cast

from stationsim.errors import PlugInError
from stationsim.signals import Decision, Snapshot

SettingKind = Literal["level", "length", "duration", "number", "choice", "text"]
Occasion = Literal["all stopped", "power lost", "time"]


def setting(
    kind: SettingKind,
    default: Any = dataclasses.MISSING,
    *,
    meaning: str,
    choices: tuple[str, ...] = (),
) -> Any:
    """Return a dataclass field that a scenario can set.

    Parameters
    ----------
    kind
        ``level`` (metres above floor, field name ends in ``_m``), ``length`` (metres, ends in
        ``_m``), ``duration`` (seconds, ends in ``_s``), ``number``, ``choice`` or ``text``. The key
        in a scenario is the field name without ``_m`` or ``_s``.
    default
        Default in SI; left out when the setting must be given. None means 'not used'.
    meaning
        One sentence for the reference.
    choices
        What a ``choice`` may be.
    """
    metadata = {"kind": kind, "meaning": meaning, "choices": choices}
    if default is dataclasses.MISSING:
        return dataclasses.field(metadata=metadata)
    return dataclasses.field(default=default, metadata=metadata)


class Rotation(Protocol):
    """Who leads.

    Attributes
    ----------
    Settings
        Frozen dataclass of its parameters.
    """

    Settings: ClassVar[type]

    def __init__(self, settings: Any) -> None:
        """Take the settings, an instance of ``Settings``."""
        ...

    def order(
        self, occasion: Occasion, now_s: float, seen: Snapshot, order: tuple[int, ...]
    ) -> tuple[int, ...]:
        """Return the new order of the pumps, lead first.

        Parameters
        ----------
        occasion
            ``all stopped``: the last running pump has just stopped after a run. ``power lost``:
            the supply failed while pumps ran. ``time``: the time that :meth:`next_time_s` named
            has come, or passed, and no pump runs.
        now_s
            Seconds since the start of the episode [s].
        seen
            What the panel sees.
        order
            The present order, a permutation of the pump indices.
        """
        ...

    def next_time_s(self, now_s: float, seen: Snapshot) -> float:
        """Return when it wants to be asked by the clock [s]; infinity for never.

        Parameters
        ----------
        now_s
            Seconds since the start of the episode [s].
        seen
            What the panel sees.
        """
        ...


class Decider(Protocol):
    """Anything that decides: a controller, or something around one."""

    def decide(self, now_s: float, seen: Snapshot) -> Decision:
        """Return what to do now and what should wake the controller next.

        Parameters
        ----------
        now_s
            Seconds since the start of the episode [s].
        seen
            What the panel sees.
        """
        ...


class Controller(Decider, Protocol):
    """The panel's decisions.

    Attributes
    ----------
    Settings
        Frozen dataclass of its parameters.
    """

    Settings: ClassVar[type]

    def __init__(self, settings: Any, rotation: Rotation, pump_count: int) -> None:
        """Take the settings, the rotation, and how many pumps there are."""
        ...


@dataclass(frozen=True)
class ControlPlan:
    """Which controller and which rotation, each with its settings.

    Parameters
    ----------
    controller, rotation
        A built-in name, or ``package.module:Class``.
    settings, rotation_settings
        Instances of the ``Settings`` of each class.
    """

    controller: str
    settings: Any
    rotation: str
    rotation_settings: Any

    def build(self, pump_count: int) -> Controller:
        """Return a new controller with no memory.

        Parameters
        ----------
        pump_count
            How many electric pumps the station has.
        """
        rotation = rotation_class(self.rotation)(self.rotation_settings)
        return controller_class(self.controller)(self.settings, rotation, pump_count)


CONTROLLERS = {"staging": "stationsim.control.staging:Staging"}
"""Built-in controllers: name -> where it stands."""

ROTATIONS = {
    "each cycle": "stationsim.control.rotation:EachCycle",
    "run hours": "stationsim.control.rotation:RunHours",
    "shares": "stationsim.control.rotation:Shares",
    "clock": "stationsim.control.rotation:Clock",
    "fixed": "stationsim.control.rotation:Fixed",
}
"""Built-in rotations: name -> where it stands."""


def controller_class(name: str) -> type[Controller]:
    """Return the class of a controller.

    Parameters
    ----------
    name
        A built-in name, or ``package.module:Class``.

    Raises
    ------
    PlugInError
        When nothing is found there.
    """
    return cast("type[Controller]", _find(name, CONTROLLERS, "controller", "decide"))


def rotation_class(name: str) -> type[Rotation]:
    """Return the class of a rotation.

    Parameters
    ----------
    name
        A built-in name, or ``package.module:Class``.

    Raises
    ------
    PlugInError
        When nothing is found there.
    """
    return cast("type[Rotation]", _find(name, ROTATIONS, "rotation", "order"))


def _find(name: str, built_in: dict[str, str], what: str, method: str) -> type:
    place = built_in.get(name, name)
    module_name, colon, class_name = place.partition(":")
    known = ", ".join(f"'{key}'" for key in built_in)
    if not colon or not module_name or not class_name:
        message = f"no {what} is called '{name}'; accepted: {known}, or 'package.module:Class'"
        raise PlugInError(message)
    try:
        module = importlib.import_module(module_name)
    except ImportError as error:
        message = f"the {what} '{name}' cannot be imported: {error}"
        raise PlugInError(message) from error
    found = getattr(module, class_name, None)
    if not isinstance(found, type):
        message = f"the {what} '{name}': module {module_name} has no class {class_name}"
        raise PlugInError(message)
    if not callable(getattr(found, method, None)):
        message = f"the {what} '{name}' has no method '{method}'"
        raise PlugInError(message)
    if not dataclasses.is_dataclass(getattr(found, "Settings", None)):
        message = f"the {what} '{name}' has no dataclass 'Settings' of its parameters"
        raise PlugInError(message)
    return found
