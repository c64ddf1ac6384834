"""StudyResult: what a study came to, in one form for all studies.

A study answers a question that takes more than one run, or none: it makes episodes, has them run,
and says what came of it. Whatever it is, it ends in the same things: tidy tables, what a person
would say, lines for the screen, figures that are drawn when they are asked for, findings, and what
all of it was made from. One saver writes them, one command wrapper prints them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from stationsim import saving
from stationsim.caution import CAUTION

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

    from stationsim.findings import Finding
    from stationsim.forms import Form
    from stationsim.units import System


class Later(Mapping[str, "pd.DataFrame"]):
    """Tables that are made when the first of them is asked for.

    Parameters
    ----------
    make
        Returns the tables by name.
    """

    def __init__(self, make: Callable[[], Mapping[str, pd.DataFrame]]) -> None:
        self._make = make
        self._made: Mapping[str, pd.DataFrame] | None = None

    def _tables(self) -> Mapping[str, pd.DataFrame]:
        if self._made is None:
            self._made = self._make()
        return self._made

    def __getitem__(self, name: str) -> pd.DataFrame:
        return self._tables()[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._tables())

    def __len__(self) -> int:
        return len(self._tables())


@dataclass(frozen=True)
class Source:
    """A scenario that a study was made from.

    Parameters
    ----------
    name
        What its file is called, without the ending; unique within a study.
    digest, text
        Digest of the scenario and its TOML as run; empty for a station that was made in Python.
    files
        Data files that it reads: path from the folder of the text -> where the file is.
    warnings
        What practice would advise against, one line each.
    """

    name: str
    digest: str = ""
    text: str = ""
    files: Mapping[str, Path] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, repr=False)
class StudyResult:
    """What a study came to.

    Parameters
    ----------
    study
        Which study: ``rehearse``, ``compare`` ...
    subject
        What it was about: the station's name, or the names of several.
    tables
        Tidy tables by name; one row is one observation; SI units, told by the columns' names.
    tell
        Returns what a person would say, in ``si`` or ``us`` units.
    show
        Returns the lines for the screen, in ``si`` or ``us`` units.
    draw
        Figures by the stem of their file, drawn when called with ``si`` or ``us``.
    findings
        What was looked at, and what came of it.
    asked
        The settings of the study, as plain values.
    sources
        The scenarios that it was made from.
    cautions
        What can hurt in the work that it guides, one line each; screen, page and folder show them.
    forms
        Returns the sheets that are to be filled in by hand, in ``si`` or ``us`` units; None when
        there are none.
    """

    study: str
    subject: str
    tables: Mapping[str, pd.DataFrame]
    tell: Callable[[System], list[str]]
    show: Callable[[System], list[str]]
    draw: Mapping[str, Callable[[System], Figure]] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()
    asked: Mapping[str, Any] = field(default_factory=dict)
    sources: tuple[Source, ...] = ()
    cautions: tuple[str, ...] = ()
    forms: Callable[[System], list[Form]] | None = None

    def __repr__(self) -> str:
        """Return the study in a line: what it was about, and which tables it has."""
        tables = ", ".join(f"{name} ({len(table)})" for name, table in self.tables.items())
        return f"<StudyResult of {self.study}, {self.subject}: {tables}>"

    @property
    def caution(self) -> str:
        """What stands beside every result."""
        return CAUTION

    def sentences(self, system: System = "si") -> list[str]:
        """Return what a person would say about it.

        Parameters
        ----------
        system
            ``si`` or ``us``.
        """
        return self.tell(system)

    def lines(self, system: System = "si") -> list[str]:
        """Return the lines for the screen.

        Parameters
        ----------
        system
            ``si`` or ``us``.
        """
        return self.show(system)

    def to_fill_in(self, system: System = "si") -> list[Form]:
        """Return the sheets that are to be filled in by hand; none for most studies.

        Parameters
        ----------
        system
            ``si`` or ``us``.
        """
        return [] if self.forms is None else self.forms(system)

    def figure(self, name: str, system: System = "si") -> Figure:
        """Return one of its figures.

        Parameters
        ----------
        name
            Stem of its file.
        system
            ``si`` or ``us``.

        Raises
        ------
        KeyError
            When there is no such figure.
        """
        if name not in self.draw:
            raise KeyError(f"no figure '{name}'; there are {', '.join(self.draw) or 'none'}")
        return self.draw[name](system)

    def manifest(self) -> dict[str, Any]:
        """Return what made these results."""
        import stationsim

        return {
            "made_by": "stationsim",
            "version": getattr(stationsim, "__version__", "unknown"),
            "study": self.study,
            "subject": self.subject,
            "asked": dict(self.asked),
            "scenarios": {source.name: source.digest for source in self.sources},
            "warnings": [f"{s.name}: {line}" for s in self.sources for line in s.warnings],
            "rows": {name: len(table) for name, table in self.tables.items()},
            **({"cautions": list(self.cautions)} if self.cautions else {}),
            "caution": CAUTION,
        }

    def save(
        self,
        folder: str | Path,
        formats: Sequence[str] = ("csv",),
        *,
        system: System = "si",
        plots: bool = True,
        force: bool = False,
    ) -> Path:
        """Write tables, forms, plots, manifest, sentences and scenarios as run; return the folder.

        Parameters
        ----------
        folder
            Where; made beside and moved into place when whole.
        formats
            ``csv`` always; ``parquet`` and ``xlsx`` when the extras are installed.
        system
            Units of sentences, plots and forms; tables are always in SI.
        plots
            False to draw nothing.
        force
            True to replace earlier results.

        Raises
        ------
        OutputError
            When something is in the way, or the place cannot be written.
        """
        with saving.new_folder(Path(folder), force=force) as beside:
            self.write_into(beside, formats, system=system, plots=plots)
        return Path(folder)

    def write_into(
        self,
        folder: Path,
        formats: Sequence[str] = ("csv",),
        *,
        system: System = "si",
        plots: bool = True,
    ) -> None:
        """Write all that :meth:`save` writes into an existing folder.

        Parameters
        ----------
        folder
            An existing folder.
        formats, system, plots
            As in :meth:`save`.
        """
        saving.write_tables(self.tables, folder, formats)
        saving.write_forms(self.to_fill_in(system), folder, formats)
        saving.write_manifest(self.manifest(), folder)
        cautions = [*self.cautions, ""] if self.cautions else []
        told = "\n".join(
            [*self.sentences(system), "", *self.lines(system), "", *cautions, CAUTION, ""]
        )
        (folder / "sentences.txt").write_text(told, encoding="utf-8", newline="\n")
        for source in self.sources:
            self._write_source(source, folder)
        if plots and self.draw:
            from stationsim.plots import style

            for name, drawn in self.draw.items():
                style.save(drawn(system), folder / f"{name}.png")

    def _write_source(self, source: Source, folder: Path) -> None:
        """Write a scenario as run: in the folder itself when it is the only one."""
        if not source.text:
            return
        own = folder if len(self.sources) == 1 else folder / "scenarios" / source.name
        own.mkdir(parents=True, exist_ok=True)
        (own / "scenario.toml").write_text(source.text, encoding="utf-8", newline="\n")
        saving.copy_in(source.files, own)


def write_apart(
    parts: Mapping[str, StudyResult],
    folder: str | Path,
    formats: Sequence[str] = ("csv",),
    *,
    system: System = "si",
    force: bool = False,
    besides: Callable[[StudyResult, Path], None] | None = None,
) -> Path:
    """Write studies side by side, each to be handed on without the others; return the folder.

    Parameters
    ----------
    parts
        Name of a folder in it -> what goes there. The manifest of the whole is that of the first,
        which therefore tells nothing that the others keep.
    folder
        Where; made beside and moved into place when whole.
    formats
        ``csv`` always; ``parquet`` and ``xlsx`` when the extras are installed.
    system
        Units of sentences, plots and forms.
    force
        True to replace earlier results.
    besides
        Writes more into each of the folders, such as pages and sheets to print; None for nothing.

    Raises
    ------
    OutputError
        When something is in the way, or the place cannot be written.
    """
    first = next(iter(parts.values()))
    with saving.new_folder(Path(folder), force=force) as beside:
        for name, study in parts.items():
            within = beside / name
            within.mkdir()
            study.write_into(within, formats, system=system)
            if besides is not None:
                besides(study, within)
        saving.write_manifest({**first.manifest(), "folders": list(parts)}, beside)
    return Path(folder)
