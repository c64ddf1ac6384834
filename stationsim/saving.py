"""Folders of results: made beside, moved into place when whole, never half written.

A folder that exists is refused, unless told to replace it; and even then only one that holds
earlier results (or nothing) is replaced, so that a slip of the finger costs no other files.
"""

from __future__ import annotations

import importlib.util
import json
import os
import shutil
import tempfile
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from stationsim.errors import OutputError

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    import pandas as pd

    from stationsim.forms import Form

MANIFEST = "manifest.json"
HAND_OUT = "what an observer would have; the key is apart"
"""What the manifest of a hand-out says it is: no whole run."""
FORMATS = ("csv", "parquet", "xlsx")
_EXTRAS = {"parquet": "pyarrow", "xlsx": "openpyxl"}
_XLSX_ROWS = 1_048_575


def check_formats(formats: Sequence[str]) -> tuple[str, ...]:
    """Return the formats in which tables are written, CSV first; CSV is always one of them.

    Parameters
    ----------
    formats
        Of :data:`FORMATS`.

    Raises
    ------
    OutputError
        When one is unknown, or needs a package that is not installed.
    """
    for name in formats:
        if not name:
            message = "the list of formats has an empty place; accepted, with commas between them: "
            raise OutputError(message + ", ".join(FORMATS))
        if name not in FORMATS:
            raise OutputError(f"no format is called '{name}'; accepted: {', '.join(FORMATS)}")
        package = _EXTRAS.get(name)
        if package is not None and importlib.util.find_spec(package) is None:
            message = (
                f"the format '{name}' needs the package {package}, which is not installed; install"
                f" it with: python -m pip install 'stationsim[{name}]'"
            )
            raise OutputError(message)
    return ("csv", *(name for name in FORMATS[1:] if name in formats))


def check_folder(folder: Path, *, force: bool = False) -> None:
    """Check that a folder of results may be made here; nothing is written.

    Parameters
    ----------
    folder
        Where the results are to be.
    force
        True to replace earlier results.

    Raises
    ------
    OutputError
        When something is in the way, or the place cannot be written.
    """
    if folder.is_symlink() or folder.exists():
        if not folder.is_dir() or folder.is_symlink():
            raise OutputError(f"{folder}: this is not a folder; give another one by --out")
        empty = not any(_reachable(folder))
        if not empty and not force:
            message = f"{folder}: already exists; give another folder by --out, or add --force"
            raise OutputError(f"{message} to replace it")
        if not empty and not (folder / MANIFEST).is_file():
            message = f"{folder}: holds other files than results (no {MANIFEST}); --force replaces"
            raise OutputError(f"{message} only a folder of results, so give another one by --out")
    standing = folder.absolute().parent
    while not standing.exists():
        standing = standing.parent
    if not standing.is_dir():
        raise OutputError(f"{folder}: cannot be made, because {standing} is not a folder")
    if not os.access(standing, os.W_OK | os.X_OK):
        raise OutputError(f"{folder}: cannot be made, because {standing} cannot be written")


@contextmanager
def new_folder(folder: Path, *, force: bool = False) -> Iterator[Path]:
    """Yield a folder beside the one asked for; it is moved into place if all goes well.

    Parameters
    ----------
    folder
        Where the results are to be.
    force
        True to replace earlier results.

    Raises
    ------
    OutputError
        When something is in the way, or the place cannot be written.
    """
    folder = folder.absolute()
    check_folder(folder, force=force)
    made_parents = [parent for parent in folder.parents if not parent.exists()]
    beside: Path | None = None
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        beside = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder.parent))
        yield beside
        _open_to_readers(beside)
        _move(beside, folder)
    except BaseException as error:
        if beside is not None:
            shutil.rmtree(beside, ignore_errors=True)
        for parent in made_parents:
            if parent.is_dir() and not any(parent.iterdir()):
                parent.rmdir()
        if isinstance(error, OSError):
            reason = error.strerror or str(error)
            raise OutputError(f"{folder}: cannot be written: {reason}") from error
        raise


def _reachable(folder: Path) -> Iterator[Path]:
    try:
        yield from folder.iterdir()
    except OSError as error:
        raise OutputError(f"{folder}: cannot be read: {error.strerror or error}") from error


def _open_to_readers(folder: Path) -> None:
    """Give the folder the rights that a plain mkdir gives; a temporary one is private."""
    mask = os.umask(0)
    os.umask(mask)
    folder.chmod(0o777 & ~mask)


def _move(beside: Path, folder: Path) -> None:
    if not folder.exists():
        beside.rename(folder)
        return
    old = Path(tempfile.mkdtemp(prefix=f".{folder.name}-old-", dir=folder.parent))
    old.rmdir()
    folder.rename(old)
    try:
        beside.rename(folder)
    except OSError:
        old.rename(folder)
        raise
    shutil.rmtree(old, ignore_errors=True)


def write_tables(
    tables: Mapping[str, pd.DataFrame], folder: Path, formats: Sequence[str] = ("csv",)
) -> None:
    """Write tables into a folder: one CSV or Parquet file each, one XLSX file for all.

    Parameters
    ----------
    tables
        Name -> table.
    folder
        An existing folder.
    formats
        Of :data:`FORMATS`.
    """
    formats = check_formats(formats)
    for name, table in tables.items():
        # one line ending on every system, and 12 digits: the same bytes for the same run
        table.to_csv(folder / f"{name}.csv", index=False, float_format="%.12g", lineterminator="\n")
        if "parquet" in formats:
            table.to_parquet(folder / f"{name}.parquet", index=False, engine="pyarrow")
    if "xlsx" in formats:
        _write_xlsx(tables, folder / "tables.xlsx")


