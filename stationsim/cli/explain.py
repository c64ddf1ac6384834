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


@click.command()
@click.argument("word", nargs=-1, required=True)
def explain(word: tuple[str, ...]) -> None:
    """Explain a word of the tables and sentences, or a key of a scenario file.

    \b
    Examples:
        stationsim explain high level
        stationsim explain control.lag_start
    """  # noqa: D301 - \b is click's mark
    from stationsim import vocabulary
    from stationsim.scenario import keys

    text = " ".join(word).strip()
    entry = vocabulary.lookup(text)
    found = keys.explain_key(text) if text else []
    if entry is None and not found:
        tail = [path for path in keys.all_paths() if path.rpartition(".")[2] == text]
        found = [one for path in tail for one in keys.explain_key(path)]
    if entry is None and not found:
        near = list(vocabulary.nearest(text))
        near += difflib.get_close_matches(text, keys.all_paths(), n=3, cutoff=0.6)
        hint = ", ".join(f"'{one}'" for one in dict.fromkeys(near))
        message = f"'{text}' is no word of stationsim and no key of a scenario"
        raise InputError(f"{message}; near it: {hint}" if hint else message)
    blocks = [] if entry is None else [_entry_lines(entry)]
    blocks += [_key_lines(one) for one in found]
    click.echo("\n\n".join("\n".join(block) for block in blocks))


def _entry_lines(entry: Entry) -> list[str]:
    head = f"{entry.word} ({entry.kind})" + (f" [{entry.unit}]" if entry.unit else "")
    lines = [head, *_folded(entry.meaning)]
    if entry.also:
        lines += _folded("also: " + ", ".join(entry.also))
    return lines


def _key_lines(entry: KeyEntry) -> list[str]:
    lines = [f"{entry.path} (key of a scenario)", *_folded(entry.meaning)]
    if entry.accepts:
        lines += _folded(f"accepts: {entry.accepts}")
    if entry.default:
        lines += _folded(f"default: {entry.default}")
    if entry.keys:
        lines += _folded("keys: " + ", ".join(entry.keys))
    return lines


def _folded(text: str) -> list[str]:
    sentence = text[:1].upper() + text[1:] if text else ""
    return textwrap.wrap(
        sentence, _WIDTH, initial_indent="  ", subsequent_indent="  ", break_long_words=False
    )
