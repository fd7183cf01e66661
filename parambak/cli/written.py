"""An answer as JSON, written piece by piece: a long list in it is never in memory as a whole."""

from __future__ import annotations

import json
from itertools import islice
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping

_PIECE = 1 << 16  # characters written at once
_ENTRIES = 64  # of a list, made into text at once: one by one takes twice as long


class Listed:
    """A list in a document whose entries are made while it is written."""

    def __init__(self, make: Callable[[], Iterable[object]]) -> None:
        self.make = make


def pieces(document: Mapping[str, Any]) -> Iterator[str]:
    """Yield the text of a document, which ends without a newline.

    It is that of `json.dumps` with an indent of 2; `Listed` is among its members only.
    """
    waiting: list[str] = []
    length = 0
    for text in _texts(document):
        waiting.append(text)
        length += len(text)
        if length >= _PIECE:
            yield "".join(waiting)
            waiting, length = [], 0
    yield "".join(waiting)


def _texts(document: Mapping[str, Any]) -> Iterator[str]:
    if not any(isinstance(value, Listed) for value in document.values()):
        yield _dumped(document, 0)
        return
    before = "{\n  "
    for name, value in document.items():
        yield f"{before}{json.dumps(name)}: "
        if isinstance(value, Listed):
            yield from _entries(value)
        else:
            yield _dumped(value, 2)
        before = ",\n  "
    yield "\n}"


def _entries(listed: Listed) -> Iterator[str]:
    entries = iter(listed.make())
    before, end = "[\n", "[]"
    while some := list(islice(entries, _ENTRIES)):
        text = _dumped(some, 2)
        yield before + text.removeprefix("[\n").removesuffix("\n  ]")
        before, end = ",\n", "\n  ]"
    yield end


def _dumped(value: object, indent: int) -> str:
    # A text in JSON holds no newline, so each newline begins a line of the document.
    return json.dumps(value, ensure_ascii=True, indent=2).replace("\n", "\n" + " " * indent)
