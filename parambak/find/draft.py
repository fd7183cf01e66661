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
    """Return the layout's TOML text; `names` are those of the copies searched."""
    order = _usual_order(result)
    taken: list[tuple[int, int]] = []
    parts = [_HEAD, _head(result, names, order)]
    names_taken: set[str] = set()
    parts.extend(
        _field(value, _name(value.panel_value.name, names_taken), order, taken)
        for value in result.values
    )
    for number, check in enumerate(result.checks, 1):
        parts.append(_check(check, _name(f"check {number}", names_taken), order, taken))
    return "\n".join(parts)


def _usual_order(result: Result) -> str:
    orders = [
        value.candidates[0].interpretation.order
        for value in result.values
        if value.confident and value.candidates[0].interpretation.order
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


def _field(value: ValueResult, name: str, order: str, taken: list[tuple[int, int]]) -> str:
    if not value.candidates:
        why = "at too many addresses" if value.crowded else "at no address in any form tried"
        return f"# {_plain(value.panel_value.name)}: {why}.\n"
    first = value.candidates[0]
    extents = [(at, at + first.length) for at in (first.at, *first.mirror_at)]
    free = not any(a < d and c < b for a, b in extents for c, d in taken)
    free = free and all(end <= MOST_MEMORY for _, end in extents)
    if value.confident and free:
        taken += extents
        return "\n".join([*_entry(value, first, name, order), ""])
    why = "not certain; the most likely first."
    if value.confident:
        why = "an entry above uses its bytes, or the address is too high for a layout."
    lines = [f"# {_plain(value.panel_value.name)}: {why}"]
    for candidate in value.candidates[:_GUESSES]:
        lines += [f"# {line}" for line in _entry(value, candidate, name, order)]
    return "\n".join([*lines, ""])


def _entry(value: ValueResult, candidate: Candidate, name: str, order: str) -> Iterator[str]:
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
    if value.panel_value.unit and interpretation.type.kind != "text":
        yield f"unit = {_text(value.panel_value.unit)}"
    if candidate.mirror_at:
        yield f"mirror-at = [{', '.join(f'0x{at:04X}' for at in candidate.mirror_at)}]"
    note = f"guess: {candidate.odds} to 1 of {value.panel_value.name}; " + "; ".join(
        candidate.evidence
    )
    yield f"note = {_text(note[:_MOST_NOTE])}"


def _check(check: LikelyCheck, name: str, order: str, taken: list[tuple[int, int]]) -> str:
    extent = check.at, check.at + check.length
    free = not any(extent[0] < end and start < extent[1] for start, end in taken)
    certain = check.confident and free and extent[1] <= MOST_MEMORY
    if certain:
        taken.append(extent)
    note = "guess: " + "; ".join(check.evidence)
    lines = [
        "[[check]]",
        f"name = {_text(name)}",
        f"method = {_text(check.method)}",
        f"over = [[0x{check.over[0]:04X}, 0x{check.over[1]:04X}]]",
        f"at = 0x{check.at:04X}",
    ]
    if check.byte_order != order and check.length > 1:
        lines.append(f"byte-order = {_text(check.byte_order)}")
    lines.append(f"note = {_text(note)}")
    return "\n".join([*lines, ""] if certain else [*(f"# {line}" for line in lines), ""])


def _name(name: str, taken: set[str]) -> str:
    """Return a valid name that is not used yet."""
    made = "".join("_" if letter in ".[]{}\"\\'=" else letter for letter in name)[
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
