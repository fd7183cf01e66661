"""The results of a search, as a layout for a person to confirm.

A confident result on bytes that no other entry uses becomes an entry; all else becomes a
comment. Every entry has its evidence as a note.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from parambak.layouts.model import MOST_MEMORY
from parambak.memory.names import folded

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from parambak.find.checks import LikelyCheck
    from parambak.find.search import Candidate, Result, ValueResult

_GUESSES = 3
_MOST_NAME = 80
_MOST_NOTE = 3900
_HEAD = """\
# A draft: each entry is a guess, made by comparing shown values with the bytes of images.
# Confirm each entry with the maker's documents, or by a change made on the panel. Then
# remove its "guess:" note. An entry behind a # is not confident.
"""


def draft(result: Result, names: Sequence[str]) -> str:
    """Return the layout's TOML text; `names` are those of the copies it was found in."""
    order = _usual_order(result)
    taken: list[tuple[int, int]] = []
    parts = [_HEAD, _head(result, names, order)]
    names_taken: set[str] = set()
    parts.extend(
        _field(each, _name(each.panel_value.name, names_taken), order, taken)
        for each in result.values
    )
    for number, check in enumerate(result.checks, 1):
        parts.append(_check(check, _name(f"check {number}", names_taken), order, taken))
    return "\n".join(parts)


def _usual_order(result: Result) -> str:
    orders = [
        each.candidates[0].interpretation.order
        for each in result.values
        if each.confident and each.candidates[0].interpretation.order
    ]
    return "little" if orders.count("little") > orders.count("big") else "big"


def _head(result: Result, names: Sequence[str], order: str) -> str:
    lines = [
        "[layout]",
        f"title = {_text('Draft from a search for values')}",
        f"memory = {min(result.end, MOST_MEMORY)}",
        f"byte-order = {_text(order)}",
        f"source = {_text('searched in ' + ', '.join(names))}",
    ]
    return "\n".join([*lines, *(f"# note: {_plain(note)}" for note in result.notes), ""])


def _field(found: ValueResult, name: str, order: str, taken: list[tuple[int, int]]) -> str:
    if not found.candidates:
        why = "at too many addresses" if found.crowded else "at no address in any form tried"
        return f"# {_plain(found.panel_value.name)}: {why}.\n"
    first = found.candidates[0]
    extents = [(at, at + first.length) for at in (first.at, *first.mirror_at)]
    free = not any(a < d and c < b for a, b in extents for c, d in taken)
    free = free and all(end <= MOST_MEMORY for _, end in extents)
    if found.confident and free:
        taken += extents
        return "\n".join([*_entry(found, first, name, order), ""])
    why = "not certain; the most likely first."
    if found.confident:
        why = "an entry above uses its bytes, or the address is too high for a layout."
    lines = [f"# {_plain(found.panel_value.name)}: {why}"]
    for candidate in found.candidates[:_GUESSES]:
        lines += [f"# {line}" for line in _entry(found, candidate, name, order)]
    return "\n".join([*lines, ""])


def _entry(found: ValueResult, candidate: Candidate, name: str, order: str) -> Iterator[str]:
    interpretation = candidate.interpretation
    yield "[[field]]"
    yield f"name = {_text(name)}"
    yield f"at = 0x{candidate.at:04X}"
    yield f"type = {_text(interpretation.type.name)}"
    if interpretation.type.length is None:
        yield f"length = {candidate.length}"
    if interpretation.type.kind == "text":
        yield f"encoding = {_text(interpretation.encoding or 'ascii')}"
    elif interpretation.order and interpretation.order != order:
        yield f"byte-order = {_text(interpretation.order)}"
    scale = interpretation.scale_text
    if scale:
        yield f"scale = {scale}"
    if interpretation.fraction:
        yield f"fraction = {interpretation.fraction}"
    if found.panel_value.unit and interpretation.type.kind != "text":
        yield f"unit = {_text(found.panel_value.unit)}"
    if candidate.mirror_at:
        yield f"mirror-at = [{', '.join(f'0x{at:04X}' for at in candidate.mirror_at)}]"
    note = f"guess: {candidate.odds} to 1 of {found.panel_value.name}; " + "; ".join(
        candidate.evidence
    )
    yield f"note = {_text(note[:_MOST_NOTE])}"


def _check(found: LikelyCheck, name: str, order: str, taken: list[tuple[int, int]]) -> str:
    extent = found.at, found.at + found.length
    free = not any(extent[0] < end and start < extent[1] for start, end in taken)
    certain = found.confident and free and extent[1] <= MOST_MEMORY
    if certain:
        taken.append(extent)
    note = "guess: " + "; ".join(found.evidence)
    lines = [
        "[[check]]",
        f"name = {_text(name)}",
        f"method = {_text(found.method)}",
        f"over = [[0x{found.over[0]:04X}, 0x{found.over[1]:04X}]]",
        f"at = 0x{found.at:04X}",
    ]
    if found.byte_order != order and found.length > 1:
        lines.append(f"byte-order = {_text(found.byte_order)}")
    lines.append(f"note = {_text(note)}")
    return "\n".join([*lines, ""] if certain else [*(f"# {line}" for line in lines), ""])


def _name(name: str, taken: set[str]) -> str:
    """Return a name that the language takes, and that is not taken."""
    made = "".join("_" if each in ".[]{}\"\\'=" else each for each in name)[
        : _MOST_NAME - 4
    ].strip()
    made = made or "value"
    tried, number = made, 1
    while folded(tried) in taken:
        number += 1
        tried = f"{made}_{number}"
    taken.add(folded(tried))
    return tried


def _plain(text: str) -> str:
    return text.replace("\n", " ")


def _text(text: str) -> str:
    """Return a TOML basic string: what JSON writes, its escapes are TOML's too."""
    return json.dumps(text, ensure_ascii=False)
