"""May the swap begin: every condition alone not met is named, and stops it."""

from __future__ import annotations

from datetime import date
from typing import Any, NamedTuple

import pytest

from parambak.keeping.state.closing import Closing
from parambak.keeping.state.conditions import (
    CONDITIONS,
    OPEN,
    PersonsAnswer,
    SheetEntry,
    SwapEvidence,
    names,
    questions,
)
from parambak.keeping.state.model import Condition
from parambak.keeping.state.rules import CAREFUL, Rules
from parambak.layouts.decode import Decoded, decode
from parambak.layouts.load import load
from parambak.memory.image import Image

LAYOUT = b"""
[layout]
title = "Invented"
memory = 4
[[field]]
name = "ramp"
at = 0
type = "u8"
unit = "s"
low = 10
high = 60
[[field]]
name = "mode"
at = 1
type = "u8"
"""
CARD_FIELD = b'[[field]]\nname = "zero_offset"\nat = 2\ntype = "u8"\nbelongs-to-card = true\n'
VERIFIED = ("read-twice", "stable", "plausible", "checks-hold", "unchanged-on-disk")
TOLD = tuple(condition.name for condition in CONDITIONS if condition.required is OPEN)
ALIKE = (SheetEntry("type", "TC-2", "TC-2", same=True),)


def verdict(**met: bool | None) -> tuple[Condition, ...]:
    """Return the conditions of a verdict, all met but what is stated."""
    keys = {name.replace("-", "_"): name for name in VERIFIED}
    return tuple(
        Condition(name, met.get(key, True), f"because of {name}") for key, name in keys.items()
    )


def decoded(ramp: int = 30, layout: bytes = LAYOUT) -> Decoded:
    """Return the fields of an invented memory."""
    return decode(load(layout), Image.of(bytes([ramp, 1, 2, 3])))


def told(word: str = "yes", text: str = "seen") -> PersonsAnswer:
    """Return what a person answered, and who."""
    return PersonsAnswer(word, text, "A. Invented, 2026-03-01")


COMPLETE = Condition.yes("records-complete", "every record is there")
ALL_TOLD = {name: told() for name in questions()}
PROVEN = Closing(
    contents=(True, "two separate read-backs"),
    before_power=(True, "2 reads"),
    after_power=(True, "1 read"),
    passed=("Stop", "ramp  up"),
    listed=("ramp up",),
    old_card_to="ashore",
)
PLACES = (("office", date(2026, 2, 1), True),)


def with_state(member: str, state: tuple[bool | None, str]) -> Closing:
    """Return the work of the closing with one state changed."""
    states: dict[str, Any] = {member: state}
    return PROVEN._replace(**states)


class Asked(NamedTuple):
    """Every condition's state, and the names of those that are required and not met."""

    conditions: tuple[Condition, ...]
    missing: tuple[str, ...]

    @property
    def ready(self) -> bool:
        """Return whether nothing is missing."""
        return not self.missing


def asked(*, rules: Rules = CAREFUL, **changed: Any) -> Asked:
    """Return every condition's state, everything sound and answered except what is changed."""
    sound: dict[str, Any] = {
        "copy": "grebe/port-thruster/U12@01234567",
        "verdict": verdict(),
        "decoded": decoded(),
        "sheet": True,
        "entries": ALIKE,
        "supplies": (True, "inside their limits"),
        "held": PLACES,
        "answers": ALL_TOLD,
        "closing": PROVEN,
        "records": COMPLETE,
    }
    evidence = SwapEvidence(**(sound | changed))
    states = tuple(condition.state(evidence) for condition in CONDITIONS)
    missing = tuple(
        condition.name
        for condition, state in zip(CONDITIONS, states, strict=True)
        if rules.requires(condition.name, by_default=condition.required.by_default(evidence))
        and not state.met
    )
    return Asked(states, missing)


def stopping(found: Asked) -> list[str]:
    """Return the required conditions that are not met."""
    return list(found.missing)


def answer(found: Asked, name: str) -> Condition:
    """Return one condition."""
    return next(each for each in found.conditions if each.condition == name)


def test_all_sound_is_ready() -> None:
    """Every condition is met, in the order of the work, each with its evidence."""
    found = asked()
    assert found.ready
    assert [each.condition for each in found.conditions] == list(names())
    assert all(each.met and each.text for each in found.conditions)


