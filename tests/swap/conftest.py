"""What the tests of swaps share: a laptop with a verified copy, and the steps of a swap."""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

import pytest

from parambak.keeping.assess import Assessor
from parambak.keeping.recording.filing import new_identity
from parambak.keeping.state.bodies import BackupLocationBody, FunctionTest, HeldBody
from parambak.memory.image import Image
from parambak.swap import ending, recording
from parambak.swap.closing import GivenNow
from parambak.swap.guard import Acceptance, acceptable, cleared
from parambak.swap.read_back import BEFORE_POWER, compare
from parambak.swap.state import swap_state
from parambak.swap.swaps import the_open_swap
from parambak.vault.order import heads
from tests.keeping.conftest import CHIPS, WHERE, Laptop, hold_refusals, image, incoming

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from parambak.keeping.state.model import Copy
    from parambak.swap.swaps import Swap
    from parambak.vault.vault import Vault

BY = "A. Invented"
PASSED = (FunctionTest(name="stop", result="passed"),)


@pytest.fixture
def laptop(tmp_path: Path) -> Iterator[Laptop]:
    """Return a laptop with a verified copy."""
    made = Laptop(tmp_path / "one")
    made.verified()
    yield made
    made.close()


@pytest.fixture(autouse=True)
def _no_flush(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("os.fsync", lambda _: None)


@pytest.fixture(autouse=True)
def _refusals_are_whole(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every refusal says what was expected, and what was found."""
    hold_refusals(monkeypatch, "swap")


def opened(
    laptop: Laptop, where: str = WHERE, why: str = "dead", **cards: str | None
) -> tuple[str, ...]:
    """Open a swap; return what the record says against its cards."""
    named = {"old_card": None, "new_card": None, **cards}
    assessor = Assessor(laptop.vault, CHIPS)
    return recording.open_swap(assessor, where, why=why, by=BY, route="load", **named).notes


def newest(laptop: Laptop, where: str = WHERE) -> Swap:
    """Return the open swap."""
    return the_open_swap(laptop.vault, laptop.fleet.vessels[0], laptop.position(where))


def read_back(laptop: Laptop, data: bytes, count: int = 1, copy: Copy | None = None) -> None:
    """Put so many read-backs of these bytes on record, against a copy of `image()`."""
    found = compare(Image.of(image()), Image.of(data), BEFORE_POWER)
    reads = [(incoming(data), found) for _ in range(count)]
    recording.record_read_back(
        laptop.vault,
        laptop.position(),
        copy or laptop.latest(),
        reads,
        by=BY,
        swap=newest(laptop).id,
    )


def accepted(laptop: Laptop, condition: str, reason: str = "at sea", where: str = WHERE) -> None:
    """Accept one condition of the open swap unmet."""
    state = swap_state(laptop.fleet, Assessor(laptop.vault, CHIPS), where)
    acceptance = Acceptance((condition,), reason, BY)
    with laptop.vault.writing() as writing:
        cleared(state, acceptance).put(writing, acceptance)


def closed(
    laptop: Laptop,
    where: str = WHERE,
    *,
    tests: tuple[FunctionTest, ...] = PASSED,
    reason: str = "accepted at sea",
    old_card_to: str | None = "ashore",
    emergency: bool = False,
) -> ending.Closed:
    """Close the swap, with each condition accepted that can be and is missing."""
    assessor, given = Assessor(laptop.vault, CHIPS), GivenNow(tests, old_card_to)
    state = swap_state(laptop.fleet, assessor, where, loaded=True, now=given)
    able = set(acceptable(closing=True)).intersection(state.readiness(closing=True).missing)
    acceptance = Acceptance(tuple(sorted(able)), reason, BY)
    how = ending.Ending(BY, reason, given, acceptance, emergency=emergency)
    return ending.close(assessor, where, how)


def abandoned(laptop: Laptop, where: str = WHERE, reason: str | None = "no spare") -> None:
    """Give the swap up."""
    ending.abandon(Assessor(laptop.vault, CHIPS), where, tests=PASSED, by=BY, reason=reason)


class Holder(Protocol):
    """What has a vault."""

    @property
    def vault(self) -> Vault:
        """Return the vault."""


def shown_to_hold(laptop: Holder, location: str | None = None, *, hashed: bool = True) -> str:
    """Put on record that a backup location holds all that is there now; return its identity."""
    vault = laptop.vault
    (vessel,) = vault.vessels()
    office = BackupLocationBody(location=location or new_identity(), name="office", address="/o")
    body = HeldBody(
        location=office.location,
        name="office",
        heads=tuple(sorted(each.digest for each in heads(vault.records(vessel)))),
        records=1,
        objects=1,
        hashed=hashed,
    )
    with vault.writing() as writing:
        if location is None:
            writing.add(office.kind, None, office.members())
        writing.add(body.kind, vessel, body.members())
    return body.location
