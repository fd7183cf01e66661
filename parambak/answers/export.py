"""A copy is written as a file for a reader, and read back before it is called written."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, cast

from msgspec import Meta

from parambak.answers.copies import given_copy
from parambak.answers.forms import Answer, Part, Question
from parambak.answers.written_files import moved, write_dump_file

if TYPE_CHECKING:
    from parambak.answers.session import Session
    from parambak.dumps.dump import Style
    from parambak.memory.image import Image
    from parambak.reads.pairs import PairScheme


class ExportQuestion(Question["ExportAnswer"], frozen=True):
    """Which copy, in which format, and the name of the file.

    `fill` is the byte for absent ones, `record_length` the data bytes of a record,
    `address_width` in bits, `header` the content of a header record, `base` the address of the
    chip's first byte in the file. With `pair` two files are written, one for each chip. With
    `replace` a file that stands there is written over.
    """

    copy: str
    format: str
    out: str
    fill: Annotated[int, Meta(ge=0, le=255)] | None = None
    record_length: Annotated[int, Meta(ge=1, le=255)] | None = None
    address_width: int | None = None
    header: str | None = None
    base: Annotated[int, Meta(ge=0)] = 0
    pair: str | None = None
    replace: bool = False


class FileShown(Part, frozen=True):
    """A file that was written; `size` in bytes."""

    file: str
    sha256: str
    size: int


class ExportAnswer(Answer, frozen=True):
    """The first file, its format, every file, and the copy that they hold.

    `verified` states whether that copy is verified, `unmet` the conditions that it does not meet;
    `verified` is null for a dump file.
    """

    file: str
    sha256: str
    size: int
    format: str
    files: tuple[FileShown, ...]
    copy: str
    verified: bool | None
    unmet: tuple[str, ...]


def answer(session: Session, question: ExportQuestion) -> ExportAnswer:
    """Write the files; raise CallRefused, NotFound, VaultDamaged or ParambakError.

    A file that does not read back as the image is taken away again.
    """
    given = given_copy(session, question.copy)
    verdict = None
    if given.position is not None and given.copy is not None:
        verdict = session.assessor.verdict(given.position, given.copy)
    style = _style(question)
    files = []
    for name, image in _files(given.image, question):
        data, digest = write_dump_file(
            moved(image, question.base) if question.base else image,
            name,
            question.format,
            style,
            vault=session.folders.vault_folder,
            replace=question.replace,
        )
        files.append(FileShown(name, digest, len(data)))
    first = files[0]
    return ExportAnswer(
        file=first.file,
        sha256=first.sha256,
        size=first.size,
        format=question.format,
        files=tuple(files),
        copy=given.name,
        verified=verdict.verified if verdict is not None else None,
        unmet=tuple(c.condition for c in verdict.unmet) if verdict is not None else (),
    )


def _files(image: Image, question: ExportQuestion) -> list[tuple[str, Image]]:
    """Return the files to write, two for a pair."""
    if question.pair is None:
        return [(question.out, image)]
    from parambak.reads.pairs import split  # noqa: PLC0415 - for a pair only

    first, second = split(image, cast("PairScheme", question.pair))
    return [(question.out, first), (f"{question.out}.2", second)]


def _style(question: ExportQuestion) -> Style:
    from parambak.dumps.dump import Style  # noqa: PLC0415 - only for writing
    from parambak.dumps.registry import format_named  # noqa: PLC0415 - the same

    return Style(
        record_length=question.record_length,
        address_width=question.address_width,
        header=(question.header or "").encode("ascii", "replace"),
        fill=question.fill,
        base=0 if format_named(question.format).has_addresses else question.base,
    )
