"""Withdrawals, corrections and `undo` of two laptops: the same answers after any merge."""

from __future__ import annotations

import random
import shutil
from typing import TYPE_CHECKING

import pytest

from parambak.api import open_vault
from parambak.keeping.state.select import find_position
from tests.stories.slips import LATER, answers
from tests.stories.small_unit import OLD_LAYOUT, memory

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from tests.stories.conftest import Laptop

BY = "--by 'A. Fitter' --reason 'typed wrong'"
PLACES = ["grebe/winch/U12", "grebe/winch/U13", "grebe/crane/U7", "wader/crane/U7"]


def write_files(laptop: Laptop) -> None:
    """Write a layout, and dumps of three states of a chip."""
    laptop.write("winch.toml", OLD_LAYOUT)
    for number in range(3):
        laptop.dump(f"{number}.BIN", memory(1, ramp=150 + number))


def at(where: str) -> str:
    """Return the options of a position."""
    vessel, unit, position = where.split("/")
    return f"--vessel {vessel} --unit {unit} --position {position}"


def line(chance: random.Random) -> str:
    """Return one thing that a person may do: read, measure, put a slip right."""
    where, other = chance.choice(PLACES), chance.choice(PLACES)
    day = f"2026-02-{chance.randrange(1, 28):02d}"
    confirmed = "--new-vessel --new-unit --new-position"
    return chance.choice(
        [
            f"archive {chance.randrange(3)}.BIN {at(where)} {confirmed} --position-confirmed",
            f"measure {where.rpartition('/')[0]} core_rail={chance.randrange(3, 5)}V",
            f"withdraw {where}@latest {BY}",
            f"withdraw {where} {BY}",
            f"correct {where}@latest --position {other} {confirmed} {BY}",
            f"correct {where}@latest --read-on {day} {BY}",
            f"correct {where.partition('/')[0]} --display-name 'name {day}'",
            "--json undo",
            "--json undo --redo",
        ]
    )


def take(laptop: Laptop, other: Laptop, chance: random.Random | None = None) -> None:
    """Copy to a laptop all records and objects that another has; in any order of the files."""
    names: Iterable[str] = other.files()
    if chance is not None:
        names = chance.sample(list(names), len(list(names)))
    for name in names:
        target = laptop.vault / name
        if name.startswith(("records", "objects")) and not target.exists():
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(other.vault / name, target)


def read(laptops: Callable[[str], Laptop], name: str, sources: list[Laptop]) -> dict[str, str]:
    """Return the answers of a vault that is merged from these, in this order."""
    merged = laptops(name)
    merged.vault.mkdir()
    shutil.copyfile(sources[0].vault / "vault.toml", merged.vault / "vault.toml")
    for source in sources:
        take(merged, source)
        merged.run("--json catalogue")  # the index is kept between the two
    shown = answers(merged)
    for vessel in ("grebe", "wader"):
        merged.now = LATER
        shown[f"withdrawn of {vessel}"] = merged.run(f"history {vessel} --withdrawn").text
    return shown


@pytest.mark.parametrize("seed", range(6))
def test_two_laptops_end_in_the_same_answers(seed: int, laptops: Callable[[str], Laptop]) -> None:
    """In any order of what they did, and of the merges on the way and at the end."""
    chance = random.Random(seed)
    mine, other = laptops("mine"), laptops("other")
    for laptop in (mine, other):
        write_files(laptop)
    mine.yes(f"archive 0.BIN 1.BIN {at(PLACES[0])} --layout winch.toml --new-vessel --new-unit")
    mine.yes(f"archive 0.BIN {at(PLACES[1])} --new-position --position-confirmed")
    shutil.copytree(mine.vault, other.vault)
    for _ in range(14):
        laptop, source = chance.sample([mine, other], 2)
        if chance.random() < 0.15:
            take(laptop, source, chance)
            continue
        typed = line(chance)
        result = laptop.run(typed)
        assert result.code in {0, 1, 2}, (typed, result)
        assert "Traceback" not in result.err, (typed, result)
    first = read(laptops, "merged", [mine, other])
    assert read(laptops, "merged the other way", [other, mine]) == first
    take(mine, other, chance)
    take(other, mine, chance)
    assert read(laptops, "from mine", [mine]) == first
    assert read(laptops, "from the other", [other]) == first


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
