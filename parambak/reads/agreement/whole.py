"""The two reads as wholes: one cut short, one that repeats the other, or two different chips."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from parambak.memory import relations
from parambak.memory.counted import counted
from parambak.reads.agreement.model import ANOTHER_CHIP, CUT_SHORT, REPEATED, Claim

if TYPE_CHECKING:
    from collections.abc import Iterator

    from parambak.memory.image import Image, Range
    from parambak.reads.agreement.evidence import Evidence

_LENGTH: Final = 16.0
"""Bits that it costs to leave a difference in length open."""
_WHOLE: Final = 40.0
_SURE_BYTES: Final = 16
_LIKE: Final = 0.5
_STRANGE: Final = 0.1


def cut_short(one: Image, seen: Evidence) -> Claim | None:
    """Return that the second read lacks a part of `one`, the first; what of the rest agrees."""
    if not seen.lacks or seen.count > seen.agreeing / 4:
        return None
    lacking = sum(each.length for each in seen.lacks)
    lost = b"".join(one.read(each.start, each.length) or b"" for each in seen.lacks[:64])
    blank = lost.count(lost[:1]) == len(lost) and lost[0] in (0x00, 0xFF)
    gain = _WHOLE if not seen.count else _LENGTH - seen.rest(seen.count) + seen.null
    if seen.spare:
        gain -= _LENGTH
    agree = (
        "what both hold agrees"
        if not seen.count
        else f"{counted(seen.count, 'byte')} differ elsewhere"
    )
    text = (
        f"{seen.names[1]} lacks {lacking} of the {one.size} bytes that {seen.names[0]} holds, "
        f"{_where(seen.lacks)}; {agree}: that read was cut short"
    )
    if blank:
        text += f" (all {lost[0]:02X} in {seen.names[0]}: or its reader leaves blank bytes out)"
    share = lacking / (lacking + seen.count)
    sure = not (blank or seen.spare or seen.count) and seen.agreeing >= _SURE_BYTES
    return Claim(CUT_SHORT, gain, share, text, sure)


def _where(lacks: tuple[Range, ...]) -> str:
    shown = [f"0x{each.start:04X} to 0x{each.end - 1:04X}" for each in lacks[:3]]
    more = f" and {len(lacks) - 3} stretches more" if len(lacks) > 3 else ""
    return ", ".join(shown) + more


def repeated(one: Image, other: Image, names: tuple[str, str]) -> Claim | None:
    """Return that `other`, longer, is `one` over and over."""
    if len(one.blocks) != 1 or len(other.blocks) != 1 or one.start != other.start:
        return None
    found = relations.repeats(other.content, one.content)
    telling = len(one.content.translate(None, bytes({0, 0xFF, relations.filling(one.content)})))
    if found is None or found.share < 1.0 or telling < _SURE_BYTES:
        return None
    text = (
        f"{names[1]} is {other.size} bytes long and holds the {one.size} bytes of {names[0]} "
        "over and over: a larger chip was chosen, or the other read stopped at a part that the "
        "memory repeats"
    )
    return Claim(REPEATED, _WHOLE + 10, 1.0, text, sure=False)


def another_chip(seen: Evidence) -> Iterator[Claim]:
    """Yield that the two are different memories, as far as their data are strange to each other.

    Never certain: it is what is left where nothing known here explains the differences.
    """
    here, there = seen.telling
    fewer = min(here, there)
    if not fewer:
        return
    strange = 1.0 - _likeness(seen)
    nearness = (1.0 - strange) / _LIKE
    gain = min(30.0, 3.0 * fewer) * (1.0 - nearness)
    apart = seen.null - seen.alone
    gain += max(0.0, apart) if strange > 0.98 else apart
    kind = ""
    if gain <= 0 and strange >= _STRANGE and seen.count >= _SURE_BYTES:
        gain, kind = 4.0, ", as in a sister unit's memory of the same make"
    text = (
        f"{seen.count} of {seen.size} bytes differ, and of the bytes that are data "
        f"{seen.agreeing} agree{kind}: another chip was read, or this one was written anew"
    )
    yield Claim(ANOTHER_CHIP, gain, min(1.0, strange), text, sure=False)


def _likeness(seen: Evidence) -> float:
    """Return the share of data that agrees, less what chance makes agree: 0 to 1."""
    here, there = seen.telling
    either = here + there - seen.agreeing
    return max(0.0, seen.agreeing - seen.by_chance) / max(1.0, either)
