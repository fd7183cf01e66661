from __future__ import annotations

import random

import pytest
from stdnum.iso7064 import mod_97_10

from parambak.keeping.state.seal import check_digits


@pytest.mark.parametrize(
    ("number", "check"),
    [
        ("794", "44"),  # ISO 7064, worked example of MOD 97-10 (from memory)
        ("99991234567890121414", "90"),  # python-stdnum, module iso7064.mod_97_10
        ("4354111611551114", "31"),  # the same; an account number of ISO 13616
        ("22181321402534321446701611", "35"),  # the same
    ],
)
def test_published_check_digits(number: str, check: str) -> None:
    """Each has the check digits of the source."""
    assert check_digits(number) == check


@pytest.mark.parametrize(
    "code",
    [
        "GB82WEST12345698765432",  # ISO 13616 account number (from memory), checked by 97-10
        "GR1601101050000010547023795",  # python-stdnum, module iban
        "213800KUD8LAJWSQ9D15",  # ISO 17442 identifier: python-stdnum, module lei
    ],
)
def test_published_codes_with_letters(code: str) -> None:
    """Letters as 10 to 35, as in those standards; check digits at the end."""
    turned = code[4:] + code[:4] if code[2:4].isdigit() and code[:2].isalpha() else code
    number = "".join(str(int(each, 36)) for each in turned)
    assert check_digits(number[:-2]) == number[-2:]


def test_against_an_independent_library() -> None:
    """python-stdnum and ours agree on 5,000 numbers of 1 to 200 digits."""
    chance = random.Random(3)
    for _ in range(5000):
        number = "".join(chance.choices("0123456789", k=chance.randrange(1, 200)))
        assert check_digits(number) == mod_97_10.calc_check_digits(number)
