"""Where the lines of a drill come from: a terminal, a pipe or a file, with or without waiting.

Nothing that comes in can stop a drill: bytes that are no text, lines without an end, NUL bytes.
Each becomes a line that the drill refuses in plain words.
"""

from __future__ import annotations

import io
import os
import queue
import sys
import threading
from typing import TYPE_CHECKING, BinaryIO, Protocol

import click

from stationsim.studies.drill.orders import fit_to_show

if TYPE_CHECKING:
    from collections.abc import Iterator

LONGEST = 4096
"""Of a longer line the rest is dropped as it comes; a drill refuses it anyway [bytes]."""

_CHUNK = 65536


class Lines(Protocol):
    """Somewhere that lines come from."""

    def ask(self, prompt: str) -> str:
        """Return the next line; EOFError when there is no more."""
        ...


def shown(line: str) -> str:
    """Return a line that was typed, fit to be shown: nothing in it can steer a terminal.

    Parameters
    ----------
    line
        What was typed.
    """
    return fit_to_show(line.strip(), 200)


def split(stream: BinaryIO) -> Iterator[str]:
    """Yield the lines of a stream as they come; bytes that are no text stay as lone surrogates.

    Parameters
    ----------
    stream
        What is read.
    """
    held, first = b"", True
    for chunk in _chunks(stream):
        *whole, rest = (held + chunk).split(b"\n")
        for raw in whole:
            yield _text(raw, first=first)
            first = False
        held = rest[:LONGEST]
    if held:
        yield _text(held, first=first)


def _chunks(stream: BinaryIO) -> Iterator[bytes]:
    """Yield what comes, as soon as it comes: a buffered reader would wait, and hold a lock."""
    try:
        number = stream.fileno()
    except (OSError, AttributeError, io.UnsupportedOperation):
        while chunk := stream.read(_CHUNK):
            yield chunk
        return
    while True:
        try:
            chunk = os.read(number, _CHUNK)
        except OSError:  # a terminal that is gone
            return
        if not chunk:
            return
        yield chunk


def _text(raw: bytes, *, first: bool) -> str:
    text = raw[:LONGEST].decode("utf-8", "surrogateescape")
    return text.removeprefix("\ufeff") if first else text


class StreamLines:
    """Lines of a pipe or a file; each is shown behind its prompt, as if it had been typed there.

    Parameters
    ----------
    stream
        What is read; None for the standard input.
    """

    def __init__(self, stream: BinaryIO | None = None) -> None:
        self._lines = split(standard_input() if stream is None else stream)
        self._echoed = not sys.stdin.isatty()

    def ask(self, prompt: str) -> str:
        """Return the next line; EOFError when there is no more."""
        click.echo(prompt, nl=False)
        sys.stdout.flush()
        line = next(self._lines, None)
        if line is None:
            click.echo()
            raise EOFError
        click.echo(shown(line) if self._echoed else "")
        return line


class TerminalLines:
    """Lines that are typed at a terminal, with the keys to mend a line where there are such."""

    def __init__(self) -> None:
        import contextlib

        with contextlib.suppress(ImportError):
            import readline  # noqa: F401  (input() takes it up)

    def ask(self, prompt: str) -> str:
        """Return the next line; EOFError when there is no more."""
        try:
            return input(prompt)
        except UnicodeDecodeError:
            return "\udcff"  # refused by the drill as what cannot be shown
        except EOFError:
            click.echo()
            raise


class WaitedLines:
    """Lines that come while something else goes on.

    Parameters
    ----------
    stream
        What is read; None for the standard input.
    """

    def __init__(self, stream: BinaryIO | None = None) -> None:
        self._stream = standard_input() if stream is None else stream
        self._queue: queue.Queue[str | None] = queue.Queue()
        self.echoed = not sys.stdin.isatty()
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        try:
            for line in split(self._stream):
                self._queue.put(line)
        finally:
            self._queue.put(None)

    def next(self, wait_s: float) -> str | None:
        """Return the next line; None when none came in time; EOFError when there is no more.

        Parameters
        ----------
        wait_s
            How long is waited for it [s].
        """
        try:
            line = self._queue.get(timeout=wait_s)
        except queue.Empty:
            return None
        if line is None:
            raise EOFError
        return line


def standard_input() -> BinaryIO:
    """Return the standard input as bytes."""
    stream: BinaryIO = getattr(sys.stdin, "buffer", None) or io.BytesIO()
    return stream


def lines_at_hand() -> Lines:
    """Return lines from the terminal, or from whatever stands in its place."""
    if sys.stdin.isatty() and sys.stdout.isatty():
        return TerminalLines()
    return StreamLines()
