"""Where in a TOML file a key stands.

The standard library reads TOML but forgets the lines. This reads only headers and the start of
each key, and is asked only when something is wrong: it may fail to find a line (inside an inline
table, say) and then gives that of the table around it.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

Path = tuple[str, ...]

_HEADER = re.compile(r"^\s*\[\[?([^\]]+)\]\]?\s*(#.*)?$")
_KEY = re.compile(
    r"""^\s*((?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*')(?:\s*\.\s*(?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*'))*)\s*="""
)

if TYPE_CHECKING:
    import tomllib
_PIECE = re.compile(r"""[A-Za-z0-9_-]+|"[^"]*"|'[^']*'""")
_STRING = re.compile(r'"(?:\\.|[^"\\])*"|\'[^\']*\'')


class Lines:
    """Line of each key of a text.

    Parameters
    ----------
    text
        The TOML text.
    """

    def __init__(self, text: str) -> None:
        self._line: dict[Path, int] = {}
        table: Path = ()
        depth = 0
        fence = ""
        for count, line in enumerate(text.splitlines(), start=1):
            if fence:
                fence = "" if fence in line else fence
                continue
            if depth == 0:
                table = self._note(line, table, count)
            bare = line
            for mark in ('"""', "'''"):
                if bare.count(mark) % 2:
                    fence = mark
            bare = _STRING.sub("", bare).partition("#")[0]
            if not _HEADER.match(line):
                depth = max(0, depth + bare.count("[") + bare.count("{"))
                depth = max(0, depth - bare.count("]") - bare.count("}"))

    def _note(self, line: str, table: Path, count: int) -> Path:
        header = _HEADER.match(line)
        if header:
            table = split_path(header.group(1))
            self._line.setdefault(table, count)
            return table
        key = _KEY.match(line)
        if key:
            path = table + split_path(key.group(1))
            for size in range(len(table) + 1, len(path) + 1):
                self._line.setdefault(path[:size], count)
        return table

    def of(self, path: Path) -> int | None:
        """Return the line of a key, or of the nearest table around it.

        Parameters
        ----------
        path
            Keys from the top of the file.
        """
        for size in range(len(path), 0, -1):
            line = self._line.get(path[:size])
            if line is not None:
                return line
        inside = [line for known, line in self._line.items() if known[: len(path)] == path]
        return min(inside) if inside and path else None


def split_path(text: str) -> Path:
    """Return the keys of a dotted path; quoted keys may hold dots.

    Parameters
    ----------
    text
        Such as ``pump.P1.flow`` or ``inflow."north side".flow``.
    """
    return tuple(piece.strip("\"'") for piece in _PIECE.findall(text))


def join_path(path: Path) -> str:
    """Return a dotted path, with quotes where a key needs them.

    Parameters
    ----------
    path
        Keys from the top of the file.
    """
    return ".".join(key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else f'"{key}"' for key in path)


def syntax_reason(error: tomllib.TOMLDecodeError, text: str) -> str:
    """Return what is wrong with a text that is no TOML, in plain words where they are known.

    Parameters
    ----------
    error
        What the TOML reader raised.
    text
        The text.
    """
    reason = re.sub(r"\s*\(at .*\)$", "", str(error))
    number = syntax_line(error)
    rows = text.splitlines()
    row = rows[number - 1] if number is not None and number <= len(rows) else ""
    bare = _STRING.sub("", row).partition("#")[0]
    if "Illegal character '\\n'" in reason or ('"' in bare and '"""' not in bare):
        return "a text lacks its closing quotation mark"
    if "Unterminated string" in reason or reason.startswith("Expected \"'"):
        return "a text lacks its closing quotation marks"
    if reason.startswith(("Expected newline or end of document", "Invalid value")):
        value = row.partition("=")[2].partition("#")[0].strip()
        if value and value[0] not in "\"'[{":
            return f'{value} is no value; text and quantities stand in quotation marks: "{value}"'
    if "overwrite a value" in reason or "twice" in reason or "mutate immutable" in reason:
        return f"{row.partition('=')[0].strip()} stands twice"
    return f"{reason[:1].lower()}{reason[1:]}"


def syntax_line(error: tomllib.TOMLDecodeError) -> int | None:
    """Return the line that a syntax error names, when it names one.

    Parameters
    ----------
    error
        What the TOML reader raised.
    """
    found = re.search(r"at line (\d+)", str(error))
    return int(found.group(1)) if found else None
