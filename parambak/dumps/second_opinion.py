"""The same dump decoded once more, by code that has nothing to do with this program's.

intelhex decodes Intel HEX, bincopy S-records. Where a library is known to be wrong by the
standard, or stricter than it, it is not asked, and the answer says why
(`formats/intel-hex.md`, "How other programs differ").
"""

from __future__ import annotations

from dataclasses import dataclass
from io import StringIO
from itertools import islice
from typing import TYPE_CHECKING, Any, Final, Protocol

from parambak.dumps import intel_hex, s_record
from parambak.dumps.dump import TEXT_AROUND, Terms
from parambak.dumps.faults import OPINION_DIFFERS, OPINION_REFUSES
from parambak.dumps.placing import shown

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from parambak.dumps.dump import Dump
    from parambak.memory.image import Image

_PORTION: Final = 4096
"""Lines that are handed over at a time: the libraries hold an object for each byte, or
search all their pieces for each record, so a whole file could take too much of either."""
_NOT_ASKED: Final = {
    "hex-wrap-accepted": "the libraries place data that wrap where the standard does not",
    "hex-past-64k": "the standard does not say where data past 0xFFFF go without a base record",
    "hex-same-byte-twice-accepted": "the libraries refuse an address that is given twice",
    "srec-same-byte-twice-accepted": "the libraries refuse an address that is given twice",
}


@dataclass(frozen=True, slots=True)
class Opinion:
    """Who judged (name and version), whether it agrees, and else why it was not asked.

    `agrees` is True, or None where nobody could be asked; a disagreement is refused.
    """

    judge: str | None
    agrees: bool | None
    why_not: str | None = None


class Judge(Protocol):
    """A library under one face."""

    name: str

    def pieces(self, lines: list[str]) -> Iterator[tuple[int, bytes]]:
        """Yield the bytes that some lines stand for, each piece with its first address."""


def second_opinion(data: bytes, dump: Dump) -> Opinion:
    """Return the opinion of unrelated code on `dump`, as read from `data`.

    Raise DumpRefused where it disagrees, with the first address that differs.
    """
    codes = {finding.code for finding in dump.findings}
    for code, why in _NOT_ASKED.items():
        if code in codes:
            return Opinion(None, None, why)
    if dump.format == "raw":
        return Opinion(None, None, "a raw dump is its own bytes: there is nothing to decode")
    accepted = frozenset({TEXT_AROUND} if "hex-text-around-accepted" in codes else ())
    terms = Terms(accepted=accepted)
    if dump.format == "intel-hex":
        text = intel_hex.prepared(data, terms)
        judge: Judge = _Bincopy("add_ihex") if "hex-zero-field" in codes else _IntelHex()
        portions = _hex_portions(text.lines())
    else:
        judge = _Bincopy("add_srec")
        portions = _srec_portions(s_record.prepared(data, terms).lines())
    _compare(dump.image, judge, portions)
    return Opinion(judge.name, agrees=True)


def _portions(lines: Iterable[bytes]) -> Iterator[list[str]]:
    remaining = iter(lines)
    while portion := list(islice(remaining, _PORTION)):
        yield [line.decode("ascii") for line in portion if line.strip(b" \t")]


def _srec_portions(lines: Iterable[bytes]) -> Iterator[list[str]]:
    """Yield portions without data records that carry no bytes: bincopy may refuse those."""
    empty = {"S103", "S204", "S305"}
    for portion in _portions(lines):
        yield [line for line in portion if line[:4] not in empty]


def _hex_portions(lines: Iterable[bytes]) -> Iterator[list[str]]:
    """Yield portions that each begin with the base record in force.

    Start addresses (types 03 and 05) hold no data and are left out: stated twice alike,
    intelhex refuses them. So are data records that carry no bytes: bincopy may refuse those.
    """
    base: list[str] = []
    for portion in _portions(lines):
        kept = [
            line
            for line in portion
            if line[7:9] not in ("03", "05") and (line[7:9] != "00" or line[1:3] != "00")
        ]
        yield base + kept
        base = next(([line] for line in reversed(kept) if line[7:9] in ("02", "04")), base)


def _compare(image: Image, judge: Judge, portions: Iterator[list[str]]) -> None:
    size = 0
    for portion in portions:
        try:
            pieces = list(judge.pieces(portion))
        except Exception as error:  # whatever a library raises is its refusal
            raise OPINION_REFUSES.error(
                expected=f"the {image.size} bytes read here",
                found=str(error)[:200],
                judge=judge.name,
            ) from error
        for start, data in pieces:
            size += len(data)
            if image.read(start, len(data)) != data:
                _differ(image, judge, start, data)
    if size != image.size:
        raise OPINION_DIFFERS.error(
            expected=f"{image.size} bytes, as read here", found=f"{size} bytes", judge=judge.name
        )


def _differ(image: Image, judge: Judge, start: int, data: bytes) -> None:
    for address, byte in enumerate(data, start):
        ours = image.read(address, 1)
        if ours != bytes((byte,)):
            mine = f"{ours[0]:02X}" if ours else "nothing"
            raise OPINION_DIFFERS.error(
                offset=address,
                expected=f"{mine} at {shown(address)}, as read here",
                found=f"{byte:02X}",
                judge=judge.name,
            )


class _IntelHex:
    def __init__(self) -> None:
        import intelhex  # noqa: PLC0415 - heavy, and only dumps that are archived need it
        from intelhex.__version__ import version_str  # noqa: PLC0415 - the same

        self.name = f"intelhex {version_str}"
        self._library: Any = intelhex

    def pieces(self, lines: list[str]) -> Iterator[tuple[int, bytes]]:
        decoded = self._library.IntelHex(StringIO("\n".join(lines)))
        for start, end in decoded.segments():
            yield start, decoded.tobinstr(start=start, size=end - start)


class _Bincopy:
    def __init__(self, method: str) -> None:
        import bincopy  # noqa: PLC0415 - heavy, and only dumps that are archived need it

        self.name = f"bincopy {bincopy.__version__}"
        self._library: Any = bincopy
        self._method = method

    def pieces(self, lines: list[str]) -> Iterator[tuple[int, bytes]]:
        decoded = self._library.BinFile()
        getattr(decoded, self._method)("\n".join(lines))
        for segment in decoded.segments:
            yield segment.address, bytes(segment.data)
