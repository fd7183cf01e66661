"""Reads that are moved: what cannot be, and what an interruption leaves."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from parambak.errors import CallRefused
from parambak.keeping.recording.entries import correct
from parambak.keeping.state.bodies import ImageEntry, ReadBackBody, SwapClosedBody
from parambak.vault.vault import Writing
from tests.keeping.conftest import WHERE, image

if TYPE_CHECKING:
    from tests.keeping.conftest import Laptop

OTHER = "wader/crane/U7"


def test_a_read_back_is_not_moved(laptop: Laptop) -> None:
    """It belongs to its swap: correct-read-back."""
    laptop.take(image())
    position = laptop.fleet.vessels[0].positions[0]
    vessel = laptop.fleet.vessels[0].id
    with laptop.vault.writing() as writing:
        digest = writing.put(b"loaded")
        entry = ImageEntry(sha256=digest, ranges=((0, 6),))
        body = ReadBackBody(
            position=position.id,
            selected=entry,
            image=entry,
            dumps=(),
            stage="after-power",
            loaded_correctly=True,
            differing_bytes=0,
        )
        record = writing.add(body.kind, vessel, body.members(), relies_on=[digest])
        end = SwapClosedBody(swap="0" * 32, outcome="closed", taken_in=(record,))
        writing.add(end.kind, vessel, end.members())
    with pytest.raises(CallRefused) as refusal:
        correct(laptop.vault, f"{WHERE}@latest", {"position": OTHER}, by=None, why=None)
    assert refusal.value.code == "correct-read-back"


def test_a_move_that_was_interrupted_is_completed_by_the_same_command(
    laptop: Laptop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Between the two records the read is at both; then at the new vessel alone, once."""
    laptop.take(image())
    original = Writing.add

    def interrupted(writing: Writing, kind: str, *words: object, **more: object) -> str:
        if kind == "withdrawn":
            raise KeyboardInterrupt
        return original(writing, kind, *words, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(Writing, "add", interrupted)
    with pytest.raises(KeyboardInterrupt):
        correct(laptop.vault, f"{WHERE}@latest", {"position": OTHER}, by=None, why=None)
    assert reads(laptop) == {WHERE: 1, OTHER: 1}
    monkeypatch.undo()
    correct(laptop.vault, f"{WHERE}@latest", {"position": OTHER}, by=None, why=None)
    assert reads(laptop) == {OTHER: 1}


def reads(laptop: Laptop) -> dict[str, int]:
    """Return the positions with the number of their reads."""
    return {p.where: len(p.reads) for v in laptop.fleet.vessels for p in v.positions}
