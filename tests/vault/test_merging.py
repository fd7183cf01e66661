from __future__ import annotations

import shutil
from typing import TYPE_CHECKING

from hypothesis import given, settings
from hypothesis import strategies as st

from parambak.vault.check.recheck import recheck
from tests.vault.home import AVOCET, GREBE, Home

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    import pytest

    from parambak.vault.records import Stored
    from parambak.vault.vault import Vault


def merge(source: Path, target: Path) -> None:
    """Copy what is missing from the target, as a person does with two folders; replace nothing."""
    for file in sorted(source.rglob("*")):
        name = file.relative_to(source)
        if file.is_file() and name.parts[0] in ("objects", "records"):
            to = target / name
            to.parent.mkdir(parents=True, exist_ok=True)
            if not to.exists():
                shutil.copyfile(file, to)


def content(vault: Vault) -> dict[str, Sequence[Stored]]:
    """Return all records of a vault about its vessels, in its order."""
    return {vessel: vault.records(vessel) for vessel in vault.vessels()}


def all_files(home: Home) -> set[str]:
    """Return the names of the objects and records of a vault."""
    return {name for name in home.files() if name.startswith(("objects", "records"))}


def test_two_laptops_meet(home: Home, other: Home) -> None:
    """One vault on two laptops, written on both, merged both ways: both hold the same."""
    home.note("before they parted")
    shutil.copytree(home.root, other.root)
    home.note("at home")
    other.note("aboard")
    other.note("aboard too", AVOCET)
    merge(other.root, home.root)
    merge(home.root, other.root)
    assert content(home.open()) == content(other.open())
    assert all_files(home) == all_files(other)
    texts = [s.record.body["text"] for s in home.open().records(GREBE)]
    assert set(texts[1:]) == {"at home", "aboard"}
    home.note("after both")
    assert len(home.open().records(GREBE)[-1].record.after) == 2
    assert recheck(home.open(), lambda _done, _of: None).damaged == ()
    assert home.open().warnings == ()


def test_two_vaults_of_their_own_become_one(home: Home, other: Home) -> None:
    """Vaults that began apart merge too; each keeps its identity and rechecks clean."""
    home.note("grebe")
    other.note("avocet", AVOCET)
    identity = home.open().identity
    merge(other.root, home.root)
    vault = home.open()
    assert vault.identity == identity != other.open().identity
    assert vault.vessels() == (GREBE, AVOCET)
    assert len(vault.records(None)) == 2
    assert vault.warnings == ()
    assert recheck(vault, lambda _done, _of: None).damaged == ()


def test_one_vessel_alone_can_be_taken_along(home: Home, other: Home) -> None:
    """No record is after another vessel's: a vessel's records are whole by themselves."""
    for n in range(3):
        home.note(str(n), GREBE)
        home.note(str(n), AVOCET)
    other.made()
    for stored in home.open().records(GREBE):
        target = other.root / stored.file
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(home.root / stored.file, target)
    assert recheck(other.open(), lambda _done, _of: None).damaged == ()
    assert other.open().vessels() == (GREBE,)


@settings(max_examples=12, deadline=None)
@given(
    st.lists(st.tuples(st.sampled_from("abc"), st.sampled_from("abc"), st.booleans()), max_size=8),
    st.permutations("abc"),
)
def test_merging_is_a_union(
    tmp_path_factory: pytest.TempPathFactory,
    steps: list[tuple[str, str, bool]],
    order: list[str],
) -> None:
    """After any writing and copying before: in any order, any grouping, once or twice."""
    place = tmp_path_factory.mktemp("merging")
    homes = {name: Home(place / name / "vault", place / name / "own") for name in "abc"}
    for each in homes.values():
        each.made()
    for number, (one, two, write) in enumerate(steps):
        if write:
            homes[one].note(f"{number}", (GREBE, AVOCET)[number % 2])
        elif one != two:
            merge(homes[one].root, homes[two].root)
    first, second = Home(place / "1", place / "own"), Home(place / "2", place / "own")
    for each in (first, second):
        shutil.copytree(homes["a"].root, each.root)
    for name in order:
        merge(homes[name].root, first.root)
    merge(homes["c"].root, homes["b"].root)  # grouped, the other way, and twice
    for _ in range(2):
        merge(homes["b"].root, second.root)
    assert all_files(first) == all_files(second)
    assert content(first.open()) == content(second.open())
    assert recheck(first.open(), lambda _done, _of: None).damaged == ()
    for each in (*homes.values(), first, second):
        for vault in each.opened:
            vault.close()
    shutil.rmtree(place)
