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
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from pydantic import ValidationError

from stationsim.control.contract import CONTROLLERS, ROTATIONS
from stationsim.errors import InputError, PlugInError, ScenarioError
from stationsim.findings import Finding
from stationsim.inflow.segments import total_inflow
from stationsim.scenario import lines, overrides
from stationsim.scenario.build import build
from stationsim.scenario.case import Case
from stationsim.scenario.keys import table_class
from stationsim.scenario.refusals import findings_of
from stationsim.scenario.rules import check
from stationsim.scenario.schema import Scenario, Table

if TYPE_CHECKING:
    from stationsim.episode import Episode
    from stationsim.scenario.built import Built
    from stationsim.station import Station
    from stationsim.units import System

MOST_BYTES = 5_000_000
"""A scenario file larger than this is taken for something else."""

_ALTERNATIVES = (("flow", "curve"), ("power", "power_curve", "efficiency"))
_US_TEXT = re.compile(r'"\s*[+-]?[\d.]+\s*(ft|in|gpm|gpd|MGD|cfs|gal|hp)\b')


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
        The scenario as run, as TOML: the file itself when nothing was changed from outside.
    system
        Units that the file mostly uses: ``si`` or ``us``.
    """

    station: Station
    episode: Episode
    warnings: tuple[Finding, ...]
    document: dict[str, Any]
    digest: str
    text: str
    system: System


def load_scenario(
    path: str | Path,
    *,
    sets: Sequence[str] = (),
    events: Sequence[str] = (),
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
    seed
        Takes the place of ``episode.seed``.

    Raises
    ------
    ScenarioError
        When anything is wrong; it tells everything at once.
    """
    loaded = load(path, sets=sets, events=events, seed=seed)
    return loaded.station, loaded.episode


