"""Keeping the lines of a drill: on disk the moment that they are typed."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, Literal

from stationsim.errors import OutputError
from stationsim.studies.drill.kept.action_file import FILE, read, row_text

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from stationsim.episode import Episode
    from stationsim.studies.drill.kept.action_file import Kept, PlayedOn
    from stationsim.studies.drill.told import Action


def partial_of(folder: Path) -> Path:
    """Return where the lines of a drill are kept until its folder is whole.

    Parameters
    ----------
    folder
        The folder of the results.
    """
    if folder.name in ("", ".."):
        folder = folder.resolve()
    return folder.parent / f"{folder.name}.partial"


class Keeper:
    """Keeps each line of a drill on disk the moment that it is typed.

    Parameters
    ----------
    folder
        The folder of the results; the lines are kept in one beside it.
    episode
        Knows the clock.
    """

    def __init__(self, folder: Path, episode: Episode) -> None:
        self.folder = folder
        self.place = partial_of(folder)
        self.path = self.place / FILE
        self.episode = episode
        self.actions: list[Action] = []

    def begin(self, played: PlayedOn, *, force: bool = False) -> None:
        """Make the place, and write what is played on.

        Parameters
        ----------
        played
            What is played on.
        force
            True to put away an earlier drill that was not brought to its end.

        Raises
        ------
        OutputError
            When one stands there, or the place cannot be written.
        """
        if force:
            self.discard()
        if self.place.exists() or self.place.is_symlink():
            raise OutputError(
                f"{self.place}: here lies a drill that was not brought to its end; go on with it by"
                f" --resume {self.folder}, or put it away by --force"
            )
        try:
            self.place.mkdir(parents=True)
            self._write(played.text(), "xb")
        except OSError as error:
            raise self._cannot(error) from error

    def go_on(self, kept: Kept, actions: Sequence[Action]) -> None:
        """Go on with a file; what was not written whole at its end is cut off.

        Parameters
        ----------
        kept
            The file, as it was read.
        actions
            What was done by it.

        Raises
        ------
        OutputError
            When it cannot be written.
        """
        self.actions = list(actions)
        try:
            if kept.torn:
                os.truncate(self.path, self.path.stat().st_size - kept.torn)
            self._write("", "ab")
        except OSError as error:
            raise self._cannot(error) from error

    def keep(self, action: Action) -> None:
        """Keep a line; when this returns, it is on disk.

        Parameters
        ----------
        action
            What was typed, and when; an empty line for time that passed.

        Raises
        ------
        OutputError
            When it cannot be written; the lines before it stay.
        """
        try:
            self._write(row_text(action, self.episode), "ab")
        except OSError as error:
            raise self._cannot(error) from error
        self.actions.append(action)

    def kept(self) -> tuple[Action, ...]:
        """Return what truly is on disk, an interrupt at any moment notwithstanding."""
        return tuple(row.action for row in read(self.path, torn=True).rows)

    def discard(self) -> None:
        """Take the place away, with the lines in it; other files in it are left alone.

        Raises
        ------
        OutputError
            When it cannot be taken away.
        """
        if self.place.is_symlink() or not self.place.is_dir():
            return
        try:
            others = sorted(one.name for one in self.place.iterdir() if one != self.path)
            if others:
                raise OutputError(
                    f"{self.place}: cannot be taken away: holds other files than {FILE}"
                    f" ({others[0]!a})"
                )
            self.path.unlink(missing_ok=True)
            self.place.rmdir()
        except OSError as error:
            reason = error.strerror or str(error)
            raise OutputError(f"{self.place}: cannot be taken away: {reason}") from error

    def _write(self, text: str, mode: Literal["xb", "ab"]) -> None:
        """Write a text at the end of the file: the whole of it or nothing."""
        with self.path.open(mode, buffering=0) as file:
            size = file.tell()
            try:
                rest = text.encode("utf-8")
                while rest:
                    rest = rest[file.write(rest) :]
                os.fsync(file.fileno())
            except OSError:
                file.truncate(size)
                raise

    def _cannot(self, error: OSError) -> OutputError:
        reason = error.strerror or str(error)
        return OutputError(f"{self.path}: cannot be written: {reason}; the lines before are kept")
