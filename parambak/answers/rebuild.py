"""The index thrown away and built again from the records."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers.forms import Answer, Question
from parambak.vault.faults import INDEX_REBUILT

if TYPE_CHECKING:
    from parambak.answers.session import Session


class RebuildQuestion(Question["RebuildAnswer"], frozen=True):
    """Nothing is to be chosen."""


class RebuildAnswer(Answer, frozen=True):
    """How many records the index holds now, and how many identities of vessels."""

    records: int
    vessels: int


def answer(session: Session, question: RebuildQuestion) -> RebuildAnswer:
    """Build the index again; raise VaultRefused or VaultDamaged."""
    del question
    vault = session.vault
    records = vault.rebuild()
    vessels = len(vault.vessels())
    session.answered.update(f.text for f in vault.warnings if f.code == INDEX_REBUILT)
    return RebuildAnswer(records=records, vessels=vessels)
