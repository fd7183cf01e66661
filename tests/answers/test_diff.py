"""What `diff` answers, asked without a command line: of files, and without a vault."""

from __future__ import annotations

import os
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import msgspec
import pytest

from parambak.answers.diff import DiffAnswer, DiffQuestion, answer
from parambak.answers.forms import LazyList, RangeShown
from parambak.answers.session import Session
from parambak.cli.settings import Settings
from tests.cli.invented import LAYOUT, MEMORY, changed, dump

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture
def asked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Session:
    """Return a session of a folder that holds three dumps and a layout, and no vault."""
    monkeypatch.chdir(tmp_path)
    second = changed(0x0300, changed(0x0023))
    for number, memory in enumerate((MEMORY, second, MEMORY)):
        (tmp_path / f"{number}.hex").write_bytes(dump(memory))
    (tmp_path / "layout.toml").write_bytes(LAYOUT)
    folders = Settings(vault=str(tmp_path / "vault"), own=str(tmp_path / "own"))
    return Session(folders, lambda: datetime(2026, 3, 1, tzinfo=UTC))


def compared(session: Session, *files: str, layout: str | None = None) -> DiffAnswer:
    """Return what differs between files."""
    diff = answer(session, DiffQuestion(copies=files, layout=layout))
    assert isinstance(diff, DiffAnswer)
    return diff


def test_the_answer_is_plain_and_its_runs_are_made_anew(asked: Session) -> None:
    """However often they are gone through; the vault is neither opened nor made."""
    diff = compared(asked, "0.hex", "1.hex", layout="layout.toml")
    assert isinstance(diff.runs, LazyList)
    assert [run.start for run in diff.runs] == [run.start for run in diff.runs] == [0x23, 0x300]
    assert (diff.same, diff.exit_code, diff.changed_bytes) == (False, 1, 2)
    assert diff.unmapped == (RangeShown(0x300, 1),)
    assert diff.pairs is msgspec.UNSET
    assert list(diff.comparisons) == [diff]
    assert not os.path.lexists("vault")


def test_of_three_the_first_may_be_the_last_and_still_differ(asked: Session) -> None:
    """`same` is of every pair; the members next to it are of the first and the last."""
    diff = compared(asked, "0.hex", "1.hex", "2.hex")
    assert (diff.same, diff.exit_code, diff.changed_bytes) == (False, 1, 0)
    assert [pair.changed_bytes for pair in diff.comparisons] == [2, 2]
    assert compared(asked, "0.hex", "2.hex").exit_code == 0


def test_a_person_is_asked_of_what_nothing_explains(asked: Session) -> None:
    """Not where only what the layout expects to change did."""
    assert compared(asked, "0.hex", "1.hex", layout="layout.toml").asks
    assert compared(asked, "0.hex", "1.hex").asks
    assert not compared(asked, "0.hex", "2.hex").asks
