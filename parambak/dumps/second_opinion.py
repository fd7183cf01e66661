"""The same dump decoded once more, by code that has nothing to do with this program's.

Each format names its judge. If a library is wrong by the standard, or stricter than it, it is
not asked, and the answer gives the reason (`formats/intel-hex.md`, "How other programs
differ").
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from parambak.dumps.faults import OPINION_DIFFERS, OPINION_REFUSES
from parambak.dumps.placing import shown
from parambak.dumps.registry import format_named

if TYPE_CHECKING:
    from collections.abc import Iterator

    from parambak.dumps.dump import Dump
    from parambak.dumps.format import Judge
    from parambak.memory.image import Image


@dataclass(frozen=True, slots=True)
class Opinion:
    """Who judged (name and version), whether it agrees, and else why it was not asked.

    `agrees` is True, or None where nobody could be asked; a disagreement is refused.
    """

    judge: str | None
    agrees: bool | None
    why_not: str | None = None


def second_opinion(data: bytes, dump: Dump) -> Opinion:
    """Return the opinion of unrelated code on `dump`, as read from `data`.

    Raise DumpRefused where it disagrees, with the first address that differs.
    """
    judge = format_named(dump.format).judge(data, dump)
    if isinstance(judge, str):
        return Opinion(None, None, why_not=judge)
    _compare(dump.image, judge)
    return Opinion(judge.name, agrees=True)


def _compare(image: Image, judge: Judge) -> None:
    size = 0
    for start, data in _pieces(image, judge):
        size += len(data)
        if image.read(start, len(data)) != data:
            _differ(image, judge, start, data)
    if size != image.size:
        raise OPINION_DIFFERS.error(
            expected=f"{image.size} bytes, as read here", found=f"{size} bytes", judge=judge.name
        )


def _pieces(image: Image, judge: Judge) -> Iterator[tuple[int, bytes]]:
    try:
        yield from judge.pieces
    except Exception as error:  # any error of a library is its refusal
        raise OPINION_REFUSES.error(
            expected=f"the {image.size} bytes read here",
            found=str(error)[:200],
            judge=judge.name,
        ) from error


def _differ(image: Image, judge: Judge, start: int, data: bytes) -> None:
    for address, byte in enumerate(data, start):
        own_byte = image.read(address, 1)
        if own_byte != bytes((byte,)):
            expected = f"{own_byte[0]:02X}" if own_byte else "nothing"
            raise OPINION_DIFFERS.error(
                offset=address,
                expected=f"{expected} at {shown(address)}, as read here",
                found=f"{byte:02X}",
                judge=judge.name,
            )
