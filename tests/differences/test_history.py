"""The history of one memory: what all its images show, and that no two kinds are confused."""

from __future__ import annotations

import tracemalloc
from typing import TYPE_CHECKING

import pytest

from parambak.differences.fields import MOVED, PARAMETER, TOLERANCE
from parambak.differences.history import changes_of, history
from parambak.layouts.load import load
from parambak.memory import relations
from parambak.memory.image import Image
from tests.differences.invented_histories import confusion, table, wrong

if TYPE_CHECKING:
    from collections.abc import Iterator

LAYOUT = load(
    b"""
[layout]
title = "Invented"
memory = 64
byte-order = "big"

[[field]]
name = "trim"
at = 0
type = "u8"
tolerance = 2

[[field]]
name = "word"
at = 2
type = "u16"
high-from = "most"

[[field]]
name = "most"
at = 4
type = "u16"

[[mirrored]]
name = "second"
at = 0
length = 8
mirror-at = 8
"""
)
TEXT = bytes(range(0x41, 0x61))


def memory(trim: int = 50, word: int = 300, most: int = 500, *, second: bool = True) -> Image:
    """Return a memory; without `second`, the mirror stays as it was at first."""
    block = bytes([trim, 0]) + word.to_bytes(2, "big") + most.to_bytes(2, "big") + bytes(2)
    kept = block if second else memory().content[:8]
    return Image.of(block + kept + TEXT + b"\xff" * 16)


def kinds(images: list[Image], field: str) -> list[tuple[int, str]]:
    """Return the kinds of a field's changes, each with the image that first had it."""
    return [(at, change.kind) for at, change in changes_of(history(LAYOUT, images), field)]


def test_invented_histories_are_sorted() -> None:
    """A small run, of seeds that are for trying: at most one in a hundred sorted wrong."""
    counts = confusion(range(40))
    assert counts.total() > 2000
    assert wrong(counts) <= 0.01, table(counts)


def test_small_steps_that_add_up_are_told() -> None:
    """The tolerance counts from the value reported last."""
    images = [memory(trim) for trim in (50, 52, 51, 53, 54)]
    assert kinds(images, "trim") == [
        (1, TOLERANCE),
        (2, TOLERANCE),
        (3, PARAMETER),
        (4, TOLERANCE),
    ]


def test_a_limit_that_another_field_holds_is_the_one_of_then() -> None:
    """The limit moved first; the value, unchanged until then, goes back inside."""
    images = [memory(), memory(most=200), memory(word=150, most=200)]
    change = dict(changes_of(history(LAYOUT, images), "word"))[2]
    assert change.crossed == "back inside"


def test_a_second_keeping_tells_a_change_from_a_fading() -> None:
    """Changed in both, somebody did it; in one alone, bit by bit, nobody did."""
    wrote = [memory(word=0x0100), memory(word=0x0101), memory(word=0x0103)]
    assert kinds(wrote, "word") == [(1, PARAMETER), (2, PARAMETER)]
    faded = [memory(), memory(word=301, second=False), memory(word=303, second=False)]
    assert kinds(faded, "word") == [(1, "fading"), (2, "fading")]


def test_a_byte_of_no_field_fades_too() -> None:
    """With a mirror that stays: a change bit by bit in one alone was not written."""
    images = [memory()]
    for value in (0x01, 0x03):
        content = bytearray(memory().content)
        content[6] = value
        images.append(Image.of(bytes(content)))
    steps = history(LAYOUT, images).steps
    assert [(loose.range.start, loose.kind) for step in steps for loose in step.loose] == [
        (6, "fading"),
        (6, "fading"),
    ]


@pytest.mark.parametrize(("length", "kind"), [(64, "fading"), (65, "unmapped")])
def test_few_bytes_of_no_field_are_followed(length: int, kind: str) -> None:
    """Of one step, 64: more than that is no fading of cells."""
    layout = load(
        b'[layout]\ntitle = "Invented"\nmemory = 256\n'
        b"[[mirrored]]\nat = 0\nlength = 128\nmirror-at = 128\n"
    )
    images = [Image.of(bytes([value]) * length + bytes(256 - length)) for value in (0, 1, 3)]
    loose = [stretch for step in history(layout, images).steps for stretch in step.loose]
    assert [(stretch.range.length, stretch.kind) for stretch in loose] == [(length, kind)] * 2


def test_a_change_during_a_wrong_read_is_found_all_the_same() -> None:
    """Read with its bytes swapped once: what changed before that is stated, once."""
    swapped = Image.of(relations.swapped(memory(word=333).content, 2))
    images = [memory(), swapped, memory(word=333)]
    found = history(LAYOUT, images)
    assert [step.moves[0].kind for step in found.steps] == ["swapped-16", "swapped-16"]
    assert [(at, c.kind, c.new) for at, c in changes_of(found, "word")] == [
        (1, PARAMETER, "333"),
        (2, MOVED, "333"),
    ]
    assert {c.kind for c in found.steps[1].fields} == {MOVED}


def test_without_a_layout_stretches_are_told() -> None:
    """And how many images there were, the same ones counted."""
    found = history(None, [memory(), memory(), memory(trim=9)])
    (step,) = found.steps
    assert (found.images, step.image, step.fields) == (3, 2, ())
    assert [each.range.start for each in step.loose] == [0, 8]


def test_nothing_at_all_is_no_history() -> None:
    """No image, and one."""
    assert history(LAYOUT, []).images == 0
    assert len(history(LAYOUT, [memory()]).steps) == 0


def test_no_image_is_held_but_the_one_before() -> None:
    """Of a hundred images more, the peak is that of what changed, not of their bytes."""
    size = 1 << 15

    def images(count: int) -> Iterator[Image]:
        for number in range(count):
            yield Image.of(memory(trim=number % 2 * 9).content + bytes(size))

    def peak(count: int) -> int:
        tracemalloc.start()
        history(None, images(count))
        most = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return most

    peak(3)
    assert peak(120) - peak(20) < 100 * 1024


@pytest.mark.parametrize(("other", "loose"), [(31, 31), (32, 64)])
def test_the_image_before_a_wrong_read_counts_where_it_is_far_nearer(
    other: int, loose: int
) -> None:
    """It is nearer if it differs in less than half as many bytes as the wrong read."""
    right = bytes(range(64))
    wrong = relations.swapped(right, 2)
    after = bytearray(right)
    for at in [*range(0, 64, 2), 1][:other]:
        after[at] = 0xFF
    changes = history(None, [Image.of(right), Image.of(wrong), Image.of(bytes(after))])
    assert [move.kind for move in changes.steps[0].moves] == [relations.SWAPPED_16]
    assert sum(each.range.length for each in changes.steps[1].loose) == loose


def test_a_check_over_a_change_that_was_renewed_with_it_is_named() -> None:
    """If it is renewed; if it is not, it fails, and is named for that."""
    layout = load(
        b"[layout]\ntitle = 'x'\nmemory = 4\nbyte-order = 'big'\n"
        b"[[field]]\nname = 'ramp'\nat = 0\ntype = 'u8'\n"
        b"[[check]]\nname = 'sum'\nmethod = 'sum-8'\nover = [[0, 1]]\nat = 3\n"
    )
    reads = [bytes([1, 0, 0, 1]), bytes([2, 0, 0, 2]), bytes([3, 0, 0, 2])]
    steps = history(layout, map(Image.of, reads)).steps
    assert [(step.renewed, step.broken) for step in steps] == [
        ({"ramp": ("sum",)}, ()),
        ({}, ("sum",)),
    ]