def _write_xlsx(tables: Mapping[str, pd.DataFrame], path: Path) -> None:
    from openpyxl import Workbook  # type: ignore[import-untyped]
    from openpyxl.cell import WriteOnlyCell  # type: ignore[import-untyped]

    def as_text(sheet: Any, value: Any) -> Any:
        """Return a value for a cell, so that no name of a scenario becomes a formula."""
        if not (isinstance(value, str) and value.startswith("=")):
            return value
        cell = WriteOnlyCell(sheet, value)
        cell.data_type = "s"
        return cell

    book = Workbook(write_only=True)
    for name, table in tables.items():
        if len(table) > _XLSX_ROWS:
            message = f"the table '{name}' has {len(table)} rows, more than XLSX holds; use csv or"
            raise OutputError(f"{message} parquet, or a longer table interval")
        sheet = book.create_sheet(name)
        sheet.append(list(table.columns))
        plain = table.astype(object).where(table.notna(), None)
        for row in plain.itertuples(index=False, name=None):
            sheet.append([as_text(sheet, value) for value in row])
    book.save(path)


def write_forms(forms: Sequence[Form], folder: Path, formats: Sequence[str] = ("csv",)) -> None:
    """Write forms to be filled in: a CSV file each; one workbook for all when ``xlsx`` is wanted.

    Parameters
    ----------
    forms
        The forms, each with a name of its own.
    folder
        An existing folder.
    formats
        Of :data:`FORMATS`.

    Raises
    ------
    OutputError
        When a form is called as something that is there.
    """
    from stationsim.forms import WORKBOOK, csv_text, workbook

    formats = check_formats(formats)
    for form in forms:
        file = folder / f"{form.name}.csv"
        if file.exists():
            raise OutputError(f"{file.name}: no place for a form, something is called so already")
        file.write_text(csv_text(form), encoding="utf-8", newline="\n")
    if forms and "xlsx" in formats:
        (folder / WORKBOOK).write_bytes(workbook(forms))


def write_manifest(facts: Mapping[str, Any], folder: Path) -> None:
    """Write the manifest: what made these results.

    Parameters
    ----------
    facts
        Plain values.
    folder
        An existing folder.
    """
    text = json.dumps(facts, indent=2, ensure_ascii=False, allow_nan=False)
    (folder / MANIFEST).write_text(text + "\n", encoding="utf-8")


def add_to_manifest(folder: Path, **facts: Any) -> None:
    """Add facts to the manifest of a folder, before the caution that closes it.

    Parameters
    ----------
    folder
        A folder with a manifest.
    **facts
        Plain values by name.
    """
    known = read_manifest(folder)
    last = {key: known.pop(key) for key in ("caution",) if key in known}
    write_manifest({**known, **facts, **last}, folder)


def copy_in(files: Mapping[str, Path], folder: Path) -> None:
    """Copy data files into a folder, so that the scenario saved there finds them.

    Parameters
    ----------
    files
        Path from the folder -> the file.
    folder
        An existing folder.

    Raises
    ------
    OutputError
        When a path leads out of the folder, or onto something that is there.
    """
    for name, source in files.items():
        target = folder / name
        if not target.resolve().is_relative_to(folder.resolve()) or target.exists():
            raise OutputError(f"{name}: no place for a data file in a folder of results")
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(source, target)


def read_manifest(folder: Path) -> dict[str, Any]:
    """Return the manifest of a folder of results.

    Parameters
    ----------
    folder
        A folder of results.

    Raises
    ------
    OutputError
        When there is none, or it cannot be read.
    """
    try:
        facts = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
    except FileNotFoundError as error:
        raise OutputError(f"{folder}: no results here (no {MANIFEST})") from error
    except (OSError, ValueError) as error:
        raise OutputError(f"{folder / MANIFEST}: cannot be read: {error}") from error
    if not isinstance(facts, dict):
        raise OutputError(f"{folder / MANIFEST}: is not a manifest of results")
    return facts


@dataclass(frozen=True)
class SavedResult:
    """Results read back from a folder.

    Parameters
    ----------
    folder
        Where they were.
    manifest
        What made them.
    tables
        The tables by name.
    """

    folder: Path
    manifest: Mapping[str, Any]
    tables: Mapping[str, pd.DataFrame]


def load_result(folder: str | Path) -> SavedResult:
    """Return the tables and the manifest of a folder of results.

    Parameters
    ----------
    folder
        A folder that ``stationsim run`` or :meth:`Result.save` made.

    Raises
    ------
    OutputError
        When there are no results, those of a hand-out, or a table is missing or cannot be read.
    """
    import pandas as pd

    from stationsim.tables import COLUMNS, is_number

    folder = Path(folder)
    manifest = read_manifest(folder)
    if manifest.get("what") == HAND_OUT:
        message = f"{folder}: this is a hand-out, which holds what an observer would have, and no"
        raise OutputError(
            f"{message} whole run; name a scenario file, or a folder that 'stationsim run' has"
            " made without --seen-only"
        )
    tables = {}
    for name, columns in COLUMNS.items():
        path = folder / f"{name}.csv"
        text = {c: "str" for c in columns if not is_number(c)}
        try:
            table = pd.read_csv(path, dtype=text)
        except FileNotFoundError as error:
            raise OutputError(f"{path}: this table is missing") from error
        except (OSError, ValueError) as error:
            raise OutputError(f"{path}: cannot be read: {error}") from error
        missing = [c for c in columns if c not in table.columns]
        if missing:
            raise OutputError(f"{path}: has no column '{missing[0]}'")
        table[list(text)] = table[list(text)].fillna("")
        tables[name] = table
    return SavedResult(folder, manifest, tables)
