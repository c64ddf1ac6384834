"""Figures for a page: SVG that can do nothing but be looked at, or PNG when that is smaller.

What matplotlib writes is not taken as it comes. It is read as XML and written anew with only the
elements and attributes that draw; marks get a prefix of their own figure, so that two figures on
one page cannot take each other's; references may only lead to such marks. So no text of a scenario
can become an element, and nothing is loaded from anywhere.
"""

from __future__ import annotations

import base64
import re
from html import escape
from io import BytesIO
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

from stationsim.plots import style

if TYPE_CHECKING:
    from matplotlib.figure import Figure

MOST_SVG_BYTES = 450_000
"""A figure whose SVG is larger is laid into the page as PNG."""

_DRAWS = (
    "svg g defs path use clipPath rect circle ellipse line polyline polygon pattern image text"
    " tspan linearGradient radialGradient stop"
)
_SAYS_HOW = (
    "d x y x1 y1 x2 y2 cx cy r rx ry width height points transform style clip-path fill"
    " fill-opacity fill-rule stroke stroke-width opacity offset viewBox patternUnits"
    " patternTransform gradientUnits gradientTransform preserveAspectRatio text-anchor"
)
_ELEMENTS, _ATTRIBUTES = frozenset(_DRAWS.split()), frozenset(_SAYS_HOW.split())
_MARK = re.compile(r"url\(#([\w-]+)\)")
_LEADS_AWAY = re.compile(r"url|@|\\|:\s*//", re.IGNORECASE)
_LONG_NUMBER = re.compile(r"(-?\d+\.\d\d)\d+")
_PNG = "data:image/png;base64,"

_KINDS = {
    "levels": "Lines of the level and of the flows over time, with the levels that are set.",
    "pumps": "Run hours and starts of each pump side by side.",
    "curves": "Pump curves and system curves, and the points where they meet.",
    "time_to_spill": "A line of the minutes to a spill over time.",
    "alternation": "Strips of which pump led when, and how their hours and starts drew apart.",
    "minutes_to_spill": "Lines of minutes to the alarm and to the spill over the hours of a day.",
    "grid": "Shaded tables of each combination of two settings.",
}


def picture(figure: Figure, name: str, number: int) -> str:
    """Return a figure as markup for a page, with its words for those who cannot see it.

    Parameters
    ----------
    figure
        What to show.
    name
        Stem of its file: which plot it is.
    number
        Which one of the page it is.
    """
    words = alt_text(figure, name)
    drawn = _svg(figure, f"p{number}-")
    if drawn is not None and len(drawn) <= MOST_SVG_BYTES:
        said = f'role="img" aria-label="{escape(words)}" aria-describedby="said"'
        return drawn.replace("<svg ", f"<svg {said} ", 1)
    return f'<img alt="{escape(words)}" aria-describedby="said" src="{_png(figure)}">'


def alt_text(figure: Figure, name: str) -> str:
    """Return what a figure shows, for those who cannot see it: title, kind, how to read it.

    Parameters
    ----------
    figure
        What to show.
    name
        Stem of its file.
    """
    texts = [" ".join(text.get_text().split()) for text in figure.texts]
    title, below = figure.get_suptitle(), ""
    if style.CAUTION in texts[2:]:
        title, below = texts[(at := texts.index(style.CAUTION, 2)) - 2], texts[at - 1]
    title = title.rstrip(".") or name.replace("_", " ")
    return " ".join(part for part in (f"Plot. {title}.", _KINDS.get(name, ""), below) if part)


def _svg(figure: Figure, prefix: str) -> str | None:
    """Return a figure as SVG that only draws; None when it cannot be read back."""
    written = BytesIO()
    with style.styled():
        figure.savefig(written, format="svg", metadata={"Date": None})
    try:
        # our own matplotlib wrote it, and expat expands no entity that it does not declare
        root = ET.fromstring(written.getvalue())  # noqa: S314
    except ET.ParseError:  # a name with a character that XML has not
        return None
    used = set(_MARK.findall(written.getvalue().decode()))
    for element in root.iter():
        used |= {value[1:] for key, value in element.items() if _local(key) == "href"}
    out: list[str] = []
    _write(root, prefix, used, out)
    return "".join(out)


def _write(element: ET.Element, prefix: str, used: set[str], out: list[str]) -> None:
    """Write an element with all that it holds, as far as it draws."""
    tag = _local(element.tag)
    if tag not in _ELEMENTS:
        return
    kept = [_attribute(tag, _local(key), value, prefix, used) for key, value in element.items()]
    out.append(f"<{tag}{''.join(kept)}>")
    if tag in ("text", "tspan"):
        out.append(escape(element.text or ""))
    for child in element:
        _write(child, prefix, used, out)
    out.append(f"</{tag}>")


def _attribute(tag: str, key: str, value: str, prefix: str, used: set[str]) -> str:
    """Return an attribute as it is written; empty for one that is left out."""
    if key == "id":
        return f' id="{prefix}{escape(value)}"' if value in used else ""
    if key == "href":
        if value.startswith("#"):
            return f' href="#{prefix}{escape(value[1:])}"'
        return f' href="{escape(value)}"' if tag == "image" and value.startswith(_PNG) else ""
    if key not in _ATTRIBUTES or (tag == "svg" and key in ("width", "height")):
        return ""
    value = " ".join(value.split())
    if key in ("d", "points"):
        value = _LONG_NUMBER.sub(r"\1", value)
    if _LEADS_AWAY.search(_MARK.sub("", value)):
        return ""
    value = _MARK.sub(rf"url(#{prefix}\1)", value)
    return f' {key}="{escape(value)}"'


def _local(name: object) -> str:
    """Return the name of an element or attribute without its namespace; empty for a comment."""
    return name.rpartition("}")[2] if isinstance(name, str) else ""


def _png(figure: Figure) -> str:
    written = BytesIO()
    with style.styled():
        figure.savefig(written, format="png", dpi=style.DPI, metadata={"Software": None})
    return _PNG + base64.b64encode(written.getvalue()).decode("ascii")
