"""A swap as its records tell it: what proves the contents, what it goes by, how it ended."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import pytest

from parambak.errors import NotFound, NotProven
from parambak.keeping.assess import Assessor
from parambak.keeping.recording.cards import enter_card
from parambak.keeping.state.bodies import (
    DumpEntry,
    FunctionTest,
    ImageEntry,
    LoadFileBody,
    ReadBackBody,
    SwapOpenedBody,
)
from parambak.keeping.state.conditions import questions
from parambak.memory.image import Image
from parambak.swap import ending, recording
from parambak.swap.read_back import AFTER_POWER, BEFORE_POWER
from parambak.swap.recording import Release, record_load_file
from parambak.swap.swaps import (
    ReadBackStep,
    Released,
    SelectedCopy,
    Step,
    Swap,
    ended_words,
    newest_open,
    swaps_at,
)
from tests.keeping.conftest import LAYOUT, WHERE, Laptop, image
from tests.swap.conftest import BY, PASSED, accepted, closed, newest, opened, read_back

if TYPE_CHECKING:
    from pathlib import Path

NOT_FINISHED = "swap-not-finished"
NOON = datetime(2026, 3, 1, 12, tzinfo=UTC)
RIGHT = ImageEntry(sha256="ab" * 32, ranges=((0, 4),))
OTHER = ImageEntry(sha256="cd" * 32, ranges=((0, 4),))


def step(number: int, *, file: int | None = None, **members: Any) -> ReadBackStep:
    """Return a good read-back before power, from a file of its own unless `file` names one."""
    at = number if file is None else file
    dump = DumpEntry(
        sha256=f"{at:064x}",
        name=f"R{at}.BIN",
        format="raw",
        bytes=4,
        modified=1_700_000_000_000_000_000 + at,
        path_mark=f"{at:064x}",
        file_mark=f"{at:064x}",
    )
    shape: dict[str, Any] = {
        "position": "p",
        "selected": RIGHT,
        "image": RIGHT,
        "dumps": (dump,),
        "stage": BEFORE_POWER,
        "loaded_correctly": True,
        "differing_bytes": 0,
        "running_bytes": 0,
    }
    return ReadBackStep(f"{number:064x}", None, NOON, ReadBackBody(**shape | members))


def swap(*read_backs: ReadBackStep, **members: Any) -> Swap:
    """Return an open swap with these read-backs."""
    opened = SwapOpenedBody(swap="s", position="p", route="load", why="x")
    return Swap("s", "v", Step("r", None, NOON), opened, read_backs=list(read_backs), **members)


def proven(*read_backs: ReadBackStep, **members: Any) -> list[int]:
    """Return the numbers of the read-backs that prove the contents."""
    return [int(each.record, 16) for each in swap(*read_backs, **members).proof]


WRONG: dict[str, Any] = {"loaded_correctly": False, "differing_bytes": 1}


def test_two_read_backs_made_apart_prove_the_contents() -> None:
    """One does not, and neither does the same file twice."""
    assert swap().unproven == "no read-back in this swap"
    assert proven(step(1)) == []
    assert swap(step(1)).unproven == (
        "two separate reads are required; correct so far: before-power: 1 read"
    )
    assert proven(step(1), step(2, file=1)) == []
    assert "count once" in (swap(step(1), step(2, file=1)).unproven or "")
    assert proven(step(1), step(2)) == [1, 2]


def test_both_are_of_one_stage() -> None:
    """One before power and one after it are one of each."""
    assert proven(step(1), step(2, stage=AFTER_POWER)) == []
    told = swap(step(1), step(2, stage=AFTER_POWER)).unproven
    assert told is not None
    assert told.endswith("before-power: 1 read; after-power: 1 read")
    assert proven(step(1), step(2, stage=AFTER_POWER), step(3, stage=AFTER_POWER)) == [1, 2, 3]


def test_one_that_is_wrong_takes_the_proof_away() -> None:
    """From then on two good ones are needed again; the wrong file is named."""
    assert proven(step(1), step(2), step(3, **WRONG)) == []
    assert swap(step(1), step(2), step(3, **WRONG)).unproven == (
        "the newest read-back, R3.BIN, was not loaded correctly"
    )
    assert proven(step(1), step(2), step(3, **WRONG), step(4)) == []
    assert proven(step(1), step(2), step(3, **WRONG), step(4), step(5)) == [4, 5]


def test_those_against_another_copy_do_not_count() -> None:
    """Neither the old ones next to a new one, nor all where another copy is selected now."""
    assert proven(step(1, selected=OTHER), step(2, selected=OTHER), step(3)) == []
    assert proven(step(1, selected=OTHER), step(2), step(3)) == [2, 3]
    assert proven(step(1), step(2, selected=OTHER), step(3)) == []
    chosen = SelectedCopy("c", None, NOON, OTHER, "why")
    both = (step(1), step(2))
    assert proven(*both, selection=chosen) == []
    assert swap(*both, selection=chosen).unproven == (
        "the read-backs were compared with a copy that is not the one selected now"
    )
    assert proven(*both, selection=SelectedCopy("c", None, NOON, RIGHT, "why")) == [1, 2]


def test_by_values_two_have_to_be_the_same_bytes() -> None:
    """As nothing else says that both passes read one memory."""
    same = (step(1, by_values=True), step(2, by_values=True))
    other = step(2, by_values=True, image=OTHER)
    assert proven(*same) == [1, 2]
    assert proven(same[0], other) == []
    assert (swap(same[0], other).unproven or "").endswith("two must have the same bytes")
    assert proven(step(1), step(2, image=OTHER)) == [1, 2]


def released(number: int, selected: ImageEntry, **members: Any) -> Released:
    """Return a file that was written for loading."""
    body = LoadFileBody(
        position="p", image=selected, format="raw", file_sha256="ef" * 32, sum16="0000", **members
    )
    return Released(f"{number:064x}", None, NOON, body)


def test_the_copy_that_is_meant_is_the_chosen_else_the_one_released_last() -> None:
    """Neither: none."""
    files = [released(1, RIGHT), released(2, OTHER)]
    assert swap().expected is None
    assert swap(released=files).expected == OTHER
    chosen = SelectedCopy("c", None, NOON, RIGHT, "why")
    assert swap(released=files, selection=chosen).expected == RIGHT


def test_the_newest_release_unverified_is_found() -> None:
    """Whatever was released behind it."""
    files = [released(1, RIGHT, unverified=True), released(2, RIGHT, unverified=True)]
    assert swap(released=[*files, released(3, RIGHT)]).unverified is files[1]
    assert swap(released=[released(3, RIGHT)]).unverified is None


def test_each_step_is_read_from_its_record(laptop: Laptop) -> None:
    """With the mark of who and the clock; the last answer to a condition holds."""
    opened(laptop, new_card="PC-2")
    vault = laptop.vault
    for answer, text in (("no", "not yet"), ("yes", "permit 14")):
        given = [recording.GivenAnswer("permit", answer, text)]
        recording.answer(vault, WHERE, given, by=BY)
    recording.select_copy(vault, WHERE, laptop.latest(), why="older", by=BY)
    accepted(laptop, "authorised")
    release = Release("raw", ("ab" * 32,), swap=newest(laptop).id, unverified=True, by=BY)
    record_load_file(vault, laptop.position(), laptop.latest(), Image.of(image()), release)
    read_back(laptop, image())
    now = newest(laptop)
    assert (now.route, now.body.why, now.end) == ("load", "dead", None)
    assert (now.answers["permit"].answer, now.answers["permit"].text) == ("yes", "permit 14")
    assert now.selection is not None
    assert (now.selection.image, now.selection.why) == (laptop.latest().image, "older")
    (deviation,) = now.deviations
    assert (deviation.condition, deviation.text, deviation.reason) == (
        "authorised",
        f"not answered: {questions()['authorised']}",
        "at sea",
    )
    assert now.unverified is not None
    (back,) = now.read_backs
    steps = [now.opened, now.answers["permit"], now.selection, deviation, now.unverified, back]
    assert [vault.person(each.by or "") for each in steps] == [BY] * len(steps)
    assert [each.at for each in steps] == sorted(each.at for each in steps)
    assert back.call != back.record
    assert not back.untimed


def test_a_failed_test_stays_on_record_and_closes_nothing(laptop: Laptop) -> None:
    """And is named."""
    opened(laptop)
    read_back(laptop, image(), 2)
    bad = (FunctionTest(name="stop", result="failed"), FunctionTest(name="go", result="passed"))
    with pytest.raises(NotProven) as refusal:
        closed(laptop, tests=bad)
    assert refusal.value.code == "swap-not-finished"
    assert refusal.value.found == "function-tests: failed, and did not pass since: stop"
    (tested,) = newest(laptop).tested
    assert tested.tests == bad


def test_it_closes_with_both_proofs_only(laptop: Laptop) -> None:
    """Two read-backs and a test that passed; the read-backs are the proof on record."""
    opened(laptop)
    read_back(laptop, image())
    with pytest.raises(NotProven) as refusal:
        closed(laptop)
    assert (refusal.value.code, "contents-proven" in refusal.value.text) == (NOT_FINISHED, True)
    read_back(laptop, image())
    with pytest.raises(NotProven) as refusal:
        closed(laptop, tests=())
    assert (refusal.value.code, "function-tests" in refusal.value.text) == (NOT_FINISHED, True)
    proof = tuple(each.record for each in newest(laptop).proof)
    answer = closed(laptop)
    assert (answer.reads, answer.by_bytes) == (2, True)
    (swap_now,) = swaps_at(laptop.vault, laptop.fleet.vessels[0], laptop.position())
    assert swap_now.end is not None
    assert (swap_now.end.outcome, swap_now.end.taken_in) == ("closed", proof)
    assert swap_now.end.tests == PASSED
    assert "closed on 2026-03-01" in ended_words(swap_now)
    with pytest.raises(NotFound) as none:
        newest(laptop)
    assert "the last one was closed on" in (none.value.found or "")


def test_closing_moves_both_cards(laptop: Laptop) -> None:
    """The new one into the unit, the old one to where it was sent."""
    opened(laptop, old_card="PC-1", new_card="PC-2")
    read_back(laptop, image(), 2)
    answer = closed(laptop)
    assert answer.cards == ("old card PC-1: ashore", "new card PC-2: in grebe/port-thruster")
    cards = {card.serial: card.facts for card in laptop.fleet.vessels[0].cards}
    assert cards["PC-1"]["location"] == "ashore"
    assert not cards["PC-1"].get("unit")
    assert (cards["PC-2"]["location"], cards["PC-2"]["unit"]) == ("in a unit", "port-thruster")


def test_an_old_card_that_was_fitted_elsewhere_meanwhile_stays_there(laptop: Laptop) -> None:
    """What is on record later is not written over, and that is said."""
    laptop.take(image(3), where="grebe/stbd-thruster/U12", layout=LAYOUT, chip="T256")
    opened(laptop, old_card="PC-1", new_card="PC-2")
    read_back(laptop, image(), 2)
    enter_card(
        laptop.vault,
        vessel="grebe",
        serial="PC-1",
        location="in a unit",
        card_type=None,
        by=None,
        unit="stbd-thruster",
    )
    answer = closed(laptop)
    assert answer.cards[0] == "old card PC-1: stays on record in grebe/stbd-thruster"
    cards = {card.serial: card.facts for card in laptop.fleet.vessels[0].cards}
    assert (cards["PC-1"]["location"], cards["PC-1"]["unit"]) == ("in a unit", "stbd-thruster")


def test_of_two_laptops_ends_the_closing_one_holds(laptop: Laptop, tmp_path: Path) -> None:
    """And a read-back that closing did not know of is seen."""
    opened(laptop)
    read_back(laptop, image(), 2)
    other = laptop.copy_to(tmp_path / "two")
    read_back(other, image(9))
    ending.abandon(Assessor(other.vault), WHERE, tests=(), by=BY, reason="no spare")
    closed(laptop)
    laptop.merge_from(other)
    (merged,) = swaps_at(laptop.vault, laptop.fleet.vessels[0], laptop.position())
    assert merged.end is not None
    assert merged.end.outcome == "closed"
    assert len(merged.ends) == 2
    assert ended_words(merged).endswith("by two laptops")
    (unknown,) = merged.unknown_to_end
    assert not unknown.body.loaded_correctly
    other.close()


def test_of_several_open_swaps_the_last_opened_is_the_one(laptop: Laptop, tmp_path: Path) -> None:
    """As two laptops may leave them."""
    other = laptop.copy_to(tmp_path / "two")
    opened(laptop)
    other.now = laptop.now
    recording.open_swap(
        Assessor(other.vault), WHERE, why="later", by=BY, route="load", old_card=None, new_card=None
    )
    laptop.merge_from(other)
    every = swaps_at(laptop.vault, laptop.fleet.vessels[0], laptop.position())
    assert len(every) == 2
    now = newest_open(every)
    assert now is every[-1]
    other.close()


def test_read_backs_of_one_command_are_one_call() -> None:
    """One that names no call is a call of its own."""
    assert step(1, call="c").call == step(2, call="c").call == "c"
    assert [step(number).call for number in (1, 2)] == [f"{number:064x}" for number in (1, 2)]