OTHER = (*ALIKE, SheetEntry("links.J1", "1-2", "2-3", same=False))
UNSTATED = (*ALIKE, SheetEntry("battery", "2026", "not stated", None))
# Each condition alone not met: what is stated, its name, its answer, words of its evidence.
ALONE: list[tuple[dict[str, Any], str, bool | None, str]] = [
    *[
        ({"verdict": verdict(**{name.replace("-", "_"): met})}, name, met, f"because of {name}")
        for name in VERIFIED
        for met in (False, None)
    ],
    ({"decoded": decoded(61)}, "within-limits", False, "ramp is 61 s"),
    ({"decoded": decoded(9)}, "within-limits", False, "ramp is 9 s"),
    ({"entries": OTHER}, "new-card", False, "links.J1: needs 1-2, has 2-3"),
    ({"entries": UNSTATED}, "new-card", None, "not stated on both sheets: battery"),
    ({"entries": ()}, "new-card", None, "neither sheet states anything"),
    *[
        ({"answers": ALL_TOLD | {name: told(word, "because")}}, name, met, "because")
        for name in TOLD
        for word, met in (("no", False), ("not-known", None))
    ],
    *[
        ({"answers": {k: v for k, v in ALL_TOLD.items() if k != name}}, name, None, "not answered")
        for name in TOLD
    ],
    *[
        ({"closing": with_state(member, (met, "because"))}, name, met, "because")
        for name, member in (
            ("contents-proven", "contents"),
            ("read-back-before-power", "before_power"),
            ("read-back-after-power", "after_power"),
        )
        for met in (False, None)
    ],
    (
        {"closing": PROVEN._replace(failed=("stop",))},
        "function-tests",
        False,
        "failed, and did not pass since: stop",
    ),
    (
        {"closing": PROVEN._replace(passed=(), listed=())},
        "function-tests",
        None,
        "no function test",
    ),
    (
        {"closing": PROVEN._replace(listed=("ramp up", "Blow down", "stop"))},
        "listed-tests",
        None,
        "not passed since the card was loaded: Blow down",
    ),
    ({"closing": PROVEN._replace(old_card_to=None)}, "old-card-state", None, "not stated"),
]


@pytest.mark.parametrize(("changed", "name", "met", "words"), ALONE)
def test_each_condition_alone_stops_it_and_is_named(
    changed: dict[str, Any], name: str, met: bool | None, words: str
) -> None:
    """Not met and not known both stop; the others stay met, and no two are merged."""
    found = asked(**changed)
    assert not found.ready
    assert stopping(found) == [name]
    assert answer(found, name).met is met
    assert words in answer(found, name).text
    assert [c.condition for c in found.conditions if not c.met] == [name]


def test_without_a_copy_nothing_about_it_is_known() -> None:
    """The copy fails; the conditions of a copy are not known, which is another answer."""
    found = asked(copy=None, verdict=None, decoded=None, held=())
    assert not found.ready
    assert answer(found, "copy").met is False
    assert [answer(found, name).met for name in VERIFIED] == [None] * len(VERIFIED)
    assert stopping(found) == ["copy", *VERIFIED]


def test_a_selected_copy_that_is_lost_is_no_copy() -> None:
    """Another one is not taken in its place: it must be selected again."""
    found = asked(copy=None, verdict=None, selected_lost=True)
    assert answer(found, "copy").met is False
    assert "swap select" in answer(found, "copy").text


def test_values_inside_their_limits_are_counted() -> None:
    """Those that have none do not count."""
    found = answer(asked(decoded=decoded(layout=LAYOUT + CARD_FIELD)), "within-limits")
    assert (found.met, found.text) == (True, "1 value with limits, all inside")


def test_without_a_layout_the_values_are_not_known_and_not_required() -> None:
    """No layout is said; it stops nothing by itself."""
    found = asked(decoded=None)
    assert found.ready
    assert answer(found, "within-limits").met is None
    assert answer(found, "belongs-to-card").met is None


def test_the_rules_may_let_a_value_outside_its_limits_pass() -> None:
    """It is still shown as failed."""
    found = asked(decoded=decoded(61), rules=Rules(waived=frozenset({"within-limits"})))
    assert found.ready
    assert answer(found, "within-limits").met is False


@pytest.mark.parametrize(
    ("changed", "wanting"),
    [
        ({"sheet": False}, ["card-sheet", "new-card"]),
        ({"sheet": True, "entries": None}, ["new-card"]),
        ({"sheet": False, "entries": None}, ["card-sheet", "new-card"]),
    ],
)
def test_the_rules_may_require_the_card_sheets(changed: dict[str, Any], wanting: list[str]) -> None:
    """Where they do, the lack of either stops; where they do not, it is not known, and said."""
    strict = asked(**changed, rules=Rules(required=frozenset({"card-sheet", "new-card"})))
    assert stopping(strict) == wanting
    assert asked(entries=None, sheet=changed["sheet"]).ready


