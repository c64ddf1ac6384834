"""From scenario files to the settings that are compared: several files, or one that is varied.

A varied value is read and checked as if it stood in the file. All settings are read before any is
run, so a combination that breaks a rule costs nothing and leaves nothing behind.
"""

from __future__ import annotations

import dataclasses
import itertools
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from stationsim.control.contract import ROTATIONS, rotation_class
from stationsim.control.rotation import read_shares
from stationsim.control.staging import ALL_TOGETHER, StagingSettings
from stationsim.errors import InputError
from stationsim.scenario import settings
from stationsim.scenario.lines import join_path, split_path
from stationsim.scenario.load import Loaded, load
from stationsim.scenario.overrides import to_toml
from stationsim.studies.compare import differing
from stationsim.studies.compare.differing import POLICY, ROTATION

if TYPE_CHECKING:
    from stationsim.episode import Episode
    from stationsim.station import Station

MOST_SETTINGS = 200
"""More than this is no comparison that anybody reads."""

_MOST_TOLD = 3
_CALLS = ("lead", "lag", "second_lag", "third_lag", "standby")
_CLOCK = {"kind": "clock", "every": "24 h"}


@dataclass(frozen=True)
class Axis:
    """One thing that is varied.

    Parameters
    ----------
    key
        Its dotted path.
    values
        Its values, as written.
    changes
        For each value: key -> value as it would stand in a file, to be set.
    shown
        For each value: key -> value as text, for the table of settings; empty where it is what is
        set.
    option
        The option that asked for it, as messages name it.
    follows
        Keys that the file leaves out -> the key whose value they take, and that value in the file.
    """

    key: str
    values: tuple[str, ...]
    changes: tuple[Mapping[str, str], ...]
    shown: tuple[Mapping[str, str], ...]
    option: str
    follows: Mapping[str, tuple[str, str]] = field(default_factory=dict)

    def at(self, n: int, others: Mapping[str, str]) -> dict[str, str]:
        """Return what is set for one value, with what follows from the other axes.

        Parameters
        ----------
        n
            Which value.
        others
            What the other axes set.
        """
        found = dict(self.changes[n])
        if self.key == POLICY and self.values[n] != ALL_TOGETHER:
            for key, (source, own) in self.follows.items():
                if key not in others:
                    found[key] = others.get(source, own)
        return found


@dataclass(frozen=True)
class Variants:
    """What is compared.

    Parameters
    ----------
    settings
        Label, station and episode of each.
    differs
        Label -> key -> value, in what they differ.
    axes
        Keys of which every combination is there.
    notes
        What a reader must know of how they were made, in sentences.
    warnings
        What practice would advise against in a combination, and not in the file itself.
    """

    settings: tuple[tuple[str, Station, Episode], ...]
    differs: Mapping[str, Mapping[str, str]]
    axes: tuple[str, ...]
    notes: tuple[str, ...] = ()
    warnings: tuple[str, ...] = field(default=())


def wrong_use(files: Sequence[Path], varied: Sequence[str], sets_of: bool) -> list[str]:  # noqa: FBT001
    """Return what is wrong with what was asked, before anything is read.

    Parameters
    ----------
    files
        The scenario files.
    varied
        Texts ``KEY=VALUE,VALUE``.
    sets_of
        Whether rotations or stop policies are to be compared.
    """
    if len(files) > 1 and (varied or sets_of):
        asked = "--vary" if varied else "--rotations and --stop-policies"
        return [f"{asked}: one file is varied, or several are compared (found {len(files)} files)"]
    if len(files) > MOST_SETTINGS:
        return [f"{len(files)} files are too many to compare (accepted: up to {MOST_SETTINGS})"]
    if len(files) == 1 and not varied and not sets_of:
        message = f"{files[0]}: one setting leaves nothing to compare; give a second file, --vary,"
        return [f"{message} --rotations or --stop-policies"]
    return []


