"""The keys and kinds of value of a layout file, held against the language."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import msgspec

from parambak.layouts import faults
from parambak.layouts.model import MOST_DEPTH, structured

if TYPE_CHECKING:
    from parambak.layouts.mistakes import Ledger, Source
    from parambak.layouts.model import LayoutFile


def shaped(source: Source, ledger: Ledger) -> LayoutFile | None:
    """Return the file as structs, whatever could be read of it; note every mistake."""
    if _group_depth(source.tree) > MOST_DEPTH:
        ledger.note(
            faults.TOO_DEEP, source, ("group",), expected=f"groups at most {MOST_DEPTH} deep"
        )
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
