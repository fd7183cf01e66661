"""What every question and every answer is; and a list that is made while it is written.

The members of an answer are the keys of `--json`: formats/answers.md is generated from them.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import TYPE_CHECKING, Generic, TypeVar

from msgspec import Struct

from parambak.errors import CallRefused, Fault

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from parambak.memory.image import Range

__all__ = ["Answer", "FileNote", "LazyList", "Note", "Part", "Question", "RangeShown"]

T = TypeVar("T")
A = TypeVar("A")
YES, NO, NO_ANSWER, DAMAGED = 0, 1, 2, 3
_SIGNED = {"by": "name of the person", "reason": "reason"}
BLANK = Fault(
    "text-blank",
    CallRefused,
    "the {what} is blank",
    "Give it as words, or leave the option out if it is not required.",
)


class Question(Struct, Generic[A], frozen=True, kw_only=True):
    """What is asked, as typed: texts, numbers, names of files. `A` is the type of its answer.

    Raises CallRefused if the person (`by`) or the `reason` is given and blank.
    """

    def __post_init__(self) -> None:
        """Refuse a blank person or reason: the record would name nobody and explain nothing."""
        for member, what in _SIGNED.items():
            text = getattr(self, member, None)
            if isinstance(text, str) and not text.strip():
                raise BLANK.error(what=what, expected="letters", found=repr(text[:40]))


class Answer(Struct, frozen=True, kw_only=True):
    """What is answered: its members are plain values, none of them a path or an object."""

    @property
    def exit_code(self) -> int:
        """Return 0 for yes, same, done; 1 for a negative answer; 2 for none; 3 for damage."""
        return YES


class Part(Struct, frozen=True):
    """A part of an answer, such as a line of a list."""


class Note(Part, frozen=True):
    """A finding with its stable code."""

    code: str
    text: str


class FileNote(Part, frozen=True):
    """A file, and what is wrong with it or strange."""

    file: str
    text: str


class RangeShown(Part, frozen=True):
    """A stretch of addresses without a gap; `length` in bytes."""

    start: int
    length: int


def range_shown(stretch: Range) -> RangeShown:
    """Return a stretch as a part of an answer."""
    return RangeShown(stretch.start, stretch.length)


class LazyList(Collection[T]):
    """A list in an answer whose entries are made again each time it is gone through.

    For what may be too long to hold. The member is declared as `Collection[…]`; in JSON it is
    a list like any other.
    """

    def __init__(self, make: Callable[[], Iterable[T]]) -> None:
        self._make = make

    def __iter__(self) -> Iterator[T]:
        return iter(self._make())

    def __len__(self) -> int:
        return sum(1 for _ in self)

    def __contains__(self, entry: object) -> bool:
        return any(entry == other for other in self)
