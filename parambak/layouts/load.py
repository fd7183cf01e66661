"""A layout file's text to a Layout, or to every mistake in it at once."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.errors import LayoutRefused
from parambak.layouts.includes import gather
from parambak.layouts.judge import Judge
from parambak.layouts.mistakes import Ledger, Mistake
from parambak.layouts.model import Layout

if TYPE_CHECKING:
    from collections.abc import Callable

    from parambak.layouts.includes import Gathered
    from parambak.layouts.model import KeptTwice, Normal

__all__ = ["Layout", "Mistake", "check", "load"]


def check(
    text: bytes, *, name: str = "layout", include: Callable[[str], bytes] | None = None
) -> tuple[Mistake, ...]:
    """Return every mistake of a layout file, in the order of its lines; none where it is good.

    `include` fetches a file that the layout includes, by its name as written; it raises
    OSError or ParambakError where there is none. `name` is the layout's, for messages.
    """
    return _examine(text, name, include)[1]


def load(
    text: bytes, *, name: str = "layout", include: Callable[[str], bytes] | None = None
) -> Layout:
    """Return the layout that `text` and its includes describe.

    Raise LayoutRefused with the code, line, expected and found of the first mistake; its
    text says how many more there are, and `check` gives them all.
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


def _layout(name: str, gathered: Gathered) -> Layout:
    head, files = gathered.head, gathered.files
    blocks = tuple(block for each in files for block in each.tables.kept_twice)
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
        includes=tuple(each.source.file for each in files if each.source.file is not None),
        fields=tuple(field for each in files for field in each.tables.field),
        groups=tuple(group for each in files for group in each.tables.group),
        checks=tuple(entry for each in files for entry in each.tables.check),
        reserved=tuple(area for each in files for area in each.tables.reserved),
        kept_twice=blocks,
        note=head.note,
        source=head.source,
    )


def _normal(
    declared: tuple[Normal, ...], blocks: tuple[KeptTwice, ...], memory: int
) -> tuple[Normal, ...]:
    """Return what is normal; a block that is half the memory, kept twice, says so itself."""
    halves = {0, memory // 2}
    for block in blocks:
        if 2 * block.length == memory and {block.at, block.duplicate_at} == halves:
            return tuple(dict.fromkeys((*declared, "kept-twice")))
    return declared