def test_a_new_cards_sheet_without_the_units_is_not_known() -> None:
    """Given, it must agree with something."""
    found = asked(sheet=False)
    assert not found.ready
    assert answer(found, "new-card").met is None
    assert "nothing to compare" in answer(found, "new-card").text


def test_fields_that_belong_to_the_card_are_warned_of_by_name() -> None:
    """A calibration is not carried over unseen; it stops nothing by itself."""
    found = asked(decoded=decoded(layout=LAYOUT + CARD_FIELD))
    assert found.ready
    assert answer(found, "belongs-to-card").met is None
    assert "zero_offset" in answer(found, "belongs-to-card").text


def test_before_a_swap_is_open_nobody_is_asked() -> None:
    """What only a person can tell is shown as not answered, and stops nothing."""
    found = asked(answers=None)
    assert found.ready
    assert all(answer(found, name).met is None for name in TOLD)
    assert "not answered: Is the swap authorised" in answer(found, "authorised").text


def test_not_needed_is_an_answer() -> None:
    """With its reason."""
    found = asked(answers=ALL_TOLD | {"safeties-inhibited": told("not-needed", "alongside")})
    assert found.ready
    assert answer(found, "safeties-inhibited").text.startswith("not needed: alongside (A. Invented")


def test_a_read_since_the_opening_answers_for_the_final_read() -> None:
    """Unless a person told otherwise."""
    without = {k: v for k, v in ALL_TOLD.items() if k != "final-read"}
    found = asked(answers=without, read_since="2026-03-02")
    assert found.ready
    assert "read on 2026-03-02" in answer(found, "final-read").text
    refused = without | {"final-read": told("no", "it smokes")}
    assert asked(answers=refused, read_since="2026-03-02").missing == ("final-read",)


@pytest.mark.parametrize(
    ("held", "met", "words"),
    [
        (PLACES, True, "office (2026-02-01)"),
        ((("stick", date(2026, 2, 1), False),), None, "not checked there"),
        ((), None, "backup send"),
    ],
)
def test_another_location_is_shown_and_required_by_rules_alone(
    held: tuple[tuple[str, date, bool], ...], met: bool | None, words: str
) -> None:
    """A backup location that was sent to and not hashed is not known to hold it."""
    found = asked(held=held)
    assert found.ready
    assert answer(found, "second-location").met is met
    assert words in answer(found, "second-location").text
    strict = asked(held=held, rules=Rules(required=frozenset({"second-location"})))
    assert strict.ready is (met is True)


@pytest.mark.parametrize("met", [True, False, None])
def test_a_supply_that_is_out_stops_and_one_not_measured_does_by_rules(met: bool | None) -> None:
    """A bad supply kills the new card too; the rules can waive it."""
    found = asked(supplies=(met, "evidence"))
    assert found.ready is (met is not False)
    assert asked(
        supplies=(met, "evidence"), rules=Rules(waived=frozenset({"supply-voltages"}))
    ).ready
    assert answer(found, "supply-voltages") == ("supply-voltages", met, "evidence")
    strict = asked(supplies=(met, "evidence"), rules=Rules(required=frozenset({"supply-voltages"})))
    assert strict.missing == (() if met else ("supply-voltages",))


def test_counters_are_listed_with_their_values_until_they_are_noted() -> None:
    """They go back to the copy's; that a person noted them settles it."""
    counting = LAYOUT + b'[[field]]\nname = "hours"\nat = 2\ntype = "u8"\nrunning = true\n'
    found = asked(decoded=decoded(layout=counting))
    assert answer(found, "counters").met is None
    assert "hours 2" in answer(found, "counters").text
    noted = ALL_TOLD | {"counters": told("yes", "hours 71 at the panel")}
    assert answer(asked(decoded=decoded(layout=counting), answers=noted), "counters").met


def test_an_older_copy_is_said_with_its_reason() -> None:
    """The newest is the default."""
    assert "the newest copy" in answer(asked(), "copy-selected").text
    found = answer(asked(older="read from the failing card"), "copy-selected")
    assert found.met
    assert "an older copy" in found.text
    assert "read from the failing card" in found.text
