"""Starter scenarios: commented files to begin from, in either unit system.

A template holds both: ``"{1.50 m|5.0 ft}"`` becomes the one or the other. The values are those of
an invented station, typical of the trade; none is a recommendation.
"""

from __future__ import annotations

import re
from importlib import resources
from typing import TYPE_CHECKING

from stationsim.errors import OutputError

if TYPE_CHECKING:
    from pathlib import Path

    from stationsim.units import System

_EITHER = re.compile(r"\{([^{}|\n]*)\|([^{}|\n]*)\}")


def starter_text(*, tank: bool = False, system: System = "si") -> str:
    """Return the text of a starter.

    Parameters
    ----------
    tank
        True for the short one: a tank, one pump, a constant inflow.
    system
        Units of its values, ``si`` or ``us``.
    """
    name = "tank.toml" if tank else "station.toml"
    template = resources.files("stationsim.scenario") / "templates" / name
    text = _EITHER.sub(
        lambda both: both.group(1 if system == "si" else 2), template.read_text(encoding="utf-8")
    )
    column = 64 if tank else 32
    return "".join(f"{_aligned(line, column)}\n" for line in text.splitlines())


def _aligned(line: str, column: int) -> str:
    """Move a comment behind a value to a column, also behind a value that is itself left out.

    The templates hold no # inside text.
    """
    left_out = "# " if line.startswith("# ") else ""
    code, mark, comment = line.removeprefix(left_out).partition("#")
    if not mark or not code.strip():
        return line
    return f"{left_out}{code.rstrip():<{column - 2 - len(left_out)}}  #{comment}"


def write_starter(
    path: Path, *, tank: bool = False, system: System = "si", force: bool = False
) -> None:
    """Write a starter to a file.

    Parameters
    ----------
    path
        Where.
    tank
        True for the short one.
    system
        Units of its values, ``si`` or ``us``.
    force
        True to write over a file that is there.

    Raises
    ------
    OutputError
        When something is there already, or the place cannot be written.
    """
    text = starter_text(tank=tank, system=system)
    try:
        if path.is_dir():
            raise OutputError(f"{path}: is a folder; the name of a file is needed")
        if path.exists() and not force:
            raise OutputError(f"{path}: is there already; --force writes over it")
        beside = path.with_name(f"{path.name}.partial")
        try:
            beside.write_text(text, encoding="utf-8", newline="\n")
            beside.replace(path)  # whole or not at all
        finally:
            beside.unlink(missing_ok=True)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise OutputError(f"{path}: cannot be written: {reason.lower()}") from error
