"""The laptops of the stories do what a story relies on."""

from __future__ import annotations

import random
from typing import TYPE_CHECKING

import pytest

from tests.stories.conftest import CONTROL_C, START, Terminal

if TYPE_CHECKING:
    from collections.abc import Callable

    from tests.stories.conftest import Laptop

MEMORY = random.Random(7).randbytes(2048)
AT = "--vessel grebe --unit thruster --position U12"


def test_lines_are_answered_and_refused_on_a_vault_of_their_own(
    laptop: Laptop, laptops: Callable[[str], Laptop]
) -> None:
    """Yes, no and a refusal are distinguished, and another laptop has another vault."""
    laptop.dump("a.bin", MEMORY)
    laptop.yes(f"archive a.bin {AT} --read-on 2026-03-01")
    assert laptop.json("catalogue")["positions"][0]["where"] == "grebe/thruster/U12"
    laptop.refused("catalogue swan", "where-vessel")
    laptop.no("swap check grebe/thruster/U12")
    assert laptops("office").run("catalogue").code == 2
    with pytest.raises(AssertionError):
        laptop.yes("swap check grebe/thruster/U12")


def test_the_clock_is_the_storys(laptop: Laptop) -> None:
    """A record is of the day that the story is at."""
    laptop.dump("a.bin", MEMORY)
    laptop.yes(f"archive a.bin {AT}")
    records = b"".join(laptop.files().values())
    assert START.date().isoformat().encode() in records


def test_a_person_at_a_terminal_types_lines_or_interrupts() -> None:
    """Lines come one by one."""
    person = Terminal(f"yes\n{CONTROL_C}\n")
    assert person.isatty()
    assert person.readline() == "yes\n"
    with pytest.raises(KeyboardInterrupt):
        person.readline()
