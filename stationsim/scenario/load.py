"""A scenario file, read and checked: the way from TOML to a Station and an Episode.

Everything that is wrong is told at once, each with its line, the key, what was found, what is
accepted and what to do. Unknown keys, words out of place and values that cannot be read are told
together; what only shows when things are put together (geometry, rules) is told with them when the
rest can be read without the unknown keys.
"""

from __future__ import annotations

import copy
import dataclasses
import hashlib
import json
import re
import tomllib
from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from stationsim.episode import Episode
from stationsim.errors import InputError, ScenarioError
from stationsim.findings import Finding
from stationsim.inflow.daily import Constant
from stationsim.inflow.segments import total_inflow
from stationsim.scenario import lines, overrides
from stationsim.scenario.build import build
from stationsim.scenario.built import Built, DataFile
from stationsim.scenario.case import Case
from stationsim.scenario.data_files import saved_names, with_saved_names
from stationsim.scenario.parts import Parts, read_parts
from stationsim.scenario.rainfall import apply_rains
from stationsim.scenario.rules import check, check_station

if TYPE_CHECKING:
    from stationsim.station import Station
    from stationsim.units import System

MOST_BYTES = 5_000_000
"""A scenario file larger than this is taken for something else."""

_US_TEXT = re.compile(
    r'"\s*[+-]?[\d.]+\s*(ft|feet|foot|in|inch|inches|mi|gpm|gpd|MGD|cfs|gal|gallons|hp|acre|acres|psi)\b'
)


@dataclasses.dataclass(frozen=True)
class Loaded:
    """A scenario that can be run.

    Parameters
    ----------
    station, episode
        What stands there and what happens.
    warnings
        What practice would advise against.
    document
        The tables as run, changes from outside included.
    digest
        SHA-256 of the document as run and of the data files that it reads.
    text
        The scenario as run, as TOML: the file itself when nothing was changed from outside. It
        reads its data files where ``files`` says.
    files
        Data files that were read: path from the folder of the text as run -> where the file is.
    system
        Units that the file mostly uses: ``si`` or ``us``.
    """

    station: Station
    episode: Episode
    warnings: tuple[Finding, ...]
    document: dict[str, Any]
    digest: str
    text: str
    files: dict[str, Path]
    system: System


def load_scenario(
    path: str | Path,
    *,
    sets: Sequence[str] = (),
    events: Sequence[str] = (),
    rains: Sequence[str] = (),
    seed: int | None = None,
) -> tuple[Station, Episode]:
    """Return the station and the episode of a scenario file.

    Parameters
    ----------
    path
        The TOML file.
    sets
        Changes ``KEY=VALUE`` with a dotted key, checked as if written in the file.
    events
        More events as text, such as ``day 3 07:10 grid loss for 4 h``.
    rains
        More rain as text, such as ``20 mm in 6 h from 14:00``; for a station that says how rain
        comes into its sewer.
    seed
        Takes the place of ``episode.seed``.

    Raises
    ------
    ScenarioError
        When anything is wrong; it tells everything at once.
    """
    loaded = load(path, sets=sets, events=events, rains=rains, seed=seed)
    return loaded.station, loaded.episode


def load(
    path: str | Path,
    *,
    sets: Sequence[str] = (),
    events: Sequence[str] = (),
    rains: Sequence[str] = (),
    seed: int | None = None,
) -> Loaded:
    """Return a scenario with its warnings and its text as run.

    Parameters
    ----------
    path
        The TOML file.
    sets
        Changes ``KEY=VALUE`` with a dotted key, checked as if written in the file.
    events
        More events as text, such as ``day 3 07:10 grid loss for 4 h``.
    rains
        More rain as text, such as ``20 mm in 6 h from 14:00``; for a station that says how rain
        comes into its sewer.
    seed
        Takes the place of ``episode.seed``.

    Raises
    ------
    ScenarioError
        When anything is wrong; it tells everything at once.
    """
    file = Path(path)
    text = _read_text(file)
    document = _read_document(text, file)
    origins, refused = overrides.apply_sets(document, sets)
    origins.update(overrides.apply_events(document, events))
    rained, unread = apply_rains(document, rains)
    origins.update(rained)
    refused += unread
    if seed is not None:
        origins["episode", "seed"] = f"--seed {seed}"
        if isinstance(document.setdefault("episode", {}), dict):
            document["episode"]["seed"] = seed
    found: list[Finding] = list(refused)
    built, parts = _check(document, file, found)
    findings = [_placed(one, file, text, origins, parts.renamed) for one in found]
    errors = sorted(
        (one for one in findings if one.verdict == "error"),
        key=lambda one: (one.line is None, one.line or 0),
    )
    if errors or built.station is None or built.episode is None:
        raise ScenarioError("\n".join(one.text() for one in errors), errors)
    if not _has_offset(document["episode"].get("start")):
        notes = {**built.episode.notes, "episode.start": "no offset from UTC: +00:00 is taken"}
        built.episode = dataclasses.replace(built.episode, notes=notes)
    saved = saved_names(built.files)
    as_run = overrides.to_toml(document) if origins else text
    return Loaded(
        station=built.station,
        episode=built.episode,
        warnings=tuple(one for one in findings if one.verdict == "warning"),
        document=document,
        digest=_digest(document, built.files),
        text=with_saved_names(as_run, document, built.files, saved),
        files={saved[one.key]: one.path for one in built.files},
        system=built.system,
    )


