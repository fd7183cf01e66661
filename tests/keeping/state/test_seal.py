from __future__ import annotations

import random
from typing import TYPE_CHECKING

import pytest

from parambak.errors import CallRefused
from parambak.keeping.state.seal import (
    Seal,
    SealMatch,
    judge,
    match_seal,
    read,
    seal_of,
    write,
)
from parambak.vault.records import Clock, Record, Stored, encode, file_of

if TYPE_CHECKING:
    from collections.abc import Sequence

ONE = Seal("grebe", 4, ("71d6e46971cab47d",))
FORK = Seal("grebe~3fa2", 17, ("03310cd0e2bb7dc2", "71d6e46971cab47d"))
WRITTEN = "grebe, 4 records, ends 71d6 e469 71ca b47d, check 60"


def stored(number: int, after: Sequence[Stored] = (), kind: str = "note") -> Stored:
    """Return an invented record."""
    record = Record(
        format=1,
        kind=kind,
        vessel="3fa2c0de" * 4,
        after=tuple(sorted(each.digest for each in after)),
        clock=Clock(utc="2026-11-25T13:49:40Z", offset=0),
        writer="0b" * 16,
        objects=(),
        body={"n": number},
    )
    digest, _ = encode(record)
    return Stored(digest, record, file_of(digest))


FIRST = stored(1)
LEFT, RIGHT = stored(2, [FIRST]), stored(3, [FIRST])
LAST = stored(4, [LEFT, RIGHT])


def test_it_is_written_as_the_page_has_it() -> None:
    """The example of formats/vault.md."""
    assert write(ONE) == WRITTEN


@pytest.mark.parametrize("sealed", [ONE, FORK, Seal("a", 1, ("0" * 16,))])
def test_what_is_written_is_read_back(sealed: Seal) -> None:
    """Round trip; a fork has all its ends."""
    assert read(write(sealed)) == (sealed,)


@pytest.mark.parametrize(
    "text",
    [
        WRITTEN.upper(),
        WRITTEN.replace(" ", "  \n"),
        WRITTEN.replace(" ", ""),
        "grebe, 4 records,\r\n  ends 71d6e469 71cab47d\r\ncheck 60.",
        WRITTEN.replace(" ", "\u00a0"),
    ],
)
def test_case_spaces_and_line_ends_do_not_matter(text: str) -> None:
    """As copied from paper by hand, or from a mail."""
    assert read(text) == (ONE,)


def test_several_lines_may_follow_each_other() -> None:
    """A whole file of them is one argument."""
    assert read(f"{write(ONE)}\n{write(FORK)}\n") == (ONE, FORK)


def refused(text: str) -> bool:
    """Return whether a text is refused as mistyped."""
    try:
        read(text)
    except CallRefused as error:
        return error.code == "seal-mistyped"
    return False


def test_every_single_mistyped_character_is_found() -> None:
    """Of name, number, digits and check digits, each crossed over for every other."""
    for place, right in enumerate(WRITTEN):
        for wrong in "0123456789abcdefghijklmnopqrstuvwxyz-.~":
            text = WRITTEN[:place] + wrong + WRITTEN[place + 1 :]
            if right not in (" ", wrong):
                assert refused(text), text


def test_every_swap_of_two_characters_is_found() -> None:
    """Of neighbours, and of two with one between, the spaces not counted."""
    bare = WRITTEN.replace(" ", "")
    for apart in (1, 2):
        for place in range(len(bare) - apart):
            swapped = list(bare)
            swapped[place], swapped[place + apart] = swapped[place + apart], swapped[place]
            if swapped != list(bare):
                assert refused("".join(swapped)), "".join(swapped)


@pytest.mark.parametrize(
    "text", ["", " \n", "grebe", "x" * 100_000, WRITTEN * 400, WRITTEN + " and more", "é" + WRITTEN]
)
def test_what_is_no_line_is_refused(text: str) -> None:
    """Bounded, and with an answer."""
    with pytest.raises(CallRefused) as refusal:
        read(text)
    assert refusal.value.code == "seal-mistyped"


