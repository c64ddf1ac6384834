"""Everything that stationsim raises on purpose.

::

    StationSimError
    ├── InputError            somebody's input is wrong (the command line ends with exit code 2)
    │   ├── ScenarioError     a scenario file; carries every finding at once
    │   ├── QuantityError     a text such as "35 L/s" that cannot be read
    │   ├── RecordError       a data file (CSV) that cannot be used as it stands
    │   ├── PlugInError       a controller or rotation that cannot be found or set up
    │   ├── ActionError       an action that this station or this moment does not allow
    │   └── OutputError       a place that cannot be written, or that already exists
    ├── ControllerError       a controller said something impossible while it ran
    └── HydraulicError        the curves given have no operating point, or none that can be banded

All take their message as positional arguments, so that they survive pickling and being raised
inside another library's process.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stationsim.findings import Finding


class StationSimError(Exception):
    """Root of the tree: catch this to catch everything raised on purpose."""


class InputError(StationSimError):
    """Somebody's input is wrong; the message says what, where and what is accepted."""


class ScenarioError(InputError):
    """A scenario that cannot be run.

    Parameters
    ----------
    message
        The whole text, one line for each finding.
    findings
        The same, as data.
    """

    def __init__(self, message: str, findings: Sequence[Finding] = ()) -> None:
        super().__init__(message, tuple(findings))
        self.findings: tuple[Finding, ...] = tuple(findings)

    def __str__(self) -> str:
        return str(self.args[0])


class QuantityError(InputError):
    """A quantity text that cannot be read: no number, no unit, or a unit of another kind."""


class RecordError(InputError):
    """A data file that cannot be used as it stands."""


class PlugInError(InputError):
    """A controller or rotation that cannot be found, or whose settings are wrong."""


class ActionError(InputError):
    """An action that this station, or this moment, does not allow."""


class OutputError(InputError):
    """A place that cannot be written, or that already holds something."""


class ControllerError(StationSimError):
    """A controller named a pump or a level that is not there, or a time that is past."""


class HydraulicError(StationSimError):
    """Pump and system curves that give no operating point."""
