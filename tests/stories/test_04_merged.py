"""Withdrawals, corrections and `undo` of two laptops: the same answers after any merge."""

from __future__ import annotations

import shutil
from typing import TYPE_CHECKING

import pytest

from parambak.api import open_vault
from parambak.keeping.state.select import find_position
from tests.stories.any_order import BY, PLACES, at, run, take, write_files
from tests.stories.slips import LATER

if TYPE_CHECKING:
    from collections.abc import Callable

    from tests.stories.conftest import Laptop


@pytest.mark.parametrize("seed", range(6))
def test_two_laptops_end_in_the_same_answers(seed: int, laptops: Callable[[str], Laptop]) -> None:
    """In any order of what they did, and of the merges on the way and at the end."""
    run(seed, laptops)


def two(laptops: Callable[[str], Laptop]) -> tuple[Laptop, Laptop]:
    """Return two laptops with the same vault: one position that was read twice."""
    mine, other = laptops("mine"), laptops("other")
    for laptop in (mine, other):
        write_files(laptop)
    mine.yes(f"archive 0.BIN 1.BIN {at(PLACES[0])} --layout winch.toml --new-vessel --new-unit")
    shutil.copytree(mine.vault, other.vault)
    return mine, other


def wheres(laptop: Laptop) -> dict[str, int]:
    """Return the positions with their copies."""
    return {p["where"]: p["copies"] for p in laptop.json("catalogue")["positions"]}


@pytest.mark.parametrize("target", [PLACES[1], PLACES[3]])
@pytest.mark.parametrize("first", [True, False])
def test_what_one_withdrew_and_the_other_moved_counts_nowhere(
    target: str, *, first: bool, laptops: Callable[[str], Laptop]
) -> None:
    """Within the vessel and to another one, whoever did it first."""
    mine, other = two(laptops)
    if not first:
        other.now = LATER
    mine.yes(f"withdraw {PLACES[0]}@latest {BY}")
    other.yes(f"correct {PLACES[0]}@latest --position {target} --new-vessel {BY}")
    take(mine, other)
    take(other, mine)
    assert wheres(mine) == wheres(other)
    assert sum(wheres(mine).values()) == 0


def test_two_moves_unaware_of_each_other_are_a_conflict(
    laptops: Callable[[str], Laptop],
) -> None:
    """At both positions, until one of them is withdrawn; then the other counts."""
    mine, other = two(laptops)
    mine.yes(f"correct {PLACES[0]}@latest --position {PLACES[3]} --new-vessel {BY}")
    other.yes(f"correct {PLACES[0]}@latest --position knot/crane/U7 --new-vessel {BY}")
    take(mine, other)
    assert set(wheres(mine)) == {PLACES[3], "knot/crane/U7"}
    for where in wheres(mine):
        assert conflicts(mine, where) == 2
    mine.yes(f"withdraw knot/crane/U7@latest {BY}")
    assert wheres(mine) == {PLACES[3]: 2}
    assert conflicts(mine, PLACES[3]) == 0


def conflicts(laptop: Laptop, where: str) -> int:
    """Return how many conflicts a position has."""
    return len(find_position(open_vault(laptop.vault, own=laptop.own).fleet(), where).conflicts)
