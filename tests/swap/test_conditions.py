"""May the swap begin: every condition alone not met is named, and stops it."""

from __future__ import annotations

from typing import Any

import pytest

from parambak.keeping.rules import CAREFUL, Rules
from parambak.keeping.verified import Condition, Verdict
from parambak.layouts.decode import Decoded, decode
from parambak.layouts.load import load
from parambak.memory.image import Image
from parambak.swap.card_sheet import Entry
from parambak.swap.cautions import CAUTIONS
from parambak.swap.conditions import Readiness, readiness

VERIFIED = ("read-twice", "plausible", "checks-hold", "intact")
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
ALIKE = (Entry("type", "TC-2", "TC-2", same=True),)


def verdict(**met: bool | None) -> Verdict:
    """Return a verdict, all met but what is told."""
    names = {name.replace("-", "_"): name for name in VERIFIED}
    return Verdict(
        tuple(
            Condition(name, met.get(key, True), f"because of {name}") for key, name in names.items()
        )
    )


def decoded(ramp: int = 30, layout: bytes = LAYOUT) -> Decoded:
    """Return the fields of an invented memory."""
    return decode(load(layout), Image.of(bytes([ramp, 1, 2, 3])))


def asked(**told: Any) -> Readiness:
    """Return the readiness, everything sound but what is told."""
    sound: dict[str, Any] = {
        "copy": "grebe/port-thruster/U12@01234567",
        "verdict": verdict(),
        "decoded": decoded(),
        "sheet": True,
        "entries": ALIKE,
        "rules": CAREFUL,
    }
    return readiness(**(sound | told))


def stopping(found: Readiness) -> list[str]:
    """Return the required conditions that are not met."""
    return [c.condition for c in found.conditions if c.condition in found.required and not c.met]


def answer(found: Readiness, name: str) -> Condition:
    """Return one condition."""
    return next(each for each in found.conditions if each.condition == name)


def test_all_sound_is_ready() -> None:
    """Every condition is met, in the order of the work, each with its evidence."""
    found = asked()
    assert found.ready
    assert [each.condition for each in found.conditions] == [
        "copy",
        *VERIFIED,
        "within-limits",
        "belongs-to-card",
        "card-sheet",
        "new-card",
    ]
    assert all(each.met and each.text for each in found.conditions)


OTHER = (*ALIKE, Entry("links.J1", "1-2", "2-3", same=False))
UNSTATED = (*ALIKE, Entry("battery", "2026", "not stated", None))
# Each condition alone not met: what is told, its name, its answer, words of its evidence.
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
]


@pytest.mark.parametrize(("told", "name", "met", "words"), ALONE)
def test_each_condition_alone_stops_it_and_is_named(
    told: dict[str, Any], name: str, met: bool | None, words: str
) -> None:
    """Not met and not known both stop; the others stay met, and no two are merged."""
    found = asked(**told)
    assert not found.ready
    assert stopping(found) == [name]
    assert answer(found, name).met is met
    assert words in answer(found, name).text
    assert [c.condition for c in found.conditions if not c.met] == [name]


def test_without_a_copy_nothing_about_it_is_known() -> None:
    """The copy fails; the four conditions are not known, which is another answer."""
    found = asked(copy=None, verdict=None, decoded=None)
    assert not found.ready
    assert answer(found, "copy").met is False
    assert [answer(found, name).met for name in VERIFIED] == [None] * 4
    assert stopping(found) == ["copy", *VERIFIED]


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
    ("told", "wanting"),
    [
        ({"sheet": False}, ["card-sheet", "new-card"]),
        ({"sheet": True, "entries": None}, ["new-card"]),
        ({"sheet": False, "entries": None}, ["card-sheet", "new-card"]),
    ],
)
def test_the_rules_may_require_the_card_sheets(told: dict[str, Any], wanting: list[str]) -> None:
    """Where they do, the lack of either stops; where they do not, it is not known, and said."""
    strict = asked(**told, rules=Rules(required=frozenset({"card-sheet", "new-card"})))
    assert stopping(strict) == wanting
    assert asked(entries=None, sheet=told["sheet"]).ready


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


def test_the_cautions_say_what_the_tool_does_not_show() -> None:
    """Isolation, permit, static, the old card, tests, licensed practice, and bytes alone."""
    text = " ".join(CAUTIONS)
    for word in ("lock out", "permit", "static", "Label the old card", "Test every", "safe"):
        assert word in text
    assert CAUTIONS[-1] == ("Parambak compares bytes. It does not show that the unit is safe.")
