"""Cards for a table-top on paper, and their key: two pages that are kept apart.

What a group may see lies in one folder, what truly was so in another beside it, so that the one can
be printed or handed on without the other. Black on white; what is cut is told by a line, what is
meant by words.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from stationsim.pages.layouts import template
from stationsim.study_result import write_apart
from stationsim.units import show

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    import pandas as pd

    from stationsim.study_result import StudyResult

CARDS_FOLDER, CARDS_PAGE, CARDS_TABLE, SHEET_TABLE = (
    "cards", "cards.html", "cards", "table_sheet",
)  # fmt: skip
"""Folder of the cards, their page, and its tables."""

KEY_FOLDER, KEY_PAGE, KEY_TABLE = "key", "key.html", "card_key"
"""Folder of the key, its page, and its table."""

_LEARNT = "learnt"
_KINDS = {"seen": "what reaches you", "on site": "on site", "what if": "what if"}


def cards_page_of(cards: StudyResult) -> str:
    """Return the cards as one HTML page to print: the sheet for the table, then two on a page.

    Parameters
    ----------
    cards
        The cards, as ``studies.drill.cards`` makes them.
    """
    topics = _topics(cards)
    when, caution = (" ".join(topics.pop(name, [])) for name in ("when", "on every card"))
    topics.pop(_LEARNT, None)
    rows = _rows(cards.tables[CARDS_TABLE])
    text = template("cards.html.j2").render(
        station=cards.subject,
        when=when,
        topics=topics,
        cards=[_worded(row) for row in rows],
        count=len(rows),
        caution=caution,
        closing=cards.caution,
    )
    return f"{text.rstrip()}\n"


def key_page_of(cards: StudyResult, key: StudyResult) -> str:
    """Return the key as one HTML page to print.

    Parameters
    ----------
    cards, key
        Cards and key, as ``studies.drill.cards`` makes them.
    """
    handed = _rows(cards.tables[CARDS_TABLE])
    keys = [{**row, "margin": _margin(row)} for row in _rows(key.tables[KEY_TABLE])]
    text = template("key.html.j2").render(
        station=key.subject,
        said=key.sentences(),
        pairs=list(zip(handed, keys, strict=True)),
        learnt=_topics(cards).get(_LEARNT, []),
        cautions=key.cautions,
        closing=key.caution,
    )
    return f"{text.rstrip()}\n"


def write_cards(
    cards: StudyResult,
    key: StudyResult,
    folder: str | Path,
    *,
    formats: Sequence[str] = ("csv",),
    force: bool = False,
) -> Path:
    """Write cards and key, each into a folder of its own within a new one; return it.

    ``cards/`` holds what may be handed on: the page, its tables, cautions, and a manifest that
    tells nothing of the truth; ``key/`` holds the key and the scenario as run.

    Parameters
    ----------
    cards, key
        Cards and key, as ``studies.drill.cards`` makes them.
    folder
        Where; made beside and moved into place when whole.
    formats
        ``csv`` always; ``parquet`` and ``xlsx`` when the extras are installed.
    force
        True to replace earlier results.

    Raises
    ------
    OutputError
        When something is in the way, or the place cannot be written.
    """

    def page(study: StudyResult, within: Path) -> None:
        if study is cards:
            name, text = CARDS_PAGE, cards_page_of(cards)
        else:
            name, text = KEY_PAGE, key_page_of(cards, key)
        (within / name).write_text(text, encoding="utf-8", newline="\n")

    parts = {CARDS_FOLDER: cards, KEY_FOLDER: key}
    return write_apart(parts, folder, formats, force=force, besides=page)


def _margin(row: dict[str, Any]) -> str:
    """Return by how much a thing may be late, in whole minutes; empty where that is not known."""
    if row["slack_s"] is None:
        return ""
    whole_s = 60.0 * (row["slack_s"] // 60.0)
    return f"margin {show(whole_s, 'duration', 'si')}" if whole_s > 0.0 else "no margin"


def _worded(row: dict[str, Any]) -> dict[str, Any]:
    """Return a card with the words that stand beside its places."""
    head = "If later"
    if row["kind"] == "what if":
        head = "Costs"
    elif row["due_s"] is None and row["later_15_m3"] is None:
        head = "If nobody acts"
    line = row["if_later"].removeprefix("If nobody acts: ")
    return {**row, "kind": _KINDS.get(row["kind"], row["kind"]), "later_head": head,
            "if_later": line}  # fmt: skip


def _topics(cards: StudyResult) -> dict[str, list[str]]:
    """Return the lines of the sheet for the table, by topic."""
    topics: dict[str, list[str]] = {}
    for topic, line in cards.tables[SHEET_TABLE].itertuples(index=False):
        topics.setdefault(str(topic), []).append(str(line))
    return topics


def _rows(table: pd.DataFrame) -> list[dict[str, Any]]:
    """Return rows for a template: lines as lists, numbers that are missing as None."""
    return [{str(name): _cell(value) for name, value in row.items()} for row in
            table.to_dict("records")]  # fmt: skip


def _cell(value: Any) -> Any:
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
