"""A record that is lost may be the choice of a copy: then nothing is certain."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from parambak.errors import VaultDamaged
from parambak.keeping.assess import Assessor
from parambak.swap import ending, recording
from parambak.swap.lost_records import lost_since, refuse_unsure
from parambak.swap.state import SwapState, swap_state
from tests.keeping.conftest import CHIPS, LAYOUT, WHERE, Laptop, image

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

BY = "A. Invented"


@pytest.fixture
def laptop(tmp_path: Path) -> Iterator[Laptop]:
    """Return a laptop with two verified copies, and a swap in which the older was chosen."""
    made = Laptop(tmp_path / "one")
    made.verified()
    made.on("2026-03-09")
    newer = image(1, {0x12: 0x55})
    made.take(newer, newer, layout=LAYOUT, chip="T256")
    recording.open_swap(
        Assessor(made.vault), WHERE, why="dead", by=BY, route="load", old_card=None, new_card=None
    )
    older = made.position().copies[0]
    recording.select_copy(made.vault, WHERE, older, why="the newest is spoilt", by=BY)
    yield made
    made.close()


def records(laptop: Laptop) -> list[tuple[str, str]]:
    """Return digest and kind of every record about the vessel, oldest first."""
    (vessel,) = laptop.vault.vessels()
    return [(stored.digest, stored.record.kind) for stored in laptop.vault.records(vessel)]


def damage(laptop: Laptop, digest: str) -> None:
    """Spoil a record's file."""
    path = laptop.root / "records" / digest[:2] / f"{digest}.json"
    path.chmod(0o644)
    path.write_bytes(b"\0" * len(path.read_bytes()))


def state(laptop: Laptop) -> SwapState:
    """Return where the swap stands."""
    return swap_state(laptop.fleet, Assessor(laptop.vault, CHIPS), WHERE)


def refused(laptop: Laptop) -> str | None:
    """Return what the refusal to load is without, None where there is none."""
    now = state(laptop)
    if not now.evidence.unsure:
        refuse_unsure(laptop.vault, now.vessel, WHERE, now.swap)
        return None
    with pytest.raises(VaultDamaged) as refusal:
        refuse_unsure(laptop.vault, now.vessel, WHERE, now.swap)
    assert refusal.value.code == "swap-selection-unsure"
    return refusal.value.found


def selected(laptop: Laptop) -> tuple[bool | None, bool]:
    """Return whether it is met which copy is selected, and whether it is required."""
    answer = state(laptop).readiness()
    met = next(each.met for each in answer.conditions if each.condition == "copy-selected")
    return met, "copy-selected" in answer.required


def test_with_every_record_there_the_chosen_copy_is_the_one(laptop: Laptop) -> None:
    """And nothing is lost."""
    assert refused(laptop) is None
    assert state(laptop).copy == laptop.position().copies[0]
    assert selected(laptop) == (True, False)


def test_a_choice_that_is_damaged_is_never_taken_for_no_choice(laptop: Laptop) -> None:
    """Nothing names the newest record: the vault itself says that it cannot be read."""
    digest, kind = records(laptop)[-1]
    assert kind == "swap-copy-selected"
    damage(laptop, digest)
    now = state(laptop)
    assert now.swap is not None
    assert now.swap.selection is None
    assert now.copy == laptop.latest()  # not the one that was chosen
    assert refused(laptop) == f"without records/{digest[:2]}/{digest[:12]}…"
    assert selected(laptop) == (None, True)
    assert "copy-selected" in now.readiness().missing


def test_a_choice_that_is_gone_is_missed_where_a_later_record_names_it(laptop: Laptop) -> None:
    """By what it came after."""
    digest, _ = records(laptop)[-1]
    recording.answer(laptop.vault, WHERE, [recording.GivenAnswer("permit", "yes", "14")], by=BY)
    damage(laptop, digest)
    assert refused(laptop) is not None
    path = laptop.root / "records" / digest[:2] / f"{digest}.json"
    path.unlink()
    assert refused(laptop) == f"without records/{digest[:2]}/{digest[:12]}…"


def test_a_new_choice_settles_what_was_lost_before_it(laptop: Laptop) -> None:
    """Whatever it said, the copy is named again."""
    damage(laptop, records(laptop)[-1][0])
    recording.select_copy(laptop.vault, WHERE, laptop.position().copies[0], why="again", by=BY)
    assert refused(laptop) is None
    assert selected(laptop)[0] is True


def test_what_was_lost_before_the_opening_does_not_matter(tmp_path: Path) -> None:
    """The swap was opened in knowledge of it; without a swap it does."""
    laptop = Laptop(tmp_path / "one")
    laptop.verified()
    recording.open_swap(
        Assessor(laptop.vault), WHERE, why="dead", by=BY, route="load", old_card=None, new_card=None
    )
    recording.answer(laptop.vault, WHERE, [recording.GivenAnswer("permit", "yes", "14")], by=BY)
    ending.abandon(laptop.vault, WHERE, tests=(), by=BY, reason="no spare")
    lost = next(digest for digest, kind in records(laptop) if kind == "swap-answer")
    damage(laptop, lost)
    vessel = laptop.fleet.vessels[0]
    assert lost_since(laptop.vault, vessel, None) == (lost,)
    recording.open_swap(
        Assessor(laptop.vault),
        WHERE,
        why="again",
        by=BY,
        route="load",
        old_card=None,
        new_card=None,
    )
    assert refused(laptop) is None
    laptop.close()
