"""Names compared as people write them."""

from __future__ import annotations

import pytest

from parambak.memory.names import folded, nearest, nearest_in_words, one_letter_apart

NAMES = ["ramp_up_time", "ramp_down_time", "Control_Mode", "serial"]


def test_case_and_form_do_not_count() -> None:
    """A ligature or a wide letter is compared as its plain letters."""
    assert folded("\uff32amp \ufb01t") == folded("ramp FIT") == "ramp fit"


def test_the_nearest_come_first() -> None:
    """As many as requested, in their own case; none that is very different."""
    assert nearest("ramp_up_tme", NAMES) == ["ramp_up_time", "ramp_down_time"]
    assert nearest("ramp_up_tme", NAMES, most=1) == ["ramp_up_time"]
    assert nearest("control_mode", NAMES) == ["Control_Mode"]
    assert nearest("zz", NAMES) == []


def test_where_none_is_near_the_first_are_named() -> None:
    """Five of them, so that the message has something to choose from."""
    assert nearest_in_words("ramp_up_tme", NAMES) == "ramp_up_time or ramp_down_time"
    assert nearest_in_words("zz", (str(number) for number in range(9))) == "0 or 1 or 2 or 3 or 4"
    assert nearest_in_words("zz", ()) == ""


def test_a_long_name_is_cut_before_it_is_compared() -> None:
    """Comparing takes the product of both lengths."""
    assert nearest("serial" + " " * 200, ["serial".ljust(80)]) == ["serial".ljust(80)]


@pytest.mark.parametrize(
    ("one", "other", "near"),
    [
        ("grebe", "grebe", True),
        ("grebe", "greb", True),
        ("grebe", "grebes", True),
        ("grebe", "griebe", True),
        ("grebe", "grabe", True),
        ("grebe", "rgebe", True),
        ("grebe", "grbee", True),
        ("grebe", "gerbee", False),
        ("grebe", "gebre", False),
        ("grebe", "gre", False),
        ("grebe", "grabo", False),
    ],
)
def test_one_letter_apart(one: str, other: str, near: bool) -> None:
    """One left out, added, changed, or two neighbours exchanged; no more."""
    assert one_letter_apart(one, other) is near
    assert one_letter_apart(other, one) is near