def others(files: Sequence[Path], sets: Sequence[str]) -> list[Loaded]:
    """Return the scenarios after the first one, whose episode does not count.

    Parameters
    ----------
    files
        The scenario files.
    sets
        Changes that hold for all files.

    Raises
    ------
    InputError
        When one cannot be read; it tells of all.
    """
    found: list[Loaded] = []
    problems: list[str] = []
    for file in files:
        try:
            found.append(load(file, sets=sets))
        except InputError as error:
            lines = str(error).splitlines()
            problems += [x if x.startswith(str(file)) else f"{file}: {x}" for x in lines]
    if problems:
        raise InputError("\n".join(problems))
    return found


def of_files(loaded: Sequence[Loaded], files: Sequence[Path]) -> Variants:
    """Return several files as settings, all with the episode of the first.

    Parameters
    ----------
    loaded
        The scenarios.
    files
        Where they were, to name them.
    """
    labels = names_of(files)
    first = loaded[0].episode
    settings = tuple((n, one.station, first) for n, one in zip(labels, loaded, strict=True))
    documents = {n: one.document for n, one in zip(labels, loaded, strict=True)}
    differs = differing.of_documents(documents)
    whose = f"Start, duration, start level, inflow and events are those of {labels[0]}, for all;"
    notes = [f"{whose} rain that comes into the sewer is part of that inflow."]
    if not any(differs.values()):
        notes.append("The stations in the files do not differ.")
    return Variants(settings, differs, differing.axes_of(differs), tuple(notes))


def names_of(files: Sequence[Path]) -> list[str]:
    """Return a name for each file: its own without ending, with its folder's where two are alike.

    Parameters
    ----------
    files
        The files.
    """
    stems = [file.stem for file in files]
    names = [
        stem if stems.count(stem) == 1 else f"{file.absolute().parent.name}-{stem}"
        for file, stem in zip(files, stems, strict=True)
    ]
    return [name if names.count(name) == 1 else f"{name}-{n}" for n, name in enumerate(names, 1)]


def axes_from(
    loaded: Loaded, varied: Sequence[str], *, rotations: bool, stop_policies: bool
) -> tuple[list[Axis], list[str]]:
    """Return what is varied, and notes about values that the file does not give.

    Parameters
    ----------
    loaded
        The scenario that is varied.
    varied
        Texts ``KEY=VALUE,VALUE``.
    rotations
        True to vary the rotation over every built-in one.
    stop_policies
        True to vary the stop policy over every one.

    Raises
    ------
    InputError
        When a text cannot be used; it tells everything at once.
    """
    problems: list[str] = []
    axes: list[Axis] = []
    notes: list[str] = []
    for text in varied:
        try:
            axes.append(_axis(text))
        except InputError as error:
            problems.append(str(error))
    if rotations:
        axes.append(_rotations(loaded, notes))
    if stop_policies:
        try:
            axes.append(_policies(loaded, notes))
        except InputError as error:
            problems.append(str(error))
    for one, other in itertools.combinations(axes, 2):
        if _touches(one.key, other.key):
            problems.append(f"{other.option}: {one.option} varies the same; leave one of them out")
    count = math.prod(len(axis.values) for axis in axes)
    if count > MOST_SETTINGS:
        sizes = " x ".join(str(len(axis.values)) for axis in axes)
        message = f"{sizes} = {count} settings are too many to compare (accepted: up to"
        problems.append(f"{message} {MOST_SETTINGS}); vary fewer keys or give fewer values")
    if problems:
        raise InputError("\n".join(problems))
    return axes, notes


