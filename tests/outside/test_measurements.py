"""Measurements against published limits, and those of common practice."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest

from parambak.swap.limits import load_limits
from parambak.swap.measurements import read_measurements, rpm

HEAD = "[limits]\ntitle = 'outside'\nsource = 'beside each'\n[[measurement]]\nname = 'x'\n"


def within(limit: str, typed: str) -> bool | None:
    """Return whether a reading is inside a limit as a file states it."""
    return read_measurements([f"x={typed}"], [], load_limits((HEAD + limit).encode()).by_name)[
        0
    ].within


# IACS UR E10 Rev.10 (August 2024), item 4: direct current supply, of 24 V: battery connected
# while it charges +30/-25 %, not so +20/-25 %, else +/-10 %. The volts are worked out from these.
E10 = [
    ("low = 18.0\nhigh = 31.2", "18.0", "31.2"),
    ("low = 18.0\nhigh = 28.8", "18.0", "28.8"),
    ("nominal = 24\ntolerance-percent = 10", "21.6", "26.4"),
]


@pytest.mark.parametrize(("limit", "low", "high"), E10)
def test_the_supply_tolerances_of_ur_e10(limit: str, low: str, high: str) -> None:
    """The borders are in, a hundredth of a volt beyond is out."""
    limit = f"unit = 'V'\n{limit}"
    step = Decimal("0.01")
    assert within(limit, low)
    assert within(limit, high)
    assert within(limit, str(Decimal(low) - step)) is False
    assert within(limit, str(Decimal(high) + step)) is False


# Common practice, no source: a 5 V logic supply within 2 %, a 15 V supply within 3 %, a 24 V
# supply on battery alone not below 22 V.
PRACTICE = [
    ("nominal = 5\ntolerance-percent = 2", "4.9", "5.1"),
    ("nominal = 15\ntolerance-percent = 3", "14.55", "15.45"),
    ("low = 22", "22", None),
]


@pytest.mark.parametrize(("limit", "low", "high"), PRACTICE)
def test_limits_of_common_practice(limit: str, low: str, high: str | None) -> None:
    """Both borders, to the thousandth."""
    limit = f"unit = 'V'\n{limit}"
    assert within(limit, low)
    assert within(limit, str(Decimal(low) - Decimal("0.001"))) is False
    if high is None:
        assert within(limit, "99999")
    else:
        assert within(limit, high)
        assert within(limit, str(Decimal(high) + Decimal("0.001"))) is False


def test_speed_from_a_pulse_generator() -> None:
    """30 teeth, 2000 Hz: 4000 rpm (techzle.com, "How can I calculate the speed").

    A wheel of 34 positions with two teeth missing is counted by its positions: 60/34 (the
    factor of common practice, no source).
    """
    assert rpm(Fraction(2000), 30) == 4000
    assert rpm(Fraction(1), 34) == Fraction(60, 34)
    assert within("unit = 'rpm'\nteeth = 30\nlow = 4000\nhigh = 4000", "2000 Hz")
