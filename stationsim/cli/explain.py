"""``stationsim explain``: what a word, or a key of a scenario, means."""

from __future__ import annotations

import difflib
import textwrap
from typing import TYPE_CHECKING

import click

from stationsim.errors import InputError

if TYPE_CHECKING:
    from stationsim.scenario.keys import KeyEntry
    from stationsim.vocabulary import Entry

_WIDTH = 96
_SAID_IN_EVENTS = ("event", "event.NAME", "event.NAME.text", "event.NAME.what", "event.NAME.for")


@click.command()
@click.argument("word", nargs=-1, required=True)
def explain(word: tuple[str, ...]) -> None:
    """Explain a word of the tables and sentences, or a key of a scenario file.

    \b
    Examples:
        stationsim explain high level
        stationsim explain control.lag_start
        stationsim explain event
    """  # noqa: D301 - \b is click's mark
    from stationsim import vocabulary
    from stationsim.cli import COMMANDS
    from stationsim.scenario import keys

    text = " ".join(word).strip()
    # what it is first, then the column that holds it
    entries = sorted(vocabulary.lookup_all(text), key=lambda entry: entry.kind == "column")
    found = keys.explain_key(text) if text else []
    if not entries and not found:
        tail = [path for path in keys.all_paths() if path.rpartition(".")[2] == text]
        found = [one for path in tail for one in keys.explain_key(path)]
    if not entries and not found and text not in COMMANDS:
        near = list(vocabulary.nearest(text))
        near += difflib.get_close_matches(text, keys.all_paths(), n=3, cutoff=0.6)
        hint = ", ".join(f"'{one}'" for one in dict.fromkeys(near))
        message = f"'{text}' is no word of stationsim and no key of a scenario"
        raise InputError(f"{message}; near it: {hint}" if hint else message)
    blocks = [_command_lines(text)] if text in COMMANDS else []
    blocks += [_entry_lines(entry) for entry in entries]
    blocks += [_key_lines(one) for one in found]
    if any(one.path in _SAID_IN_EVENTS for one in found):
        blocks.append(_event_lines())
    click.echo("\n\n".join("\n".join(block) for block in blocks))


def _command_lines(name: str) -> list[str]:
    from stationsim.cli import COMMANDS

    return [
        f"{name} (command)",
        *_folded(COMMANDS[name][1]),
        *_folded(f"more: stationsim {name} -h"),
    ]


def _entry_lines(entry: Entry) -> list[str]:
    head = f"{entry.word} ({entry.kind})" + (f" [{entry.unit}]" if entry.unit else "")
    lines = [head, *_folded(entry.meaning)]
    if entry.also:
        lines += _folded("also: " + ", ".join(entry.also))
    return lines


def _key_lines(entry: KeyEntry) -> list[str]:
    lines = [f"{entry.path} (key of a scenario)", *_folded(entry.meaning)]
    if entry.goes_with:
        lines += _folded("goes with " + " or ".join(entry.goes_with))
    if entry.accepts:
        lines += _folded(f"accepts: {entry.accepts}")
    for word, meaning in entry.choices:
        lines += _folded(f'"{word}": {meaning[:1].lower()}{meaning[1:]}', indent="    ")
    if entry.default:
        lines += _folded(f"default: {entry.default}")
    if entry.keys:
        lines += _folded("keys: " + ", ".join(entry.keys))
    return lines


def _event_lines() -> list[str]:
    """Return what can be said of an event: when, and what."""
    from stationsim.scenario.events import MOMENTS, PHRASES

    moments = ", ".join(f'"{moment}"' for moment in MOMENTS)
    lines = ["An event is a time and what happens then:"]
    lines.append(f'  text = "{MOMENTS[1]} {next(iter(PHRASES))}"')
    lines += ["Times:", f"  {moments}", "What happens:"]
    wide = max(len(phrase) for phrase in PHRASES)
    for phrase, meaning in PHRASES.items():
        row = f"{phrase:<{wide}}  {meaning}"
        lines += textwrap.wrap(row, _WIDTH, initial_indent="  ", subsequent_indent=" " * (wide + 4))
    return lines


def _folded(text: str, indent: str = "  ") -> list[str]:
    sentence = text[:1].upper() + text[1:] if text else ""
    return textwrap.wrap(
        sentence, _WIDTH, initial_indent=indent, subsequent_indent=indent, break_long_words=False
    )
