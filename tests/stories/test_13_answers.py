"""A person at a terminal answers the questions of a swap one by one, in plain words."""

from __future__ import annotations

import random
from typing import TYPE_CHECKING

import pytest

from parambak.keeping.state.conditions import CONDITIONS, OPEN
from tests.stories.conftest import CONTROL_C

if TYPE_CHECKING:
    from tests.stories.conftest import Laptop

WHERE = "grebe/thruster/U12"
ASKED = [condition.name for condition in CONDITIONS if condition.required is OPEN]
ANSWER = f"swap answer {WHERE} --by 'A. Fitter'"


@pytest.fixture
def opened(laptop: Laptop) -> Laptop:
    """Return a laptop with a verified copy and an open swap."""
    memory = random.Random(5).randbytes(2048)
    dumps = f"{laptop.dump('a.bin', memory)} {laptop.dump('b.bin', memory)}"
    laptop.yes(f"archive {dumps} --vessel grebe --unit thruster --position U12 --by 'A. Fitter'")
    laptop.yes(f"swap open {WHERE} --by 'A. Fitter' --reason dead")
    return laptop


def states(laptop: Laptop) -> dict[str, tuple[bool | None, str]]:
    """Return each condition that a person is asked: whether it is met, and its first words."""
    conditions = laptop.run(f"--json swap check {WHERE}").json["conditions"]
    return {
        entry["condition"]: (entry["met"], entry["text"].split(" (A. Fitter")[0])
        for entry in conditions
        if entry["condition"] in ASKED
    }


def test_yes_no_and_free_text_are_understood(opened: Laptop) -> None:
    """What was taken is shown; a text alone is never guessed to be a yes."""
    lines = (
        "y\nfuses are good\n"
        "N\nit smokes\n"
        "no permit system, the chief said so\nyes\n"
        "yes: permit 14\n"
        "not needed\nalongside\n"
        "?\nask the master\n"
        "\n"
    )
    answered = opened.run(ANSWER, typed=lines)
    assert answered.code == 0, answered
    assert "saved: diagnosed, yes: fuses are good" in answered.err
    assert "saved: permit, yes: permit 14" in answered.err
    assert "left as it is" in answered.err
    found = states(opened)
    assert [found[name] for name in ASKED[:6]] == [
        (True, "fuses are good"),
        (False, "it smokes"),
        (True, "no permit system, the chief said so"),
        (True, "permit 14"),
        (True, "not needed: alongside"),
        (None, "not known: ask the master"),
    ]
    assert found[ASKED[6]][1].startswith("not answered")


def test_an_interruption_loses_no_answer(opened: Laptop) -> None:
    """Each is on record before the next is asked; the others are asked again."""
    stopped = opened.run(ANSWER, typed=f"yes\nfuses are good\n{CONTROL_C}\n")
    assert stopped.code == 130
    assert "Saved before you stopped: diagnosed." in stopped.err
    assert states(opened)["diagnosed"] == (True, "fuses are good")
    again = opened.run(ANSWER, typed=f"y\nread\n{CONTROL_C}\n")
    assert "final-read: " in again.err
    assert "diagnosed: " not in again.err
    assert states(opened)["final-read"] == (True, "read")


def test_nothing_is_asked_without_a_terminal(opened: Laptop) -> None:
    """An empty call is refused, and changes nothing."""
    opened.refused(ANSWER, "swap-answer-shape")
