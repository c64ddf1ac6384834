"""Data files of a scenario, when it is saved: where each is put, and how the text then names it.

A scenario that is saved beside its results is to run from there. A data file is put beside it
under the path that the scenario gives; where that leads out of the folder, or onto a file of the
results, it is put into ``inputs`` and the text names it there.
"""

from __future__ import annotations

import copy
import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Any

from stationsim import vocabulary
from stationsim.scenario import lines, overrides

if TYPE_CHECKING:
    from stationsim.scenario.built import DataFile

_INPUTS = "inputs"
_OF_THE_RESULTS = {"manifest.json", "scenario.toml", "sentences.txt", "tables.xlsx"} | {
    f"{entry.word}.{kind}" for entry in vocabulary.TABLES for kind in ("csv", "parquet")
}


def saved_names(files: Sequence[DataFile]) -> dict[tuple[str, str], str]:
    """Return where each data file is put: key of its source -> path from the saved scenario.

    Parameters
    ----------
    files
        The data files.
    """
    names: dict[tuple[str, str], str] = {}
    taken: dict[str, Path] = {}
    for file in files:
        here = file.path.resolve()
        name = _name_beside(file.written) or f"{_INPUTS}/{here.name}"
        if taken.get(name.lower(), here) != here:
            name = f"{_INPUTS}/{here.name}"
        count = 1
        while taken.get(name.lower(), here) != here:
            count += 1
            name = f"{_INPUTS}/{here.stem}-{count}{here.suffix}"
        taken[name.lower()] = here
        names[file.key] = name
    return names


def with_saved_names(
    text: str,
    document: Mapping[str, Any],
    files: Sequence[DataFile],
    names: Mapping[tuple[str, str], str],
) -> str:
    """Return a scenario's text with its data files named where they are put.

    Parameters
    ----------
    text
        The scenario as TOML.
    document
        The same as tables.
    files
        The data files.
    names
        What :func:`saved_names` gave.
    """
    moved = [file for file in files if names[file.key] != _name_beside(file.written)]
    if not moved:
        return text
    wanted = copy.deepcopy(dict(document))
    rows = text.splitlines(keepends=True)
    where = lines.Lines(text)
    for file in moved:
        name = names[file.key]
        wanted[file.table][file.source]["file"] = name
        row = where.of((*file.key, "file"))
        for mark in ('"', "'"):
            if row is not None:
                old, new = f"{mark}{file.written}{mark}", f"{mark}{name}{mark}"
                rows[row - 1] = rows[row - 1].replace(old, new)
    changed = "".join(rows)
    try:
        if tomllib.loads(changed) == wanted:
            return changed  # with its comments
    except tomllib.TOMLDecodeError:
        pass
    return overrides.to_toml(wanted)


def _name_beside(written: str) -> str:
    """Return a path as it can stand beside a saved scenario; empty when it cannot."""
    path = Path(written)
    name = PurePosixPath(*path.parts)
    first = name.parts[0].lower() if name.parts else ""
    if path.is_absolute() or not first or ".." in name.parts:
        return ""
    if first in _OF_THE_RESULTS or (len(name.parts) == 1 and first.endswith(".png")):
        return ""
    return str(name)
