"""A condition that is added to the list is everywhere, and nothing else has to be touched."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import pytest

import parambak.cli.commands.swap.answer  # noqa: F401 - its help is made where it is imported
from documents import conditions as page
from parambak.keeping.state import conditions
from tests.cli.invented import archive_two
from tests.cli.test_swap_course import AT, BY, code, opened, tell_all

if TYPE_CHECKING:
    from tests.cli.conftest import Ship

RULES = b"[rules]\ntitle = 'T'\nsource = 'S'\n[swap]\n%s = ['crew-warned']\n"
QUESTION = "Was the crew warned?"


@pytest.fixture
def invented(ship: Ship, monkeypatch: pytest.MonkeyPatch) -> Ship:
    """Return a ship with an open swap, all answered, and one condition more than there is."""
    condition = conditions._asked("crew-warned", QUESTION, "the crew was warned")
    every = (*conditions.CONDITIONS, condition)
    monkeypatch.setattr(conditions, "CONDITIONS", every)
    archive_two(ship)
    opened(ship)
    tell_all(ship)
    return ship


def test_it_is_required_and_shown(invented: Ship) -> None:
    """By swap check, in its document and on its page, and by the note on what is missing."""
    document = invented.answer("swap", "check", AT).document
    assert document["missing"] == ["crew-warned"]
    assert document["conditions"][-1] == {
        "condition": "crew-warned",
        "met": None,
        "text": f"not answered: {QUESTION}",
        "required": True,
        "required_when_open": True,
    }
    shown = invented.run("swap", "check", AT)
    assert shown.code == 1
    assert "NOT READY: crew-warned." in shown.out
    assert "'crew-warned=ANSWER: TEXT'" in shown.out
    copied = invented.answer("swap", "answer", AT, "crew-warned=ANSWER: TEXT", *BY)
    assert copied.code == 2
    assert invented.answer("swap", "check", AT).document["missing"] == ["crew-warned"]


def test_it_can_be_answered(invented: Ship) -> None:
    """With its question on the page, and met from then on."""
    result = invented.run("swap", "answer", AT, "crew-warned", "yes", "at breakfast", *BY)
    assert result.code == 0
    assert f"(asked: {QUESTION})" in result.out
    assert invented.answer("swap", "check", AT).document["ready"] is True
    refused = invented.answer("swap", "answer", AT, "no-such", "yes", "x", *BY)
    assert "crew-warned" in refused.document["error"]["expected"]


def test_it_can_be_accepted_though_not_met(invented: Ship) -> None:
    """By its name, and the deviation is shown."""
    words = ("--accept", "crew-warned", *BY, "--reason", "asleep")
    answer = invented.answer("swap", "check", AT, *words)
    assert answer.code == 0
    assert answer.document["deviations"][0]["condition"] == "crew-warned"


def test_rules_may_name_it(invented: Ship) -> None:
    """Required or waived; what is waived is said."""
    for key in (b"required", b"waived"):
        name = invented.write("r.toml", RULES % key)
        assert invented.run("rules", "record", "grebe", name, *BY).code == 0
    waived = invented.answer("swap", "check", AT)
    assert waived.document["ready"] is True
    assert waived.document["conditions"][-1]["required"] is False
    unknown = invented.write("r.toml", RULES.replace(b"crew", b"crow") % b"required")
    assert code(invented.answer("rules", "record", "grebe", unknown, *BY)) == "rules-entry"


def test_it_is_on_the_pages(invented: Ship) -> None:
    """That of the swap, and that of the format."""
    assert invented.run("report", "swap", AT, "--out", "swap.html").code == 0
    assert "crew-warned" in (invented.folder / "swap.html").read_text("utf-8")
    old = (Path(__file__).parents[2] / "formats" / "ships-rules.md").read_text("utf-8")
    row = "| `crew-warned` | the crew was warned | open |"
    assert row in page.page(old)
    assert row not in old
