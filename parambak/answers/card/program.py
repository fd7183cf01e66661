"""The sums of a program memory, as lines for a card sheet."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from parambak.answers.forms import Answer, Question
from parambak.answers.given_files import read_dump_file, terms_of
from parambak.keeping.recording.texts import NAME, check_texts
from parambak.memory.counted import counted
from parambak.memory.digests import crc32, sha256, sum8, sum16

if TYPE_CHECKING:
    from parambak.answers.session import Session


class CardProgramQuestion(Question["CardProgramAnswer"], frozen=True):
    """The dump (a file), the memory's position on the card, and how the dump is read.

    `accept` names the irregularities that may pass.
    """

    dump: str
    position: str | None = None
    format: str | None = None
    accept: tuple[str, ...] = ()


class CardProgramAnswer(Answer, frozen=True, rename="kebab"):
    """The memory's position, its size in bytes, its sums and digest, and the lines for a sheet."""

    position: str | None
    size: int
    sum_8: str
    sum_16: str
    crc_32: str
    sha_256: str
    lines: tuple[str, ...]


def answer(session: Session, question: CardProgramQuestion) -> CardProgramAnswer:
    """Sum up the dump, which is kept nowhere; raise DumpRefused, CallRefused or NotFound."""
    position = question.position
    check_texts([("position", position, NAME)])
    image = read_dump_file(question.dump, question.format, terms_of(question.accept)).image
    data = image.content
    size = len(data)
    sums = {
        "sum_8": sum8(data),
        "sum_16": sum16(data),
        "crc_32": crc32(data),
        "sha_256": sha256(data),
    }
    lines = (
        "[[program]]",
        f"position = {_quoted(position)}" if position else '#position = "U7"',
        f"size = {size}",
        *(f"{name.replace('_', '-')} = {_quoted(text)}" for name, text in sums.items()),
    )
    if len(image.ranges) > 1:
        present = counted(size, "byte")
        session.note(f"the dump has gaps: the sums are over {present} present in it")
    return CardProgramAnswer(position=position, size=size, **sums, lines=lines)


def _quoted(text: str) -> str:
    """Return a text as TOML writes it: its basic strings take JSON's escapes."""
    return json.dumps(text, ensure_ascii=False)
