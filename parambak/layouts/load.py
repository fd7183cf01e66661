"""A layout file's text to a Layout, or to every mistake in it at once."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import msgspec

from parambak.errors import LayoutRefused, ParambakError
from parambak.layouts import faults
from parambak.layouts.judge import Judge, LayoutPart
from parambak.layouts.mistakes import Ledger, Mistake, Spot, describe
from parambak.layouts.model import MOST_DEPTH, Layout, structured
from parambak.layouts.parse import LONGEST_TEXT, parse

if TYPE_CHECKING:
    from collections.abc import Callable

    from parambak.layouts.mistakes import Source
    from parambak.layouts.model import LayoutFile, Mirrored, Normal

LANGUAGE = 1
MOST_INCLUDES = 50
_INSIDE = re.compile(r"[\w.-][\w. -]*(?:/[\w.-][\w. -]*)*")
# The keys that the head of an included file may have.
_SHARED_HEAD = ("include", "language", "note", "source")


def gather(
    text: bytes, include: Callable[[str], bytes] | None, ledger: Ledger
) -> tuple[LayoutPart, ...] | None:
    """Return the layout's files, or None if the first cannot be read at all."""
    first = _part(text, None, ledger)
    if first is None:
        return None
    gatherer = _Gatherer(include, ledger, len(text))
    gatherer.files.append(first)
    gatherer.follow(first, ())
    return tuple(gatherer.files)


def _part(text: bytes, file: str | None, ledger: Ledger) -> LayoutPart | None:
    try:
        source = parse(text, file)
    except LayoutRefused as refusal:
        ledger.note_refusal(refusal, file)
        return None
    if not _known_language(source, ledger):
        return None
    tables = shaped(source, ledger)
    return None if tables is None else LayoutPart(source, tables)


def _known_language(source: Source, ledger: Ledger) -> bool:
    """Note a version of the language that is not supported; nothing else is judged then."""
    head = source.tree.get("layout")
    language = head.get("language", LANGUAGE) if isinstance(head, dict) else LANGUAGE
    if isinstance(language, int) and not isinstance(language, bool) and language != LANGUAGE:
        head_spot = Spot(ledger, source, ("layout",))
        head_spot.note(faults.UNKNOWN_LANGUAGE, "language", str(LANGUAGE), describe(language))
        return False
    return True


def shaped(source: Source, ledger: Ledger) -> LayoutFile | None:
    """Return all that could be read of the file as structs; note every mistake."""
    if _group_depth(source.tree) > MOST_DEPTH:
        Spot(ledger, source).note(faults.TOO_DEEP, "group", f"groups at most {MOST_DEPTH} deep")
        return None
    try:
        return structured(source.tree)
    except msgspec.ValidationError:
        # Only a file with mistakes needs the slow walk, and what it imports.
        from parambak.layouts.salvage import salvaged  # noqa: PLC0415 - see above

        return salvaged(source, ledger)


def _group_depth(tree: dict[str, Any]) -> int:
    depth = 0
    level: list[Any] = [tree]
    while level and depth <= MOST_DEPTH:
        inner = [node.get("group") for node in level if isinstance(node, dict)]
        level = [entry for groups in inner if isinstance(groups, list) for entry in groups]
        depth += bool(level)
    return depth