def test_noise_is_refused() -> None:
    """No text makes anything but a refusal."""
    chance = random.Random(5)
    for _ in range(500):
        text = list(WRITTEN)
        for _ in range(chance.randrange(2, 6)):
            text[chance.randrange(len(text))] = chr(chance.randrange(1, 0x2000))
        refused("".join(text))


def test_the_seal_of_a_history_names_its_ends() -> None:
    """One end, or both of a fork, over all identities that are the ship."""
    assert seal_of("Grebe", [[FIRST, LEFT, RIGHT, LAST]]) == Seal("grebe", 4, (LAST.digest[:16],))
    fork = seal_of("grebe", [[FIRST, LEFT, RIGHT]])
    assert (fork.records, set(fork.ends)) == (3, {LEFT.digest[:16], RIGHT.digest[:16]})
    other = stored(9)
    both = seal_of("grebe", [[FIRST], [other]])
    assert (both.records, set(both.ends)) == (2, {FIRST.digest[:16], other.digest[:16]})


def state(sealed: Seal, records: Sequence[Stored]) -> tuple[str, int | None]:
    """Return the verdict on a seal if these records are in the vault."""
    verdict = judge(sealed, [match_seal(sealed, records)], len(records))
    return verdict.state, verdict.since


def test_what_locations_hold_closes_no_history() -> None:
    """The seal made after a sending is that of what was sent: the location has no more."""
    held = stored(5, [LAST], "held")
    again = stored(6, [held], "held")
    sent = [FIRST, LEFT, RIGHT, LAST]
    sealed = seal_of("grebe", [[*sent, held, again]])
    assert sealed == seal_of("grebe", [sent])
    assert judge(sealed, [match_seal(sealed, sent)], 4).state == "whole"
    later = stored(7, [again])
    whole = seal_of("grebe", [[*sent, held, again, later]])
    assert whole == Seal("grebe", 7, (later.digest[:16],))
    assert judge(sealed, [match_seal(sealed, [*sent, held, again, later])], 7).since == 3


def test_a_whole_history_says_how_much_came_since() -> None:
    """Later records, a fork among them, do not matter."""
    early = seal_of("grebe", [[FIRST]])
    assert state(early, [FIRST]) == ("whole", 0)
    assert state(early, [FIRST, LEFT, RIGHT]) == ("whole", 2)


def test_a_cut_history_is_found() -> None:
    """The newest gone, one end of a fork gone, a record from the middle, the whole vessel."""
    sealed = seal_of("grebe", [[FIRST, LEFT, RIGHT, LAST]])
    assert state(sealed, [FIRST, LEFT, RIGHT])[0] == "cut"
    assert state(sealed, [FIRST, RIGHT, LAST])[0] == "cut"
    assert state(sealed, [])[0] == "cut"
    fork = seal_of("grebe", [[FIRST, LEFT, RIGHT]])
    assert state(fork, [FIRST, LEFT])[0] == "cut"


def test_another_number_of_records_is_found() -> None:
    """The digits are of this history, the number is not: the seal is not of this history."""
    sealed = seal_of("grebe", [[FIRST, LEFT, RIGHT, LAST]])
    assert state(sealed._replace(records=3), [FIRST, LEFT, RIGHT, LAST])[0] == "cut"


def test_a_cut_is_told_in_words() -> None:
    """With the digits that the person has on paper, and what to do."""
    verdict = judge(ONE, [SealMatch(frozenset(), 0)], 3)
    assert verdict.text == (
        "the history of grebe was cut: its newest record at the seal, 71d6 e469 71ca b47d, is not "
        "in this vault; 3 of 4 are left"
    )
    assert verdict.next is not None
    assert "another copy" in verdict.next
