"""Whatever stands in a field, the page runs nothing, loads nothing, hides nothing."""

from __future__ import annotations

import itertools
from contextlib import suppress
from typing import TYPE_CHECKING

import pytest

from parambak.errors import VaultDamaged
from parambak.memory.printable import printable
from parambak.reports.html import breakable, css_text
from tests.keeping.conftest import LAYOUT
from tests.reports import story
from tests.reports.filled import rendered
from tests.reports.page import Page, assert_harmless

if TYPE_CHECKING:
    from tests.keeping.conftest import Laptop
    from tests.reports.filled import Told

HOSTILE = (
    '<script>alert({n})</script>"><img src=x onerror=a({n})>',
    "</style><link rel=stylesheet href=http://x/{n}>",
    "' onload='a({n})' x='",
    "--><!-- {n} <![CDATA[ & &lt; &#60; &{n};",
    "\u202e{n}\u2066\u200b\ufeff\x00\x07\x1b[2J\x9b\ud800",
    "{{{{ {n} }}}} {{% raw %}} {{# x #}}",
    "url(http://x/{n}) @import 'x'; }} body {{ display: none",
    "{n}\\{n}\\\\ \\22 \\0",
)


@pytest.mark.parametrize("name", story.PAGES)
@pytest.mark.parametrize("shape", HOSTILE)
def test_hostile_text_in_every_field_is_shown_as_it_is(
    told: dict[str, Told], name: str, shape: str
) -> None:
    """Escaped, spelled out where it hides, and there: nothing is left out of the page."""
    given: list[str] = []
    numbers = itertools.count(100)

    def text() -> str:
        given.append(shape.format(n=next(numbers)))
        return given[-1]

    page = Page(rendered(told[name], text))
    assert_harmless(page)
    for each in ("\u202e", "\u2066", "\u200b", "\ufeff", "\x00", "\x07", "\x1b", "\x9b"):
        assert each not in page.source
    shown = page.text.casefold()
    assert [each for each in given if printable(each).casefold() not in shown] == []


@pytest.mark.parametrize("name", story.PAGES)
def test_a_long_text_in_every_field_is_shown_whole(told: dict[str, Told], name: str) -> None:
    """10,000 characters without a space."""
    numbers = itertools.count(100)
    given: list[str] = []

    def text() -> str:
        given.append(f"{next(numbers)}" + "W" * 9_997)
        return given[-1]

    page = Page(rendered(told[name], text))
    assert_harmless(page)
    shown = page.text.casefold()
    assert [each[:3] for each in given if each.casefold() not in shown] == []


def test_an_empty_text_in_every_field_leaves_a_page(told: dict[str, Told]) -> None:
    """Well formed still."""
    for name in story.PAGES:
        assert_harmless(Page(rendered(told[name], str)))


def test_a_text_of_the_style_sheet_is_letters_and_escapes() -> None:
    """It cannot end its quotes, its sheet, or its element; and it is cut."""
    assert css_text('a"}</style>\n\\') == "a\\22 \\7D \\3C \\2F style\\3E \\5C u\\7B 000A\\7D \\5C "
    assert css_text("x" * 61) == "x" * 60 + "\\2026 "
    assert css_text("\u202e") == "\\5C u\\7B 202E\\7D "


def test_a_name_may_be_broken_at_its_joints() -> None:
    """Escaped first."""
    assert breakable("a_b.c<_") == "a_<wbr>b.<wbr>c&lt;_<wbr>"


@pytest.mark.parametrize("name", story.PAGES)
def test_a_vault_with_a_lost_object_gives_a_page_or_a_refusal(laptop: Laptop, name: str) -> None:
    """Each object in turn; nothing else than our own error comes out of it."""
    story.whole(laptop)
    objects = sorted(each for each in laptop.root.glob("objects/*/*") if each.is_file())
    assert len(objects) > 8
    pages = 0
    for path in objects:
        data = path.read_bytes()
        path.chmod(0o644)
        path.unlink()
        with suppress(VaultDamaged):
            assert_harmless(Page(story.PAGES[name](laptop)))
            pages += 1
        path.write_bytes(data)
    assert pages > len(objects) // 2


def test_a_lost_image_is_said_on_the_pages_of_swap_and_visit(laptop: Laptop) -> None:
    """What is on record of it still stands there."""
    story.whole(laptop)
    laptop.lose(laptop.latest().sha256)
    visit = Page(story.visit_bytes(laptop))
    assert "The bytes cannot be read: the vault is damaged. Run parambak recheck." in visit.text
    selected = next(c for c in laptop.position().copies if c.reads[0].remark == "the copy's remark")
    laptop.lose(selected.sha256)
    swap = Page(story.swap_bytes(laptop))
    assert "Its bytes cannot be read: the vault is damaged. Run parambak recheck." in swap.text
    assert "stop at noon" in swap.text


def test_a_lost_layout_is_said(laptop: Laptop) -> None:
    """The values are then not known, and the copy not verified."""
    laptop.verified()
    position = laptop.position()
    assert position.layout is not None
    laptop.lose(position.layout.sha256)
    page = Page(story.copy_bytes(laptop))
    assert "There is no layout that can be used" in page.text
    assert "NOT VERIFIED" in page.text
    assert b"ramp_up_time" in LAYOUT
    assert "ramp_up_time" not in page.text