class _Gatherer:
    def __init__(self, include: Callable[[str], bytes] | None, ledger: Ledger, length: int) -> None:
        self.include = include
        self.ledger = ledger
        self.files: list[LayoutPart] = []
        self.length = length

    def follow(self, part: LayoutPart, chain: tuple[str, ...]) -> None:
        """Add what `part` includes; `chain` names the files on the way to it."""
        for index, name in enumerate(part.tables.layout.include):
            spot = Spot(self.ledger, part.source, ("layout", "include", index))
            if not self._may_take(spot, name, chain):
                continue
            if any(taken_file.source.file == name for taken_file in self.files):
                continue  # included twice: it is added once
            text = self._fetch(spot, name)
            taken = None if text is None else _part(text, name, self.ledger)
            if taken is not None:
                self._judge_head(taken)
                self.files.append(taken)
                self.follow(taken, (*chain, name))

    def _may_take(self, spot: Spot, name: str, chain: tuple[str, ...]) -> bool:
        if not _INSIDE.fullmatch(name) or any(
            not step.strip(". ") or step.endswith((".", " ")) for step in name.split("/")
        ):
            expected, found = "a file in the layout's folder", describe(name)
            spot.note(faults.INCLUDE_OUTSIDE, expected=expected, found=found)
        elif name in chain:
            circle = " includes ".join((*chain[chain.index(name) :], name))
            expected = "no file that includes itself"
            spot.note(faults.INCLUDE_CIRCLE, expected=expected, found=circle)
        elif len(self.files) > MOST_INCLUDES:
            spot.note(faults.TOO_LARGE, expected=f"at most {MOST_INCLUDES} included files")
        else:
            return True
        return False

    def _fetch(self, spot: Spot, name: str) -> bytes | None:
        reason = "no way to read files"
        if self.include is not None:
            try:
                text = self.include(name)
            except OSError as error:
                reason = error.strerror or "it cannot be read"
            except ParambakError as error:
                reason = error.text
            else:
                self.length += len(text)
                if self.length <= LONGEST_TEXT:
                    return text
                reason = f"more than {LONGEST_TEXT} bytes in total"
        spot.note(faults.INCLUDE_ABSENT, expected=f"the file {describe(name)}", found=reason)
        return None

    def _judge_head(self, part: LayoutPart) -> None:
        head = part.source.tree.get("layout", {})
        spot = Spot(self.ledger, part.source, ("layout",))
        for key in head if isinstance(head, dict) else ():
            if key not in _SHARED_HEAD:
                spot.note(faults.INCLUDE_HEAD, key, "only " + ", ".join(_SHARED_HEAD), key)


__all__ = ["Layout", "Mistake", "check", "load"]


def check(
    text: bytes, *, name: str = "layout", include: Callable[[str], bytes] | None = None
) -> tuple[Mistake, ...]:
    """Return every mistake of a layout file, in the order of its lines; none if it has none.

    `include` fetches a file that the layout includes, by its name as written; it raises
    OSError or ParambakError if there is none. `name` is the layout's, for messages.
    """
    return _examine(text, name, include)[1]


def load(
    text: bytes, *, name: str = "layout", include: Callable[[str], bytes] | None = None
) -> Layout:
    """Return the layout that `text` and its includes describe.

    Raise LayoutRefused with the code, line, expected and found of the first mistake; its
    text states how many more there are, and `check` gives them all.
    """
    layout, mistakes = _examine(text, name, include)
    if layout is None:
        raise _refusal(mistakes)
    return layout


def _refusal(mistakes: tuple[Mistake, ...]) -> LayoutRefused:
    first = mistakes[0]
    more = len(mistakes) - 1
    key = f"{first.key}: " if first.key else ""
    inside = f"in {first.file}: " if first.file else ""
    text = f"{inside}{key}{first.text}"
    if more:
        text += f" And {more} more mistake{'s' if more > 1 else ''} in this layout."
    return LayoutRefused(
        first.code,
        text,
        line=first.line,
        expected=first.expected,
        found=first.found,
        next=first.next,
    )


def _examine(
    text: bytes, name: str, include: Callable[[str], bytes] | None
) -> tuple[Layout | None, tuple[Mistake, ...]]:
    ledger = Ledger()
    gathered = gather(text, include, ledger)
    if gathered is not None:
        Judge(gathered, ledger).run()
    mistakes = ledger.mistakes
    if mistakes or gathered is None:
        return None, mistakes
    return _layout(name, gathered), ()


def _layout(name: str, files: tuple[LayoutPart, ...]) -> Layout:
    head = files[0].tables.layout
    blocks = tuple(block for file in files for block in file.tables.mirrored)
    memory = head.memory or 0
    return Layout(
        name=name,
        title=head.title or "",
        revision=head.revision,
        memory=memory,
        byte_order=head.byte_order or "big",
        blank=head.blank,
        normal=_normal(head.normal, blocks, memory),
        card_types=head.card_types,
        software_versions=head.software_versions,
        includes=tuple(file.source.file for file in files if file.source.file is not None),
        fields=tuple(field for file in files for field in file.tables.field),
        groups=tuple(group for file in files for group in file.tables.group),
        checks=tuple(entry for file in files for entry in file.tables.check),
        reserved=tuple(area for file in files for area in file.tables.reserved),
        mirrored=blocks,
        note=head.note,
        source=head.source,
    )


def _normal(
    declared: tuple[Normal, ...], blocks: tuple[Mirrored, ...], memory: int
) -> tuple[Normal, ...]:
    """Return what is normal; a mirrored block of half the memory adds `mirrored`."""
    halves = {0, memory // 2}
    for block in blocks:
        if 2 * block.length == memory and {block.at, block.mirror_at} == halves:
            return tuple(dict.fromkeys((*declared, "mirrored")))
    return declared