def of_grid(
    file: Path, options: Mapping[str, Any], axes: Sequence[Axis], notes: Sequence[str]
) -> Variants:
    """Return every combination of what is varied, each read as if written in the file.

    Parameters
    ----------
    file
        The scenario file.
    options
        What else :func:`stationsim.scenario.load.load` is told: ``sets``, ``events``, ``rains``.
    axes
        What is varied.
    notes
        What a reader must know of the values.

    Raises
    ------
    InputError
        When a combination cannot be run; it names the combination.
    """
    settings: list[tuple[str, Station, Episode]] = []
    differs: dict[str, dict[str, str]] = {}
    failed: list[str] = []
    known = {one.text() for one in load(file, **options).warnings}
    warned: dict[str, str] = {}
    places = [range(len(axis.values)) for axis in axes]
    for point in itertools.product(*places):
        pairs = list(zip(axes, point, strict=True))
        label = " / ".join(_label(axis, n, axes) for axis, n in pairs)
        plain = {k: v for axis, n in pairs for k, v in axis.changes[n].items()}
        made = [axis.at(n, plain) for axis, n in pairs]
        changes = {k: v for one in made for k, v in one.items()}
        asked = [(axis.option, one) for (axis, _), one in zip(pairs, made, strict=True)]
        sets = (*options.get("sets", ()), *(f"{key}={value}" for key, value in changes.items()))
        try:
            loaded = load(file, **{**options, "sets": sets})
        except InputError as error:
            lines = _as_asked(str(error).splitlines(), asked)
            failed.append("\n".join(f"{label}: {line}" for line in lines))
            continue
        settings.append((label, loaded.station, loaded.episode))
        differs[label] = {
            k: v
            for (axis, n), one in zip(pairs, made, strict=True)
            for k, v in (axis.shown[n] or one).items()
        }
        for one in loaded.warnings:
            idle = any(axis.key == POLICY for axis in axes) and one.place.endswith("_stop")
            if one.text() not in known and not idle:
                told = _as_asked([one.text()], asked)
                warned.setdefault(one.place + one.reason, f"{label}: {told[0]}")
    if failed:
        more = len(failed) - _MOST_TOLD
        rest = "1 more combination fails" if more == 1 else f"{more} more combinations fail"
        told = failed[:_MOST_TOLD] + ([f"and {rest}"] if more > 0 else [])
        raise InputError("\n".join(told))
    keys = tuple(axis.key for axis in axes)
    return Variants(tuple(settings), differs, keys, tuple(notes), tuple(warned.values()))


def _label(axis: Axis, n: int, axes: Sequence[Axis]) -> str:
    """Return what a value is called; alone when nothing else is varied and it says what it is."""
    said = differing.name_of(axis.key)
    same = [one for one in axes if differing.name_of(one.key) == said]
    if len(same) > 1:
        return f"{axis.key} {axis.values[n]}"
    return differing.value_text(axis.key, axis.values[n])


def _as_asked(lines: Sequence[str], asked: Sequence[tuple[str, Mapping[str, str]]]) -> list[str]:
    """Return lines in which each value stands with the option that somebody wrote."""
    found = list(lines)
    for option, made in asked:
        for key, value in made.items():
            said = f"{option} {key}={value}" if option == "--vary" else option
            found = [line.replace(f"--set {key}={value}", said) for line in found]
    return found


def _axis(text: str) -> Axis:
    """Return what one ``--vary`` asks for."""
    key, equals, listed = text.partition("=")
    path = split_path(key)
    if not equals or not path or join_path(path) != join_path(split_path(key.strip())):
        message = f"--vary {text}: KEY=VALUE,VALUE is needed, such as"
        raise InputError(f"{message} control.lag_start=1.6 m,1.8 m")
    if re.search(r"[][{}]", listed):
        message = f"--vary {text}: a value with commas inside (a list or a table) cannot be varied;"
        raise InputError(f"{message} write one file for each value and compare the files")
    key = join_path(path)
    if key == POLICY:
        message = f"--vary {text}: the names of stop policies have commas inside;"
        raise InputError(f"{message} --stop-policies compares them all")
    values = tuple(_unquoted(piece) for piece in listed.split(","))
    if "" in values:
        raise InputError(f"--vary {text}: a value is empty; values stand with commas between them")
    if len(values) < 2:
        raise InputError(f"--vary {text}: one value leaves nothing to compare; give two or more")
    twice = next((value for value in values if values.count(value) > 1), None)
    if twice is not None:
        raise InputError(f"--vary {text}: '{twice}' stands twice")
    changes = tuple({key: value} for value in values)
    return Axis(key, values, changes, tuple({} for _ in values), "--vary")


