"""What a swap's read-backs show, in words: by bytes, by values, or not at all."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import pytest

from parambak.keeping.state.bodies import (
    DumpEntry,
    ImageEntry,
    ReadBackBody,
    SwapClosedBody,
    SwapOpenedBody,
)
from parambak.reports.swap_page import contents, proof
from parambak.swap.swaps import ReadBackStep, Step, Swap
from tests.reports import story
from tests.reports.page import Page

if TYPE_CHECKING:
    from tests.keeping.conftest import Laptop

NOON = datetime(2026, 3, 1, 12, tzinfo=UTC)
IMAGE = ImageEntry(sha256="ab" * 32, ranges=((0, 4),))


def told(number: int, **words: Any) -> ReadBackStep:
    """Return a read-back from a file of its own."""
    dump = DumpEntry(
        sha256=f"{number:064x}", name=f"R{number}.BIN", format="raw", bytes=4, modified=number
    )
    shape: dict[str, Any] = {
        "loaded_correctly": True,
        "differing_bytes": 0,
        "stage": "before-power",
    }
    body = ReadBackBody(position="p", selected=IMAGE, image=IMAGE, dumps=(dump,), **shape | words)
    return ReadBackStep(f"{number:064x}", None, NOON, body)


def swap(*read_backs: ReadBackStep) -> Swap:
    """Return an open swap with these read-backs."""
    body = SwapOpenedBody(swap="s", position="p", route="load", why="x")
    return Swap("s", "v", Step("r", None, NOON), body, read_backs=list(read_backs))


def test_it_is_said_by_what_the_contents_are_proven() -> None:
    """Values are less than bytes, and no proof is none."""
    assert contents(swap(told(1), told(2))) == "contents proven by bytes"
    by_values = swap(told(1, by_values=True), told(2, by_values=True))
    assert contents(by_values) == "contents proven by values, with a layout for each side"
    assert contents(swap(told(1))) == "contents NOT PROVEN"
    assert contents(swap()) == "contents NOT PROVEN"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ({"differing_bytes": 1}, "1 byte differs"),
        ({"differing_bytes": 0, "running_bytes": 3}, "0 bytes differ; 3 more in running fields"),
        ({"by_values": True, "differing_values": 2}, "2 values differ"),
        (
            {"by_values": True, "differing_values": 1, "running_values": 4},
            "1 value differs; 4 more in running fields",
        ),
    ],
)
def test_how_much_differs_is_said(laptop: Laptop, words: dict[str, int], said: str) -> None:
    """Bytes or values, one or many, and what was expected to."""
    laptop.verified()
    (shown,) = proof(story.desk(laptop), swap(told(1, **words)))["read_backs"]
    assert shown["differing"] == said


def test_a_swap_that_two_laptops_ended_says_so(laptop: Laptop) -> None:
    """Closed on one, removed on the other: the page names both."""
    story.whole(laptop)
    closed = story.story(laptop)[-1]
    body = SwapClosedBody(swap=closed.id, outcome="abandoned", reason="no spare")
    with laptop.vault.writing() as writing:
        writing.add("swap-closed", closed.vessel, body.members())
    text = Page(story.swap_bytes(laptop)).text
    assert "CLOSED on 2026-03-01" in text
    assert "it was ended more than once: closed (A. Invented, 2026-03-01 09:" in text
    assert "abandoned (person not recorded, 2026-03-01 09:" in text
