"""Reads a page back as a browser would, for the tests of pages: tree, tables, text."""

from __future__ import annotations

from dataclasses import dataclass, field
from html.parser import HTMLParser

VOID = {"meta", "img", "br", "wbr", "hr", "input", "link"}


@dataclass
class Node:
    """One element."""

    tag: str
    attributes: dict[str, str]
    inside: list[Node | str] = field(default_factory=list)

    def all(self, *tags: str) -> list[Node]:
        """Return all elements below, of some tags or of any, in their order."""
        found: list[Node] = []
        for child in self.inside:
            if isinstance(child, Node):
                if not tags or child.tag in tags:
                    found.append(child)
                found += child.all(*tags)
        return found

    def one(self, tag: str) -> Node:
        """Return the only element of a tag."""
        (found,) = self.all(tag)
        return found

    @property
    def text(self) -> str:
        """All text below."""
        return "".join(c if isinstance(c, str) else c.text for c in self.inside)


class _Reader(HTMLParser):
    """Builds the tree; refuses what is not well-formed."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.root = Node("", {})
        self.open = [self.root]
        self.doctype = ""

    def handle_decl(self, decl: str) -> None:
        self.doctype = decl

    def handle_comment(self, data: str) -> None:
        raise AssertionError(f"a comment: {data[:60]}")

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        names = [name for name, _value in attrs]
        assert len(names) == len(set(names)), f"<{tag}> has an attribute twice: {names}"
        node = Node(tag, {name: value or "" for name, value in attrs})
        self.open[-1].inside.append(node)
        if tag not in VOID:
            self.open.append(node)

    def handle_endtag(self, tag: str) -> None:
        assert self.open[-1].tag == tag, f"</{tag}> closes <{self.open[-1].tag}>"
        self.open.pop()

    def handle_data(self, data: str) -> None:
        self.open[-1].inside.append(data)


def read(text: str) -> Node:
    """Return the tree of a page; an assertion fails when it is not well-formed."""
    reader = _Reader()
    reader.feed(text)
    reader.close()
    assert reader.doctype.lower() == "doctype html"
    assert len(reader.open) == 1, f"<{reader.open[-1].tag}> is never closed"
    return reader.root


def tables(page: Node) -> dict[str, tuple[list[str], list[list[tuple[str, str]]]]]:
    """Return the tables by name: the columns, and text and full value of each cell."""
    found = {}
    for table in page.all("table"):
        columns = [head.text for head in table.one("thead").all("th")]
        rows = [
            [(c.text, c.attributes.get("data-v", c.text)) for c in row.all("th", "td")]
            for row in table.one("tbody").all("tr")
        ]
        found[table.one("caption").text] = (columns, rows)
    return found
