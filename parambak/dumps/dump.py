"""What a reader's file holds, and the terms on which it was read."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from msgspec import Struct

if TYPE_CHECKING:
    from parambak.memory.findings import Finding
    from parambak.memory.image import Image

SAME_BYTE_TWICE: Final = "same-byte-twice"
WRAP: Final = "wrap"
TEXT_AROUND: Final = "text-around"
NO_END: Final = "no-end"
ODD_END: Final = "odd-end"
TRAILING_BLANKS: Final = "trailing-blanks"
LOWER_CASE_S: Final = "lower-case-s"
BYTE_ORDER_MARK: Final = "byte-order-mark"
LOOKS_OTHERWISE: Final = "looks-otherwise"

GAP: Final = "-gap"
"""How the code of a finding ends that a line may be missing."""

ALLOWANCES: Final = {
    SAME_BYTE_TWICE: "one address given the same byte twice (Intel HEX, S-record)",
    WRAP: "data that wraps round the end of a segment or of 4 GiB (Intel HEX)",
    TEXT_AROUND: "text before the first or after the last record (Intel HEX, S-record)",
    NO_END: "no end record, or no terminator and no matching count (Intel HEX, S-record)",
    ODD_END: "a terminator whose type belongs to no data record (S-record)",
    TRAILING_BLANKS: "blanks after a record's checksum (Intel HEX, S-record)",
    LOWER_CASE_S: "records that begin with a lower-case s (S-record)",
    BYTE_ORDER_MARK: "a UTF-8 byte-order mark before the records (Intel HEX, S-record)",
    LOOKS_OTHERWISE: "content that looks like another format, taken as raw",
}
"""Irregularities that are refused unless they are named, by name."""


class Terms(Struct, frozen=True):
    """How a dump is to be read.

    `accepted` names the allowances of `ALLOWANCES` that hold; each one used becomes a
    finding. `memory_size` is the declared chip's size in bytes: the addresses of a text format
    must lie within it, and a raw dump must fill it. `base` is the address of the chip's first
    byte. `word_bytes` is the width of the memory's words: a raw dump holds whole words.
    `left_out` is the value of the bytes that the reader leaves out of its files, from the
    reader profile.
    """

    accepted: frozenset[str] = frozenset()
    memory_size: int | None = None
    base: int = 0
    word_bytes: int = 1
    left_out: int | None = None

    def allows(self, name: str) -> bool:
        """Return whether the allowance is named."""
        return name in self.accepted

    @property
    def end(self) -> int | None:
        """Return the first address after the declared chip, None without one."""
        return None if self.memory_size is None else self.base + self.memory_size


class Style(Struct, frozen=True):
    """How an image is to be written.

    `record_length` is the data bytes of a record (text formats; None: 16).
    `address_width` in bits: Intel HEX 16 (no base records), 20 (type 02) or 32 (type
    04); S-record 16 (S1), 24 (S2) or 32 (S3); None takes the narrowest that holds the
    image. `header` is the content of S0 (S-record). `fill` is the byte written for
    absent addresses and `base` the address at which the file begins (raw). `line_end`
    ends each line of a text format.
    """

    record_length: int | None = None
    address_width: int | None = None
    header: bytes = b""
    fill: int | None = None
    base: int = 0
    line_end: bytes = b"\n"


class Dump(Struct, frozen=True):
    """An image, and the findings of its reading.

    `format` is "intel-hex", "s-record" or "raw". `header` is the content of the first S0
    record. `start_address` is the one that a terminator or a type 05 record states. Of a
    type 03 record it is CS in the upper 16 bits and IP in the lower, as stored.
    """

    format: str
    image: Image
    findings: tuple[Finding, ...] = ()
    header: bytes | None = None
    start_address: int | None = None

    @property
    def used(self) -> frozenset[str]:
        """Return the allowances without which this dump is refused: each left its finding."""
        codes = [finding.code for finding in self.findings]
        return frozenset(
            name for name in ALLOWANCES if any(code.endswith(f"-{name}-accepted") for code in codes)
        )

    @property
    def doubts(self) -> tuple[Finding, ...]:
        """Return the findings that make it doubtful that the file is complete."""
        return tuple(finding for finding in self.findings if finding.code.endswith(GAP))