def _read_text(file: Path) -> str:
    try:
        if file.stat().st_size > MOST_BYTES and file.is_file():
            raise ScenarioError(f"{file}: is too large for a scenario (over {MOST_BYTES} bytes)")
        content = file.read_bytes()
    except IsADirectoryError as error:
        raise ScenarioError(f"{file}: is a folder; a scenario file (TOML) is needed") from error
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise ScenarioError(f"{file}: cannot be read: {reason}") from error
    except ValueError as error:
        raise ScenarioError(f"{file}: is no name of a file") from error
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise ScenarioError(f"{file}:{line}: is not UTF-8 text") from error
    if not text.strip():
        raise ScenarioError(f"{file}: is empty; 'stationsim new' writes a starter to begin from")
    return text


def _read_document(text: str, file: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        line = lines.syntax_line(error)
        place = f"{file}:{line}" if line else f"{file}"
        reason = lines.syntax_reason(error, text)
        message = f"{place}: is not TOML: {reason}"
        finding = Finding("", "error", f"is not TOML: {reason}", file=str(file), line=line)
        raise ScenarioError(message, [finding]) from error
    except RecursionError as error:
        raise ScenarioError(f"{file}: is nested too deeply for a scenario") from error
    except ValueError as error:  # a whole number of thousands of digits
        raise ScenarioError(f"{file}: has a value that cannot be read: {error}") from error


def _check(document: dict[str, Any], file: Path, found: list[Finding]) -> tuple[Built, Parts]:
    """Check a document; add what is found; return what was built, as far as it came."""
    checked = copy.deepcopy(document)
    findings: list[Finding] = []
    built = Built(_system(document))
    parts = read_parts(checked, findings, built.system)
    build(parts, built, folder=file.parent, name=file.stem)
    findings += built.findings
    findings += _rules(parts, built)
    found.extend(parts.likes.told_once(findings))
    return built, parts


def _rules(parts: Parts, built: Built) -> list[Finding]:
    """Return what the rules find; those of the station also when the episode is not whole."""
    if built.station is None:
        return []
    reference = parts.reference(built.system, [])
    assert reference is not None  # noqa: S101 - there is no station without it
    if built.episode is None:
        dry = Episode(datetime(2027, 3, 1, tzinfo=UTC), 86400.0, (Constant(0.0),), 0.0)
        return check_station(Case(built.station, dry, total_inflow(dry), reference))
    try:
        inflow = total_inflow(built.episode)
    except (ValueError, InputError) as error:
        return [Finding("inflow", "error", str(error))]
    return check(Case(built.station, built.episode, inflow, reference))


def _placed(
    one: Finding,
    file: Path,
    text: str,
    origins: Mapping[lines.Path, str],
    renamed: Mapping[lines.Path, lines.Path],
) -> Finding:
    """Return a finding with its file and line, or with the option that it came from."""
    if one.file:
        return one
    path = lines.split_path(one.place)
    for size in range(len(path), 0, -1):
        written = renamed.get(path[:size])
        if written is not None:
            path = (*written, *path[size:])
            one = dataclasses.replace(one, place=lines.join_path(path))
            break
    for size in range(len(path), 0, -1):
        origin = origins.get(path[:size])
        if origin is not None and origin.startswith(("--event", "--rain")):
            return dataclasses.replace(one, file=origin, place="")
        if origin is not None:
            return dataclasses.replace(one, file=origin)
    return dataclasses.replace(one, file=str(file), line=lines.Lines(text).of(path))


def _has_offset(start: object) -> bool:
    if isinstance(start, datetime):
        return start.tzinfo is not None
    return not isinstance(start, str) or bool(re.search(r"(Z|[+-]\d\d:\d\d)$", start))


def _system(document: Mapping[str, Any]) -> System:
    """Return the units that a file mostly uses, so that messages speak in them."""
    text = json.dumps(document, default=str)
    return "us" if len(_US_TEXT.findall(text)) * 2 > text.count(' L/s"') + 1 else "si"


def _digest(document: Mapping[str, Any], files: Sequence[DataFile]) -> str:
    """Return a digest that changes with anything that can change the run.

    A data file counts by what is in it, not by where it lies.
    """
    counted = copy.deepcopy(dict(document))
    for file in files:
        content = hashlib.sha256(file.path.read_bytes()).hexdigest()
        counted[file.table][file.source]["file"] = content
    whole = json.dumps(counted, sort_keys=True, ensure_ascii=True, default=_plain)
    return hashlib.sha256(whole.encode()).hexdigest()


def _plain(value: object) -> str:
    return cast("date", value).isoformat()
