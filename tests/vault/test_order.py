from __future__ import annotations

import random

from parambak.vault.order import causal_order, heads
from parambak.vault.records import Clock, Record, Stored


def stored(name: str, after: str = "", second: int = 0) -> Stored:
    """Return a record named by one letter, 64 times, after others named in the same way."""
    record = Record(
        format=1,
        kind="note",
        after=tuple(sorted(letter * 64 for letter in after)),
        clock=Clock(utc=f"2026-11-25T13:49:{second:02d}Z", offset=0),
        writer="0" * 32,
        objects=(),
        body={},
    )
    return Stored(name * 64, record, f"records/{name * 2}/{name * 64}.json")


def names(records: tuple[Stored, ...]) -> str:
    """Return the letters of records, in order."""
    return "".join(each.digest[0] for each in records)


def test_what_was_known_comes_first_whatever_the_clocks_say() -> None:
    """A record comes after those it is `after`, even if its clock ran an hour slow."""
    assert names(causal_order([stored("a", "b", second=1), stored("b", second=59)])) == "ba"


def test_concurrent_records_go_by_clock_then_digest() -> None:
    """Two records that knew nothing of each other go by time; two of one second by digest."""
    fork = [stored("a", second=0), stored("d", "a", 2), stored("c", "a", 9), stored("b", "a", 9)]
    assert names(causal_order(fork)) == "adbc"


def test_the_order_does_not_depend_on_the_order_of_arrival() -> None:
    """In any order at the start, records come out in one order: so merges agree."""
    history = [stored("a"), stored("b", "a", 5), stored("c", "a", 4), stored("d", "bc", 1)]
    history += [stored("e", "d", 7), stored("f", "b", 2)]
    expected = names(causal_order(history))
    chance = random.Random(1)
    for _ in range(50):
        chance.shuffle(history)
        assert names(causal_order(history)) == expected
    assert expected == "acbdfe"


def test_a_parent_that_is_not_there_holds_nobody_up() -> None:
    """A record whose `after` names a lost record is still listed."""
    assert names(causal_order([stored("b", "a")])) == "b"


def test_a_record_twice_is_one() -> None:
    """The index and a file may both bring the same record."""
    assert names(causal_order([stored("a"), stored("a")])) == "a"


def test_heads_are_what_nothing_is_after() -> None:
    """A fork has two heads; a record after both closes it."""
    fork = (stored("a"), stored("b", "a"), stored("c", "a"))
    assert names(heads(fork)) == "bc"
    assert names(heads((*fork, stored("d", "bc")))) == "d"
    assert heads(()) == ()


def test_a_long_history_needs_no_deep_stack() -> None:
    """Ten thousand records in a row are put in order one by one."""
    line = [
        stored("a")._replace(
            digest=f"{n:064x}",
            record=Record(
                format=1,
                kind="note",
                after=(f"{n - 1:064x}",) if n else (),
                clock=Clock(utc="2026-11-25T13:49:40Z", offset=0),
                writer="0" * 32,
                objects=(),
                body={},
            ),
        )
        for n in range(10_000)
    ]
    ordered = causal_order(reversed(line))
    assert [int(each.digest, 16) for each in ordered] == list(range(10_000))
