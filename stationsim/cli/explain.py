"""``stationsim explain``: what a word, or a key of a scenario, means."""

from __future__ import annotations

import difflib
import textwrap
from typing import TYPE_CHECKING

import click

from stationsim.errors import InputError

if TYPE_CHECKING:
    from stationsim.equipment.faults import Fault
    from stationsim.scenario.keys import KeyEntry
    from stationsim.vocabulary import Entry

_WIDTH = 96
_SAID_IN_EVENTS = (
    *("event", "event.NAME", "event.NAME.text", "event.NAME.what", "event.NAME.for"),
    "random.NAME.what",
)
_FAMILIES = {
    "pump": "Pumps",
    "engine": "The engine-driven pump",
    "instrument": "Instruments",
    "control": "Control and telemetry",
    "power": "Power",
    "force main": "The force main",
    "people": "People",
}
_CARE = (
    "A model, for planning and teaching. At a station a trip is reset only after its cause was "
    "looked for, by somebody who is entitled to; local practice decides who may do what."
)


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
    from stationsim.scenario.event_words import find_entries, phrases

    text = " ".join(word).strip()
    # what it is first, then the column that holds it
    entries = sorted(vocabulary.lookup_all(text), key=lambda entry: entry.kind == "column")
    found = keys.explain_key(text) if text else []
    faults = find_entries(text)
    if not entries and not found and not faults:
        tail = [path for path in keys.all_paths() if path.rpartition(".")[2] == text]
        found = [one for path in tail for one in keys.explain_key(path)]
    if not entries and not found and not faults and text not in COMMANDS:
        near = list(vocabulary.nearest(text))
        near += difflib.get_close_matches(text, phrases(), n=1, cutoff=0.75)
        near += difflib.get_close_matches(text, keys.all_paths(), n=3, cutoff=0.6)
        hint = ", ".join(f"'{one}'" for one in dict.fromkeys(near))
        message = f"'{text}' is no word of stationsim and no key of a scenario"
        raise InputError(f"{message}; near it: {hint}" if hint else message)
    blocks = [_command_lines(text)] if text in COMMANDS else []
    blocks += [_entry_lines(entry) for entry in entries]
    blocks += [_fault_lines(one) for one in faults]
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
    """Return what can be said of an event: when, and what, by the catalogue."""
    from stationsim.equipment.faults import CATALOGUE
    from stationsim.scenario.event_words import whole_sample
    from stationsim.scenario.moments import MOMENTS

    moments = ", ".join(f'"{moment}"' for moment in MOMENTS)
    lines = ["An event is a time and what happens then:"]
    lines.append(f'  text = "{MOMENTS[1]} grid loss for 4 h"')
    lines.append("Several things at one instant are joined by 'and', each with its own duration:")
    lines.append('  text = "02:00 control breaker open for 6 h and telemetry lost for 6 h"')
    lines += ["Times:", f"  {moments}", "What happens, by who or what it befalls:"]
    for family, title in _FAMILIES.items():
        lines.append(f"{title}:")
        for fault in CATALOGUE:
            if fault.family == family:
                lines.append(f"  {whole_sample(fault)}")
                lines += _folded(fault.truth, indent="      ")
                lines += _folded(f"panel: {fault.seen}; cleared {_cleared(fault)}", indent="      ")
    return [*lines, *_folded(_CARE, indent="")]


def _fault_lines(fault: Fault) -> list[str]:
    """Return one entry of the catalogue: how it is written, what it does, who clears it."""
    from stationsim.scenario.event_amounts import range_text
    from stationsim.scenario.event_words import whole_sample

    lines = [f"{fault.kind} (can happen)", *_folded(fault.truth)]
    lines.append(f'  As written: "{whole_sample(fault)}"')
    if fault.amount is not None:
        given = "" if fault.amount.default is None else "; may be left out"
        lines += _folded(f"number: {range_text(fault.amount, 'si')}{given}")
    lasts = {"must": "must be given", "may": "may be given", "never": "is never given"}[fault.lasts]
    if fault.stays:
        lasts += ", and is when a crew is taken to have mended it"
    reset = "; 'until reset' may stand behind it" if fault.until_reset else ""
    lines += _folded(f"duration: {lasts}{reset}")
    lines += _folded(f"the panel sees: {fault.seen}")
    lines += _folded(f"cleared {_cleared(fault)}")
    return [*lines, *_folded(_CARE)]


def _cleared(fault: Fault) -> str:
    return ", ".join(fault.clears[:-1]) + (" or " if fault.clears[1:] else "") + fault.clears[-1]


def _folded(text: str, indent: str = "  ") -> list[str]:
    sentence = text[:1].upper() + text[1:] if text else ""
    return textwrap.wrap(
        sentence, _WIDTH, initial_indent=indent, subsequent_indent=indent, break_long_words=False
    )