def load(
    path: str | Path,
    *,
    sets: Sequence[str] = (),
    events: Sequence[str] = (),
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
    if seed is not None:
        origins["episode", "seed"] = f"--seed {seed}"
        if isinstance(document.setdefault("episode", {}), dict):
            document["episode"]["seed"] = seed
    found: list[Finding] = list(refused)
    built = _check(document, file, found)
    findings = [_placed(one, file, text, origins) for one in found]
    errors = sorted(
        (one for one in findings if one.verdict == "error"),
        key=lambda one: (one.line is None, one.line or 0),
    )
    if errors or built is None or built.station is None or built.episode is None:
        raise ScenarioError("\n".join(one.text() for one in errors), errors)
    return Loaded(
        station=built.station,
        episode=built.episode,
        warnings=tuple(one for one in findings if one.verdict == "warning"),
        document=document,
        digest=_digest(document, built.files),
        text=overrides.to_toml(document) if origins else text,
        system=_system(document),
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
        reason = re.sub(r"\s*\(at .*\)$", "", str(error))
        message = f"{place}: is not TOML: {reason[:1].lower()}{reason[1:]}"
        finding = Finding("", "error", f"is not TOML: {reason}", file=str(file), line=line)
        raise ScenarioError(message, [finding]) from error
    except RecursionError as error:
        raise ScenarioError(f"{file}: is nested too deeply for a scenario") from error
    except ValueError as error:  # a whole number of thousands of digits
        raise ScenarioError(f"{file}: has a value that cannot be read: {error}") from error


def _check(document: dict[str, Any], file: Path, found: list[Finding]) -> Built | None:
    """Check a document; add what is found; return what was built, if it came so far."""
    checked = copy.deepcopy(document)
    found.extend(_take_likes(checked))
    scenario = _validated(checked, found)
    control = _settings(checked, "control", found)
    rotation = _settings(checked, "rotation", found)
    if scenario is None or control is None or rotation is None:
        return None
    built = build(
        scenario,
        control,
        rotation,
        folder=file.parent,
        name=file.stem,
        explicit_offset=_has_offset(checked["episode"].get("start")),
    )
    found.extend(built.findings)
    if built.station is None or built.episode is None:
        return built
    try:
        inflow = total_inflow(built.episode)
    except (ValueError, InputError) as error:
        found.append(Finding("inflow", "error", str(error)))
        return built
    found.extend(check(Case(built.station, built.episode, inflow, _system(document))))
    return built


def _take_likes(document: dict[str, Any]) -> list[Finding]:
    """Give each pump that says ``like`` the keys of the other one, save those it gives itself."""
    pumps = document.get("pump")
    if not isinstance(pumps, dict):
        return []
    refused: list[Finding] = []
    own = {name: dict(table) for name, table in pumps.items() if isinstance(table, dict)}
    for name, table in own.items():
        merged, seen, like = dict(table), {name}, table.get("like")
        while isinstance(like, str):
            if like not in own or like in seen:
                others = ", ".join(other for other in own if other != name)
                reason = "goes in a circle" if like in seen else f"no pump is called '{like}'"
                refused.append(
                    Finding(f"pump.{name}.like", "error", reason, limit=others or "another pump")
                )
                break
            seen.add(like)
            for key, value in own[like].items():
                group = next((one for one in _ALTERNATIVES if key in one), (key,))
                if not any(one in merged for one in group):
                    merged[key] = value
            like = own[like].get("like")
        merged.pop("like", None)
        pumps[name] = merged
    return refused


def _validated(document: dict[str, Any], found: list[Finding]) -> Scenario | None:
    """Check against the models; when only unknown keys are wrong, go on without them."""
    try:
        return Scenario.model_validate(document)
    except ValidationError as error:
        findings = findings_of(error, document)
        only_unknown = all(one["type"] == "extra_forbidden" for one in error.errors())
        _add_once(findings, document, found)
        if not only_unknown:
            return None
        for one in error.errors():
            _drop(document, one["loc"])
    try:
        return Scenario.model_validate(document)
    except ValidationError:
        return None


def _add_once(findings: list[Finding], document: Mapping[str, Any], found: list[Finding]) -> None:
    """Add findings; a slip that several pumps took over from one is told once."""
    told: set[tuple[str, str, str]] = set()
    pumps = document.get("pump", {})
    for one in findings:
        path = lines.split_path(one.place)
        if path[:1] == ("pump",) and len(path) > 2 and isinstance(pumps, Mapping):
            mark = (".".join(path[2:]), one.reason, one.value)
            if mark in told:
                continue
            told.add(mark)
        found.append(one)


def _drop(document: Any, location: Sequence[int | str]) -> None:
    """Take out the key at a location, whose path may hold names of variants."""
    node = document
    for key in location[:-1]:
        known = key in node if isinstance(node, dict) else isinstance(key, int)
        node = node[key] if known else node
    if isinstance(node, dict):
        node.pop(location[-1], None)


def _settings(document: dict[str, Any], part: str, found: list[Finding]) -> Table | None:
    """Check ``[control]`` or ``[rotation]`` against the settings of the kind it names."""
    table = document.get(part, {"kind": "each cycle"} if part == "rotation" else None)
    if not isinstance(table, dict):
        return None  # the models have told it
    built_in = CONTROLLERS if part == "control" else ROTATIONS
    accepted = ", ".join(f'"{one}"' for one in built_in) + ', or "package.module:Class"'
    kind = table.get("kind")
    if not isinstance(kind, str):
        reason = "is missing" if kind is None else "must be text"
        found.append(Finding(f"{part}.kind", "error", reason, limit=accepted, fix="add it"))
        return None
    model = _model(part, kind, found)
    if model is None:
        return None
    try:
        return model.model_validate(table)
    except ValidationError as error:
        found.extend(findings_of(error, document, (part,)))
        if any(one["type"] != "extra_forbidden" for one in error.errors()):
            return None
        known = {key: value for key, value in table.items() if key in model.model_fields}
        return model.model_validate(known)


def _model(part: str, kind: str, found: list[Finding]) -> type[Table] | None:
    """Return what reads the settings of a controller or rotation, or say why it cannot be had."""
    try:
        return table_class(part, kind)
    except PlugInError as error:
        reason = str(error)
    except Exception as error:  # noqa: BLE001 - whatever somebody's module raises when imported
        reason = f"the module of '{kind}' fails when it is imported: {error!r}"
    found.append(Finding(f"{part}.kind", "error", reason))
    return None


def _placed(one: Finding, file: Path, text: str, origins: Mapping[lines.Path, str]) -> Finding:
    """Return a finding with its file and line, or with the option that it came from."""
    if one.file:
        return one
    path = lines.split_path(one.place)
    for size in range(len(path), 0, -1):
        origin = origins.get(path[:size])
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


def _digest(document: Mapping[str, Any], files: Sequence[Path]) -> str:
    """Return a digest that changes with anything that can change the run."""
    whole = hashlib.sha256(
        json.dumps(document, sort_keys=True, ensure_ascii=True, default=_plain).encode()
    )
    for file in files:
        whole.update(hashlib.sha256(file.read_bytes()).digest())
    return whole.hexdigest()


def _plain(value: object) -> str:
    return cast("date", value).isoformat()
