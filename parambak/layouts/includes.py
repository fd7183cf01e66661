"""A layout and the files that it includes, each parsed and given its shape."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, NamedTuple

from parambak.errors import ParambakError
from parambak.layouts import faults
from parambak.layouts.mistakes import describe
from parambak.layouts.parse import LONGEST_TEXT, parse
from parambak.layouts.shape import shaped

if TYPE_CHECKING:
    from collections.abc import Callable

    from parambak.layouts.mistakes import Ledger, Path, Source
    from parambak.layouts.model import Head, LayoutFile

LANGUAGE = 1
MOST_INCLUDES = 50
_INSIDE = re.compile(r"[\w.-][\w. -]*(?:/[\w.-][\w. -]*)*")
# What the head of an included file may say.
_SHARED_HEAD = ("include", "language", "note", "source")


class Part(NamedTuple):
    """One file: where its text is, and its tables."""

    source: Source
    tables: LayoutFile


class Gathered(NamedTuple):
    """The layout's own file first, then what it includes, in the order met."""

    files: tuple[Part, ...]

    @property
    def head(self) -> Head:
        """Return the head of the layout's own file."""
        return self.files[0].tables.layout


def gather(text: bytes, include: Callable[[str], bytes] | None, ledger: Ledger) -> Gathered | None:
    """Return the layout's files, or None where its own cannot be read at all."""
    first = _part(text, None, ledger)
    if first is None:
        return None
    gatherer = _Gatherer(include, ledger, len(text))
    gatherer.files.append(first)
    gatherer.follow(first, ())
    return Gathered(tuple(gatherer.files))


def _part(text: bytes, file: str | None, ledger: Ledger) -> Part | None:
    source = parse(text, file, ledger)
    if source is None or not _known_language(source, ledger):
        return None
    tables = shaped(source, ledger)
    return None if tables is None else Part(source, tables)


def _known_language(source: Source, ledger: Ledger) -> bool:
    """Note a version of the language that is not known; nothing else is looked at then."""
    head = source.tree.get("layout")
    language = head.get("language", LANGUAGE) if isinstance(head, dict) else LANGUAGE
    if isinstance(language, int) and not isinstance(language, bool) and language != LANGUAGE:
        ledger.note(
            faults.UNKNOWN_LANGUAGE,
            source,
            ("layout", "language"),
            expected=str(LANGUAGE),
            found=describe(language),
        )
        return False
    return True


class _Gatherer:
    def __init__(self, include: Callable[[str], bytes] | None, ledger: Ledger, length: int) -> None:
        self.include = include
        self.ledger = ledger
        self.files: list[Part] = []
        self.length = length

    def follow(self, part: Part, chain: tuple[str, ...]) -> None:
        """Take in what `part` includes; `chain` names the files that led here."""
        for index, name in enumerate(part.tables.layout.include):
            path: Path = ("layout", "include", index)
            if not self._may_take(part.source, path, name, chain):
                continue
            if any(each.source.file == name for each in self.files):
                continue  # two ways to one file: it is taken in once
            text = self._fetch(part.source, path, name)
            taken = None if text is None else _part(text, name, self.ledger)
            if taken is not None:
                self._judge_head(taken)
                self.files.append(taken)
                self.follow(taken, (*chain, name))

    def _may_take(self, source: Source, path: Path, name: str, chain: tuple[str, ...]) -> bool:
        if not _INSIDE.fullmatch(name) or any(
            not step.strip(". ") or step.endswith((".", " ")) for step in name.split("/")
        ):
            self.ledger.note(
                faults.INCLUDE_OUTSIDE,
                source,
                path,
                expected="a file in the layout's folder",
                found=describe(name),
            )
        elif name in chain:
            self.ledger.note(
                faults.INCLUDE_CIRCLE,
                source,
                path,
                expected="no file twice on one way",
                found=" includes ".join((*chain[chain.index(name) :], name)),
            )
        elif len(self.files) > MOST_INCLUDES:
            self.ledger.note(
                faults.TOO_LARGE, source, path, expected=f"at most {MOST_INCLUDES} included files"
            )
        else:
            return True
        return False

    def _fetch(self, source: Source, path: Path, name: str) -> bytes | None:
        reason = "nothing here that fetches files"
        if self.include is not None:
            try:
                text = self.include(name)
            except OSError as error:
                reason = error.strerror or "it could not be read"
            except ParambakError as error:
                reason = error.text
            else:
                self.length += len(text)
                if self.length <= LONGEST_TEXT:
                    return text
                reason = f"more than {LONGEST_TEXT} bytes in all"
        self.ledger.note(
            faults.INCLUDE_ABSENT,
            source,
            path,
            expected=f"the file {describe(name)}",
            found=reason,
        )
        return None

    def _judge_head(self, part: Part) -> None:
        head = part.source.tree.get("layout", {})
        for key in head if isinstance(head, dict) else ():
            if key not in _SHARED_HEAD:
                self.ledger.note(
                    faults.INCLUDE_HEAD,
                    part.source,
                    ("layout", key),
                    expected="only " + ", ".join(_SHARED_HEAD),
                    found=key,
                )
