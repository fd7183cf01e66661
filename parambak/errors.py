"""One root error, and the tree of what can go wrong.

The exit code lives on the class; the stable code that scripts may rely on is
given by a `Fault`, which the room that raises it declares as a constant:

    ParambakError            2  no answer
    ├── CallRefused          2  the call itself is wrong
    ├── DumpRefused          2  a dump that cannot be trusted
    ├── LayoutRefused        2  a layout with mistakes in it
    ├── SheetRefused         2  a card sheet or rules file with mistakes in it
    ├── PackRefused          2  a file of packed vessels that cannot be trusted
    ├── NotFound             2  nothing has that name
    ├── VaultRefused         2  the vault cannot be used as asked
    ├── NotProven            1  a negative answer that stops the command
    └── VaultDamaged         3  bytes in the vault are not what they were
"""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar, Self

if TYPE_CHECKING:
    from collections.abc import Iterator


class ParambakError(Exception):
    """What a user meets when there is no answer.

    `code` is stable; `text` states what is wrong; `file`, `line` (from 1), `offset` (bytes from 0,
    or an address), `expected` and `found` state where and what; `next` states what to do. Absent
    parts are None.
    """

    exit_code: ClassVar[int] = 2

    def __init__(  # noqa: PLR0913 - the seven parts of every message, all by keyword
        self,
        code: str,
        text: str,
        *,
        file: str | None = None,
        line: int | None = None,
        offset: int | None = None,
        expected: str | None = None,
        found: str | None = None,
        next: str | None = None,  # noqa: A002 - the key of the contract
    ) -> None:
        super().__init__(text)
        self.code = code
        self.text = text
        self.file = file
        self.line = line
        self.offset = offset
        self.expected = expected
        self.found = found
        self.next = next

    def in_file(self, file: str) -> Self:
        """Name the file that the error is in, if no deeper place has named one."""
        if self.file is None:
            self.file = file
        return self

    def document(self) -> dict[str, str | int | None]:
        """Return the error's parts under the keys of the script contract."""
        keys = ("code", "text", "file", "line", "offset", "expected", "found", "next")
        return {key: getattr(self, key) for key in keys}


class CallRefused(ParambakError):
    """The call is wrong: an option, a name, a combination."""


class DumpRefused(ParambakError):
    """A dump that is damaged, ambiguous or not what it claims to be."""


class LayoutRefused(ParambakError):
    """A layout with mistakes in it."""


class SheetRefused(ParambakError):
    """A card sheet or a rules file with mistakes in it."""


class PackRefused(ParambakError):
    """A file of packed vessels that is damaged, or of another form."""


class NotFound(ParambakError):
    """Nothing in the vault, or on disk, has that name."""


class VaultRefused(ParambakError):
    """The vault is absent, busy, newer than this program, or cannot be written."""


class NotProven(ParambakError):
    """A negative answer that stops the command: not verified, not ready."""

    exit_code: ClassVar[int] = 1


class VaultDamaged(ParambakError):
    """Bytes in the vault are not what they were when written."""

    exit_code: ClassVar[int] = 3


@dataclass(frozen=True, slots=True)
class Fault:
    """A stable error code, declared once by the room that raises it.

    `text` and `next` may hold `{names}` that `error` fills from its extra arguments.
    """

    code: str
    kind: type[ParambakError]
    text: str
    next: str

    def error(
        self,
        *,
        file: str | None = None,
        line: int | None = None,
        offset: int | None = None,
        expected: str | None = None,
        found: str | None = None,
        **names: object,
    ) -> ParambakError:
        """Return the error to raise: `raise CHECKSUM.error(line=3, expected="EC", found="ED")`."""
        return self.kind(
            self.code,
            self.text.format(**names) if names else self.text,
            file=file,
            line=line,
            offset=offset,
            expected=expected,
            found=found,
            next=self.next.format(**names) if names else self.next,
        )


@contextmanager
def in_file(file: str) -> Iterator[None]:
    """Name the file in an error of the block, if no deeper place has named one."""
    try:
        yield
    except ParambakError as error:
        error.in_file(file)
        raise
