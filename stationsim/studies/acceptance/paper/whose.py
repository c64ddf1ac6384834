"""Whose sheet it is that came back: its title names the station for which it was written."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

READINGS_OF = "readings of the day of acceptance"
EVENTS_OF = "what the panel should show on the day of acceptance"
"""What the title of a sheet says behind the name of the station."""

_TITLE = re.compile(
    r"(?P<station>.+): (?:readings of|what the panel should show|the panel's log of)\b"
)


def title_of(station: str, what: str) -> str:
    """Return the title of a sheet.

    Parameters
    ----------
    station
        Name of the station.
    what
        What the sheet holds.
    """
    return f"{station}: {what}"


def of_another(above: Iterable[str], file: str, station: str) -> str:
    """Return why a sheet is none of a station, with what to do; empty when nothing says so.

    Parameters
    ----------
    above
        What stands above the names of its columns.
    file
        The file, as messages call it.
    station
        Name of the station of the scenario.
    """
    for line in above:
        found = _TITLE.match(line)
        if found is None:
            continue
        named = found["station"]
        if _bare(named) == _bare(station):
            continue
        return (
            f"{file}: is the sheet of another station: its title says {named!r}, and the scenario"
            f" is that of {station!r} (accepted: the sheet of {station!r}; so give the scenario of"
            f" {named!r}, or, if this is the same station by another name, mend the title)"
        )
    return ""


def _bare(name: str) -> str:
    return "".join(letter for letter in name.casefold() if letter.isalnum())
