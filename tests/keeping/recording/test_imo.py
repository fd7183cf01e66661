from __future__ import annotations

import pytest

from parambak.errors import CallRefused
from parambak.keeping.recording.texts import imo_digit_right, read_imo


@pytest.mark.parametrize(
    "text", ["1234567", "IMO 1234567", "IMO1234567", "imo 1234567", "  IMO\t1234567 "]
)
def test_a_number_is_read_with_or_without_its_letters(text: str) -> None:
    """What stands on the hull and what stands in the papers are the same number."""
    assert read_imo(text) == ("1234567", ())


@pytest.mark.parametrize(
    "text",
    [
        "",
        "IMO",
        "123456",
        "12345670",
        "1234567x",
        "907 4729",
        "1234567\n",
        "-1234567",
        "\uff19\uff10\uff17\uff14\uff17\uff12\uff19",  # full-width digits
        "\u0669\u0660\u0667\u0664\u0667\u0662\u0669",  # Arabic-Indic digits
        "OMI 1234567",
        "7" * 100_000,
    ],
)
def test_anything_but_seven_digits_is_refused(text: str) -> None:
    """The call is refused with imo-shape, what was expected, what was found, and what to do."""
    with pytest.raises(CallRefused) as refusal:
        read_imo(text)
    error = refusal.value
    assert error.code == "imo-shape"
    assert error.expected == "seven digits, with or without IMO"
    assert error.found is not None
    assert len(error.found) < 300
    assert error.next is not None
    assert "leave the number out" in error.next


def test_a_wrong_check_digit_warns_and_does_not_refuse() -> None:
    """The number is kept; the warning says that the digit alone proves nothing."""
    number, (warning,) = read_imo("IMO 1234568")
    assert number == "1234568"
    assert warning.code == "imo-check-digit"
    assert "1234568" in warning.text
    assert "does not prove the right ship" in warning.text


def test_one_wrong_digit_can_pass() -> None:
    """1254567 is one digit off 1234567, and its check digit is right: no proof of a ship."""
    assert imo_digit_right("1234567")
    assert imo_digit_right("1254567")


def test_exactly_one_last_digit_is_right() -> None:
    """For any six digits, one of ten last digits passes."""
    for six in ("000000", "123457", "999999", "123456"):
        assert sum(imo_digit_right(f"{six}{last}") for last in range(10)) == 1
