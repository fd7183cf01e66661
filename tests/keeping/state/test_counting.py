"""Which records count, once some of them are withdrawn: the same in any order, after any merge."""

from __future__ import annotations

import random
import re
from pathlib import Path
from typing import TYPE_CHECKING

from parambak.keeping.state.counting import withdrawals_of, without
from parambak.vault.records import Clock, Record, Stored, encode, file_of

if TYPE_CHECKING:
    from collections.abc import Sequence

SHIP = "3fa2c0de" * 4


def stored(kind: str, body: dict[str, object], minute: int = 0) -> Stored:
    """Return a record as the vault holds it."""
    clock = Clock(utc=f"2026-03-01T08:{minute:02d}:00Z", offset=0)
    record = Record(
        format=1,
        kind=kind,
        after=(),
        clock=clock,
        writer="0b5e55ed" * 4,
        objects=(),
        body=body,
        vessel=SHIP,
    )
    digest = encode(record)[0]
    return Stored(digest, record, file_of(digest))


def withdrawn(*records: Stored, why: str = "typed wrong") -> Stored:
    """Return a record that withdraws these."""
    digests = [record.digest for record in records]
    return stored("withdrawn", {"records": digests, "what": "a read", "why": why})


def counting(*records: Stored) -> list[str]:
    """Return the notes that count, in order."""
    left = without(records, withdrawals_of(records))
    return [str(s.record.body["text"]) for s in left if s.record.kind == "note"]


A, B, C = (stored("note", {"text": text}) for text in "abc")


def test_a_withdrawn_record_does_not_count() -> None:
    """And the others do."""
    assert counting(A, B, C, withdrawn(B)) == ["a", "c"]
    assert counting(A, B, C, withdrawn(A, C)) == ["b"]


def test_records_are_the_same_sequence_if_none_is_withdrawn() -> None:
    """So that nothing is copied, or folded again."""
    records = (A, B)
    assert without(records, withdrawals_of(records)) is records


def test_a_withdrawal_that_is_withdrawn_withdraws_nothing() -> None:
    """And taken back once more, it does again."""
    first = withdrawn(B)
    second = withdrawn(first)
    third = withdrawn(second)
    assert counting(A, B, first, second) == ["a", "b"]
    assert counting(A, B, first, second, third) == ["a"]


def test_two_people_withdraw_one_record() -> None:
    """One of them takes it back; the other's withdrawal still counts."""
    mine, other = withdrawn(B, why="mine"), withdrawn(B, why="other")
    assert counting(A, B, mine, other, withdrawn(mine)) == ["a"]
    assert counting(A, B, mine, other, withdrawn(mine, other)) == ["a", "b"]


def test_a_withdrawal_of_another_shape_withdraws_nothing() -> None:
    """It is damage, which the fold names."""
    for body in ({"records": [], "what": "x"}, {"records": [A.digest]}, {"what": "x"}):
        assert counting(A, stored("withdrawn", dict(body))) == ["a"]


def test_the_answer_is_the_same_in_any_order() -> None:
    """Of many withdrawals of notes and of each other."""
    chance = random.Random(7)
    for _ in range(200):
        records = [A, B, C]
        for minute in range(chance.randrange(1, 9)):
            named = chance.sample(records, chance.randrange(1, 3))
            digests = [note.digest for note in named]
            body: dict[str, object] = {"records": digests, "what": "x", "why": str(minute)}
            records.append(stored("withdrawn", body, minute))
        assert {_counting_shuffled(chance, records) for _ in range(5)} == {
            frozenset(_by_definition(records))
        }


def _counting_shuffled(chance: random.Random, records: list[Stored]) -> frozenset[str]:
    shuffled = chance.sample(records, len(records))
    return frozenset(counting(*shuffled))


def _by_definition(records: Sequence[Stored]) -> set[str]:
    """Go through the withdrawals from the newest: each can only name records before it."""
    gone: set[str] = set()
    for record in reversed(records):
        if record.record.kind == "withdrawn" and record.digest not in gone:
            gone.update(record.record.body["records"])
    return {
        str(s.record.body["text"])
        for s in records
        if s.record.kind == "note" and s.digest not in gone
    }


# Files that read every record, withdrawn or not, and why.
ALL_RECORDS = {
    "answers/accept_loss.py": "what is lost",
    "answers/recheck.py": "what is lost with damage, and seals",
    "answers/recover.py": "what is lost with damage",
    "answers/seal.py": "the seal covers all",
    "answers/withdrawn_shown.py": "shows what was withdrawn",
    "keeping/recording/losses.py": "what is lost",
    "keeping/recording/withdrawing.py": "withdraws withdrawals too",
    "keeping/state/backups.py": "whether there is any location",
    "keeping/state/cards.py": "the order; then leaves out what was withdrawn",
    "keeping/state/counting.py": "decides what counts",
    "keeping/state/fold.py": "the order and what was brought in; then as above",
    "keeping/state/losses.py": "what is lost with damage",
    "keeping/state/lost_records.py": "what is lost",
    "keeping/state/vessel_names.py": "the order; then as above",
    "reports/parts.py": "the seal",
    "swap/swaps.py": "the order; then as above",
}


def test_what_is_worked_out_from_records_leaves_out_what_was_withdrawn() -> None:
    """Every other file asks `counting.py`: the vault's own lists have all records."""
    package = Path(__file__).parents[3] / "parambak"
    asked = re.compile(r"vault\.(records|of_kind|telling|vessels_with)\(")
    files = {
        path.relative_to(package).as_posix()
        for room in ("keeping", "swap", "reports", "answers", "demo")
        for path in (package / room).rglob("*.py")
        if asked.search(path.read_text("utf-8"))
    }
    assert files - ALL_RECORDS.keys() == set()
    assert ALL_RECORDS.keys() - files == set()
