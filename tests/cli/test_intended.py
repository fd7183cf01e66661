"""A word that is no command is refused with the command that it stands for; alone, the help."""

from __future__ import annotations

from difflib import get_close_matches
from typing import TYPE_CHECKING

import pytest

from parambak.cli.intended import TYPED, intended
from parambak.cli.main import COMMANDS, GROUPS

if TYPE_CHECKING:
    from tests.cli.conftest import Ship

PATHS = {*COMMANDS, *(f"{group} {verb}" for group, verbs in GROUPS.items() for verb in verbs)}
WORDS = sorted({word for words in TYPED.values() for word in words})


def test_the_table_leads_to_commands_and_none_of_its_words_is_one() -> None:
    """A group alone, such as `backup`, stands for any other word after it."""
    assert set(TYPED) <= PATHS
    assert {word for word in WORDS if word in PATHS} == {"backup"}


def test_no_entry_is_idle() -> None:
    """A word that its spelling alone leads to the same command needs no entry."""
    assert not [word for word in WORDS if _by_spelling(word) == _by_table(word)]


def _by_table(word: str) -> tuple[str, ...]:
    return tuple(command for command, words in TYPED.items() if word in words)


def _by_spelling(word: str) -> tuple[str, ...]:
    group, _, last = word.rpartition(" ")
    commands = GROUPS[group] if group else [*COMMANDS, *GROUPS]
    near = get_close_matches(last, commands, n=1, cutoff=0.75)
    return tuple(f"{group} {command}".strip() for command in near)


@pytest.mark.parametrize("word", [*(word for word in WORDS if word != "backup"), "backup grebe"])
def test_a_word_of_the_table_is_refused_with_the_right_command(ship: Ship, word: str) -> None:
    """Exit 2, nothing is run, and each command that is named is there."""
    group, _, last = word.rpartition(" ")
    result = ship.answer(*word.split())
    error = result.document["error"]
    assert (result.code, error["code"]) == (2, "call")
    assert error["text"] == f"there is no command `parambak {word}`"
    steps = [f": `parambak {path}`." for path in intended(group, last, ())]
    assert steps
    assert all(step in error["next"] for step in steps)
    page = ship.run(*word.split())
    assert (page.code, page.out) == (2, "")
    assert not ship.vault.exists()


@pytest.mark.parametrize(
    ("typed", "right"),
    [
        ("catalog", "catalogue"),
        ("catalouge", "catalogue"),
        ("restore", "swap load-file"),
        ("verify", "swap read-back"),
        ("place", "backup"),
        ("amend", "correct"),
        ("closing-line", "seal"),
        ("swap chek", "swap check"),
        ("swap choose", "swap select"),
        ("card exchange", "card cross-over"),
        ("backup grebe", "backup send"),
    ],
)
def test_the_right_command_is_named(ship: Ship, typed: str, right: str) -> None:
    """Names of old, other names for the same work, slips of the finger."""
    assert f"`parambak {right}`" in " ".join(ship.run(*typed.split()).err.split())


def test_the_program_alone_prints_its_help(ship: Ship) -> None:
    """Exit 0; with --json it is a wrong call."""
    alone = ship.run()
    assert (alone.code, alone.out, alone.err) == (0, ship.run("--help").out, "")
    assert ship.answer().code == 2


@pytest.mark.parametrize("group", sorted(GROUPS))
def test_a_group_alone_prints_its_help_and_is_no_yes(ship: Ship, group: str) -> None:
    """A script that left out the command must not take the help for a yes."""
    alone = ship.run(group)
    assert (alone.code, alone.out, alone.err) == (2, "", ship.run(group, "--help").out)
    error = ship.answer(group).document["error"]
    assert error["text"] == f"`parambak {group}` is not complete: add one of its commands"
