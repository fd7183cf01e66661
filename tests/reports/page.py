"""A page taken apart: its elements, its text, and whether it is well formed."""

from __future__ import annotations

import re
from html.parser import HTMLParser

INLINE = frozenset({"b", "span", "wbr"})
VOID = frozenset({"meta", "br", "col", "wbr"})
ELEMENTS = re.compile(
    "html|head|meta|title|style|body|section|h[123]|p|b|br|wbr|span|div|ul|li|dl|dt|dd|table"
    "|colgroup|col|thead|tbody|tr|th|td|svg|defs|pattern|path|circle|rect|text"
)
ATTRIBUTES = re.compile(
    "lang|charset|name|content|http-equiv|class|style|width|height|role|viewbox|xmlns|x|y|id"
    "|fill|stroke|stroke-width|text-anchor|d|cx|cy|r|patternunits|aria-hidden"
)


class Page(HTMLParser):
    """The page of these bytes; raise AssertionError where it is not well formed."""

    def __init__(self, data: bytes) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.tags: set[str] = set()
        self.attributes: list[tuple[str, str]] = []
        self.style = ""
        self.title = ""
        self.heads: list[str] = []
        self.terms: list[str] = []
        self.ids: list[str] = []
        self._text: list[str] = []
        self.source = data.decode("utf-8")
        self.feed(self.source)
        self.close()
        assert not self.open, f"never closed: {self.open}"

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Take an element in."""
        self.handle_startendtag(tag, attrs)
        if tag not in VOID:
            self.open.append(tag)
            if tag in {"h2", "dt"}:
                (self.heads if tag == "h2" else self.terms).append("")

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Take an element in that holds nothing."""
        names = [name for name, _ in attrs]
        assert len(set(names)) == len(names), f"{tag} has an attribute twice"
        self.tags.add(tag)
        self._text.append("" if tag in INLINE else " ")
        self.attributes += [(name, value or "") for name, value in attrs]
        self.ids += [value or "" for name, value in attrs if name == "id"]

    def handle_endtag(self, tag: str) -> None:
        """Close the innermost element, which must be this one."""
        assert self.open, f"</{tag}> closes nothing"
        assert self.open.pop() == tag, f"</{tag}> closes another element"

    def handle_data(self, data: str) -> None:
        """Take text in."""
        if "style" in self.open:
            self.style += data
        elif "title" in self.open:
            self.title += data
        else:
            self._text.append(data)
        if "h2" in self.open:
            self.heads[-1] += data
        if "dt" in self.open:
            self.terms[-1] += data

    @property
    def text(self) -> str:
        """Return all that a person reads, white space made one."""
        return re.sub(r"\s+", " ", "".join(self._text))


def assert_harmless(page: Page) -> None:
    """Insist that nothing is run or loaded: known elements and attributes, no address."""
    assert all(ELEMENTS.fullmatch(each) for each in page.tags), page.tags
    for name, value in page.attributes:
        assert ATTRIBUTES.fullmatch(name), (name, value)
        loads = re.findall(r"url\(([^)]*)\)", value)
        assert all(each.startswith("#") for each in loads), (name, value)
        assert "//" not in value or value == "http://www.w3.org/2000/svg", (name, value)
        if name == "style":
            assert re.fullmatch(r"width:\d+mm", value), value
    assert not re.search(r"url\(|@import|//", page.style)
    assert len(set(page.ids)) == len(page.ids)
