"""What alternates and what fades: the rules of formats/changes.md, at their edges."""

from __future__ import annotations

from itertools import pairwise

import pytest

from parambak.differences.fading import Turn, alternates, fading


@pytest.mark.parametrize(
    ("values", "told"),
    [
        ("ab", False),
        ("aba", False),
        ("abab", True),
        ("abaca", True),
        ("abacdc", False),
        ("abcde", False),
        ("a", False),
        ("", False),
    ],
)
def test_back_and_forth(values: str, told: bool) -> None:
    """Twice back to one value, or three changes between the same two."""
    assert alternates(values) is told


def turns(*values: int, guarded: bool, renewed: tuple[int, ...] = ()) -> list[Turn]:
    """Return the changes from value to value; those at `renewed` took the check along."""
    pairs = pairwise(values)
    return [
        Turn(
            step,
            old.to_bytes(2, "big"),
            new.to_bytes(2, "big"),
            guarded=guarded,
            renewed=step in renewed,
        )
        for step, (old, new) in enumerate(pairs, start=1)
    ]


@pytest.mark.parametrize(
    ("changes", "steps"),
    [
        (turns(0x10, 0x11, 0x13, guarded=True), {1, 2}),
        (turns(0x10, 0x13, 0x17, guarded=True), {1, 2}),
        (turns(0x13, 0x12, 0x02, guarded=True), {1, 2}),
        (turns(0x10, 0x11, guarded=True), {1}),
        (turns(0x11, 0x10, guarded=True), set()),
        (turns(0x10, 0x17, 0x1F, guarded=True), set()),
        (turns(0x10, 0x11, 0x10, guarded=True), set()),
        (turns(0x10, 0x11, 0x13, guarded=True, renewed=(1, 2)), set()),
        (turns(0x10, 0x95, 0x97, 0x9F, guarded=True, renewed=(1,)), {2, 3}),
        (turns(0x10, 0x11, guarded=False), set()),
        (turns(0x10, 0x11, 0x13, guarded=False), {1, 2}),
        (turns(0x10, 0x13, 0x17, guarded=False), set()),
        (
            [*turns(0x10, 0x13, guarded=True), *turns(0x13, 0x17, guarded=False)],
            set(),
        ),
        ([], set()),
    ],
)
def test_cells_that_fade(changes: list[Turn], steps: set[int]) -> None:
    """One way, few at a time, no check along; under a check once will do, towards blank."""
    assert fading(changes, 0xFF) == steps


def test_the_blank_state_decides_where_one_change_is_all_there_is() -> None:
    """A memory whose blank byte is 00 loses bits downwards."""
    assert fading(turns(0x11, 0x10, guarded=True), 0x00) == {1}
    assert fading(turns(0x10, 0x11, guarded=True), 0x00) == set()
