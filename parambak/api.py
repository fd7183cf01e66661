"""The Python API: what the commands do, without their words. formats/python.md has examples.

Errors are those of the commands: `ParambakError` with `code`, `text`, `file`, `expected`,
`found`, `next` and `exit_code`.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from datetime import datetime
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple, TypeVar, cast

from parambak.answers.given_files import layout_file, read_dump_file, terms_of
from parambak.answers.session import Session
from parambak.errors import CallRefused, Fault

if TYPE_CHECKING:
    from collections.abc import Iterable

    from parambak.answers.forms import Question
    from parambak.differences.bytes import Run
    from parambak.differences.fields import FieldChange
    from parambak.dumps.dump import Dump
    from parambak.layouts.decode import Decoded
    from parambak.layouts.model import Layout
    from parambak.memory.image import Image, Range

__all__ = ["Differences", "ask", "compare", "decode", "load_layout", "open_vault", "read_dump"]

QUESTION = Fault(
    "question",
    CallRefused,
    "{name} has a member that cannot be so",
    "See the question's type, and formats/python.md.",
)
FileName = str | os.PathLike[str]
A = TypeVar("A")


def read_dump(
    file: FileName,
    *,
    format: str | None = None,  # noqa: A002 - the name that the command has
    accept: Iterable[str] = (),
    memory: int | None = None,
) -> Dump:
    """Return the dump that a file holds, read strictly; `image` is what the memory holds.

    `format` is "intel-hex", "s-record" or "raw"; else the file's name and content decide.
    `accept` names irregularities that may pass, and that the file has; `memory` is the
    memory's size in bytes.
    Raise DumpRefused, with line or offset, or NotFound.
    """
    return read_dump_file(os.fspath(file), format, terms_of(accept, memory))


def load_layout(file: FileName) -> Layout:
    """Return a field layout and what it includes; raise LayoutRefused with every mistake."""
    return layout_file(os.fspath(file)).layout


def decode(layout: Layout, image: Image) -> Decoded:
    """Return every field's value, exact and with its unit, and whether each check holds."""
    from parambak.layouts.decode import decode as decoded  # noqa: PLC0415 - slow to import

    return decoded(layout, image)


class Differences(NamedTuple):
    """How two images differ: runs of bytes; and by a layout, fields, and bytes of no field."""

    runs: tuple[Run, ...]
    fields: tuple[FieldChange, ...]
    unmapped: tuple[Range, ...]

    @property
    def same(self) -> bool:
        """Return whether no byte differs."""
        return not self.runs


def compare(old: Image, new: Image, layout: Layout | None = None) -> Differences:
    """Return how two images differ, byte by byte, and with a layout field by field."""
    from parambak.differences.bytes import runs  # noqa: PLC0415 - slow to import
    from parambak.differences.fields import changes, unmapped  # noqa: PLC0415 - the same

    changed = runs(old, new)
    if layout is None:
        return Differences(changed, (), ())
    fields = changes(decode(layout, old), decode(layout, new))
    return Differences(changed, fields, unmapped(layout, changed))


@dataclass(frozen=True)
class _Folders:
    vault_folder: Path
    own_folder: Path

    @property
    def vault_named(self) -> str:
        return str(self.vault_folder)

    @property
    def cache_folder(self) -> Path:
        return self.own_folder / "cache"

    @property
    def ssh_folder(self) -> Path:
        return Path.home() / ".ssh"


def open_vault(folder: FileName, *, own: FileName | None = None, create: bool = False) -> Session:
    """Return a session with the vault in a folder; every question is asked with it.

    `own` is the user's own folder, where the commands keep it if it is not named; `create`
    makes the vault if the folder is missing or empty. Raise VaultRefused or NotFound.
    """
    session = Session(_Folders(Path(folder), Path(own) if own else _own_folder()), _now)
    session.open(create=create)
    return session


def _own_folder() -> Path:
    import platformdirs  # noqa: PLC0415 - asked only if no folder is named

    return platformdirs.user_data_path("parambak", appauthor=False)


def _now() -> datetime:
    return datetime.now().astimezone()


def ask(session: Session, question: Question[A]) -> A:
    """Return the answer to a question.

    Raise CallRefused if a member is not of its type or out of its bounds, which the commands refuse
    by their options; else as the module describes.
    """
    from msgspec import ValidationError, convert, to_builtins  # noqa: PLC0415 - slow to import

    kind = type(question)
    try:
        checked = convert(to_builtins(question), kind)
    except (ValidationError, TypeError) as error:
        raise QUESTION.error(
            name=kind.__name__, expected="members of their types", found=str(error)
        ) from error
    session.begin()
    return cast("A", import_module(kind.__module__).answer(session, checked))
