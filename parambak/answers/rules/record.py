"""What a vessel's owner requires before a swap, put on record."""

from __future__ import annotations

from pathlib import PurePath
from typing import TYPE_CHECKING

from parambak.answers.forms import Answer, Question
from parambak.answers.given_files import TEXT_BYTES
from parambak.errors import in_file
from parambak.keeping.recording.entries import record_rules
from parambak.keeping.state.rules_file import load_rules
from parambak.vault.files.given import read_given

if TYPE_CHECKING:
    from parambak.answers.session import Session


class RulesRecordQuestion(Question["RulesRecordAnswer"], frozen=True):
    """The vessel, the file of its rules (TOML), and who says so."""

    vessel: str
    file: str
    by: str | None = None


class RulesRecordAnswer(Answer, frozen=True):
    """The vessel, the title of its rules, and the conditions that they waive."""

    vessel: str
    title: str | None
    waived: tuple[str, ...]


def answer(session: Session, question: RulesRecordQuestion) -> RulesRecordAnswer:
    """Keep the rules, which hold from here on; raise SheetRefused where the file is none."""
    data = read_given(question.file, TEXT_BYTES).data
    with in_file(question.file):
        rules = load_rules(data)
    name = PurePath(question.file).name
    handle = record_rules(
        session.vault, vessel=question.vessel, name=name, data=data, by=question.by
    )
    session.note(*rules.notes)
    return RulesRecordAnswer(vessel=handle, title=rules.title, waived=tuple(sorted(rules.waived)))
