"""A read-back by bytes: each dump against the copy meant, and why it is not loaded correctly."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from msgspec import to_builtins

from parambak.answers.decoded import decoded_by
from parambak.answers.disagreement import ExplanationShown, explanation_of
from parambak.cli.commands.swap.check import cautions
from parambak.cli.parts.disagreement import explanation_page
from parambak.cli.parts.runs import run_document, run_rows
from parambak.cli.screen import MARKS
from parambak.cli.settings import Answer
from parambak.layouts import coverage
from parambak.swap.read_back import AFTER_POWER, BEFORE_POWER, ReadBack, compare, start_up

if TYPE_CHECKING:
    from collections.abc import Mapping

    from parambak.cli.screen import Screen
    from parambak.keeping.recording.received import Incoming
    from parambak.layouts.model import Layout
    from parambak.memory.image import Image


@dataclass(frozen=True)
class Meant:
    """What the card should hold: the copy's name, its image, and the position's layout.

    `moved` tells that the old chip was moved onto the card, and nothing loaded.
    """

    name: str
    image: Image
    layout: Layout | None
    moved: bool = False


@dataclass(frozen=True)
class Behind:
    """What is known of the swap so far that may explain a difference.

    `held_before` tells that before power the card was read back as loaded correctly;
    `others` are memories by name, such as what a spare card held when it came.
    """

    held_before: bool
    others: Mapping[str, Image]


@dataclass(frozen=True)
class Read:
    """One dump read from the card, and how it compares."""

    incoming: Incoming
    found: ReadBack
    explanation: ExplanationShown | None = None
    start_up: str | None = None


def read_back(incoming: list[Incoming], stage: str, meant: Meant, behind: Behind) -> list[Read]:
    """Return how each dump compares, and what a difference most looks like."""
    return [_read(each, stage, meant, behind) for each in incoming]


def _read(incoming: Incoming, stage: str, meant: Meant, behind: Behind) -> Read:
    found = _compared(meant.image, incoming.image, stage, meant.layout)
    if not found.differences:
        return Read(incoming, found)
    names = ("the copy meant", incoming.entry.name)
    wrote = None
    if stage == AFTER_POWER:
        wrote = start_up(
            incoming.image,
            found.differences,
            held_before=behind.held_before,
            others=behind.others,
        )
    why = explanation_of((meant.image, incoming.image), names) if wrote is None else None
    return Read(incoming, found, why, wrote)


def _compared(meant: Image, read: Image, stage: str, layout: Layout | None) -> ReadBack:
    """Return how the bytes compare, and after power whether the layout's checks hold too."""
    if layout is None or stage != AFTER_POWER:
        return compare(meant, read, stage)
    return compare(meant, read, stage, _moving(layout), decoded_by(layout, read).checks)


def answer(meant: Meant, stage: str, reads: list[Read]) -> Answer:
    """Return the answer to a read-back by bytes."""
    loaded = all(read.found.loaded_correctly for read in reads)
    return Answer(
        {
            "loaded_correctly": loaded,
            "bytes_compared": True,
            "copy": meant.name,
            "differences": [run_document(r) for read in reads for r in read.found.differences],
            "expected_differences": [
                run_document(r) for read in reads for r in read.found.expected_differences
            ],
            "failing_checks": [check.check for read in reads for check in read.found.failing],
            "start_up": next((read.start_up for read in reads if read.start_up), None),
            "explanation": to_builtins(
                next((read.explanation for read in reads if read.explanation), None)
            ),
        },
        lambda screen: _page(screen, meant, stage, reads),
        exit_code=0 if loaded else 1,
    )


def _moving(layout: Layout) -> dict[int, int]:
    """Return for each address the bits that are expected to change once powered."""
    moving = dict(coverage.masks(layout, "expected-to-change"))
    for address, bits in coverage.masks(layout, "live").items():
        moving[address] = moving.get(address, 0) | bits
    return moving


def _page(screen: Screen, meant: Meant, stage: str, reads: list[Read]) -> None:
    screen.facts([("meant", meant.name), ("stage", stage)], indent=0)
    for read in reads:
        screen.say()
        screen.heading(read.incoming.entry.name)
        _runs(screen, read, meant.layout)
        for check in read.found.failing:
            screen.say(f"CHECK {MARKS[check.holds]}: {check.check} in what was read", indent=2)
        if read.explanation is not None:
            screen.say()
            explanation_page(screen, read.explanation)
    screen.say()
    cautions(screen)
    if all(read.found.loaded_correctly for read in reads):
        screen.good(f"LOADED CORRECTLY: nothing differs that may not, {stage}.")
        if stage == AFTER_POWER:
            screen.say("Do the function tests before return to service.")
        else:
            screen.say("Power up with outputs inhibited, then read back with --stage after-power.")
        return
    screen.bad("NOT LOADED CORRECTLY. Do not put the unit into service.")
    _next(screen, meant, stage, reads)


def _next(screen: Screen, meant: Meant, stage: str, reads: list[Read]) -> None:
    """Say what to do about a card that is not loaded correctly."""
    wrote = next((read.start_up for read in reads if read.start_up), None)
    if wrote is not None:
        screen.mind(f"START-UP WROTE OVER THE PARAMETERS: {wrote}.")
        screen.say(
            "Take the power off. Find out from the maker why the unit did not accept its "
            "parameters (another software, a link, a check) before the file is loaded again."
        )
        return
    if meant.moved:
        screen.say(
            "Power off. Look at the chip's way round, its pins and the socket, and read it again. "
            "If it stays so, the chip was hurt on the way: take the duplicate (`swap load-file`)."
        )
        return
    if stage == BEFORE_POWER:
        screen.say(
            "First make sure of the reading: clean the contacts, read again. If it still differs, "
            "load the file again, and read back again."
        )
        return
    screen.say(
        "Take the power off again. A field or check that the unit itself writes stands in the "
        "layout as expected-to-change; for anything else load the file again, and read back "
        "before power and after it."
    )


def _runs(screen: Screen, read: Read, layout: Layout | None) -> None:
    found = read.found
    if not found.differences and not found.expected_differences:
        screen.say("No byte differs.")
        return
    rows = [
        ("NO", *row, _names(layout, run.start, run.length))
        for run, row in zip(found.differences, run_rows(found.differences), strict=False)
    ]
    rows += [
        ("expected", *row, _names(layout, run.start, run.length))
        for run, row in zip(
            found.expected_differences, run_rows(found.expected_differences), strict=False
        )
    ]
    screen.table(("allowed", "address", "bytes", "meant", "read", "field"), rows, right=(2,))


def _names(layout: Layout | None, start: int, length: int) -> str:
    if layout is None:
        return ""
    return ", ".join(coverage.fields_over(layout, start, length)) or "no field"
