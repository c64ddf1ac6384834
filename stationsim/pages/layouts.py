"""Templates of pages, with the script and the looks that stand inside them."""

from __future__ import annotations

import base64
import hashlib
from functools import cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from jinja2 import Template


@cache
def template(name: str = "page.html.j2") -> Template:
    """Return a template of this package, which escapes all that it is given.

    Parameters
    ----------
    name
        Its file.
    """
    from importlib import resources

    from jinja2 import Environment, PackageLoader, StrictUndefined
    from markupsafe import Markup

    files = resources.files("stationsim.pages") / "templates"
    script, look, sheet_look, card_look = (
        (files / own).read_text(encoding="utf-8").strip()
        for own in ("page.js", "page.css", "sheet.css", "cards.css")
    )
    known = Environment(
        loader=PackageLoader("stationsim.pages"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    # all come with the package and hold no text of a scenario
    known.globals["script"] = Markup(script)  # noqa: S704
    known.globals["look"] = Markup(look)  # noqa: S704
    known.globals["sheet_look"] = Markup(sheet_look)  # noqa: S704
    known.globals["card_look"] = Markup(card_look)  # noqa: S704
    known.globals["script_digest"] = base64.b64encode(
        hashlib.sha256(script.encode("utf-8")).digest()
    ).decode("ascii")
    return known.get_template(name)
