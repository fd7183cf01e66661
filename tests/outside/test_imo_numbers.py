from __future__ import annotations

import random

import pytest
from stdnum import imo

from parambak.keeping.recording.texts import imo_digit_right, read_imo


@pytest.mark.parametrize(
    ("number", "weighted"),
    [
        ("9074729", 139),  # worked: encyclopaedia article IMO number (from memory)
        ("7625811", 141),  # worked: T. Vuori, tarkistusmerkit, "IMO"
    ],
)
def test_published_worked_sums(number: str, weighted: int) -> None:
    """The sum printed in the source ends in the number's last digit, and ours agrees."""
    digits = [int(digit) for digit in number]
    assert sum(d * w for d, w in zip(digits[:6], (7, 6, 5, 4, 3, 2), strict=True)) == weighted
    assert imo_digit_right(number)


@pytest.mark.parametrize("number", ["9319466", "8814275"])
def test_published_right_numbers(number: str) -> None:
    """Right in the documentation of python-stdnum, module imo."""
    assert read_imo(number) == (number, ())


def test_a_published_wrong_number() -> None:
    """8814274 is wrong in the documentation of python-stdnum, module imo: warned of, kept."""
    number, findings = read_imo("8814274")
    assert number == "8814274"
    assert [finding.code for finding in findings] == ["imo-check-digit"]


def test_against_an_independent_library() -> None:
    """python-stdnum (module imo) and ours agree on 20,000 numbers, right and wrong."""
    chance = random.Random(7)
    for _ in range(20_000):
        number = f"{chance.randrange(10_000_000):07d}"
        assert imo_digit_right(number) == imo.is_valid(number), number