def _unquoted(text: str) -> str:
    piece = text.strip()
    quoted = len(piece) > 1 and piece[0] == piece[-1] and piece[0] in "\"'"
    return piece[1:-1].strip() if quoted else piece


def _touches(one: str, other: str) -> bool:
    """Return whether two keys are the same, or one holds the other."""
    if {one.partition(".")[0], other.partition(".")[0]} == {"rotation"}:
        return ROTATION in (one, other)
    return one == other or one.startswith(f"{other}.") or other.startswith(f"{one}.")


def _rotations(loaded: Loaded, notes: list[str]) -> Axis:
    """Return every built-in rotation, the file's own first and as it stands there."""
    own = dict(loaded.document.get("rotation", {}))
    own.setdefault("kind", loaded.station.control.rotation)
    kinds = [own["kind"], *(kind for kind in ROTATIONS if kind != own["kind"])]
    tables: list[dict[str, Any]] = [own]
    parts = read_shares("", len(loaded.station.pumps))
    shares = "/".join(f"{100.0 * part:.4g}" for part in parts)
    for kind in kinds[1:]:
        table = {"clock": dict(_CLOCK), "shares": {"kind": kind, "shares": shares}}.get(
            kind, {"kind": kind}
        )
        given = {dataclasses.MISSING}
        needs = [
            settings.key_of(one)
            for one in dataclasses.fields(rotation_class(kind).Settings)
            if {one.default, one.default_factory} == given and settings.key_of(one) not in table
        ]
        if needs:
            notes.append(f"The rotation '{kind}' is left out: it needs {', '.join(needs)}.")
            continue
        tables.append(table)
    kinds = [table["kind"] for table in tables]
    if "clock" in kinds[1:]:
        told = f"here it changes the lead every {_CLOCK['every']}, at midnight"
        notes.append(f"The file gives the clock no times; {told}.")
    if "shares" in kinds[1:]:
        notes.append(f"The shares of the run hours are {shares} where the file gives none.")
    return Axis(
        ROTATION,
        tuple(str(kind) for kind in kinds),
        tuple({"rotation": _inline(table)} for table in tables),
        tuple({f"rotation.{k}": str(v) for k, v in table.items()} for table in tables),
        "--rotations",
    )


def _inline(table: Mapping[str, Any]) -> str:
    """Return a table as it stands on one line of TOML."""
    lines = to_toml(table).strip().splitlines()
    return "{" + ", ".join(lines) + "}"


def _policies(loaded: Loaded, notes: list[str]) -> Axis:
    """Return every stop policy, the file's own first; what staged stop lacks is filled in."""
    settings = loaded.station.control.settings
    if not isinstance(settings, StagingSettings):
        message = f"--stop-policies: the controller '{loaded.station.control.controller}' has none"
        raise InputError(f"{message}; it goes with kind = 'staging'")
    table = loaded.document.get("control", {})
    given = [call for call in _CALLS if table.get(f"{call}_start") is not None]
    follows: dict[str, tuple[str, str]] = {}
    for before, call in itertools.pairwise(given):
        if table.get(f"{call}_stop") is None:
            source = f"control.{before}_start"
            follows[f"control.{call}_stop"] = (source, str(table[f"{before}_start"]))
    if not given[1:]:
        raise InputError("--stop-policies: only the lead has a start level, so they do not differ")
    if follows:
        told = ", ".join(
            f"{differing.name_of(key)} at {differing.name_of(source)}"
            for key, (source, _) in follows.items()
        )
        notes.append(
            "Stop levels of staged stop that the file does not give are put at the start level of"
            f" the call before: {told}."
        )
    policy = next(one for one in dataclasses.fields(settings) if one.name == "stop_policy")
    every = policy.metadata["choices"]
    kinds = (settings.stop_policy, *(one for one in every if one != settings.stop_policy))
    changes = tuple({POLICY: kind} for kind in kinds)
    return Axis(POLICY, kinds, changes, tuple({} for _ in kinds), "--stop-policies", follows)
