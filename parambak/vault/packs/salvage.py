"""What can still be proven of a damaged pack: each member by itself, by its digest.

A pack is read strictly elsewhere (zip_form.py), and one damaged byte in a header refuses all of it.
Here its headers are only hints at where a member's data may begin: the local ones, and those of the
directory, which repeat the same. What unpacks there counts if its SHA-256 is the one in the
member's name. If the name is damaged, the CRC-32 in the header counts. The pack is only read.
formats/packed-vessels.md, "A damaged pack".
"""

from __future__ import annotations

import zlib
from contextlib import suppress
from typing import TYPE_CHECKING, BinaryIO, NamedTuple

from parambak.memory.digests import sha256
from parambak.vault.packs.zip_form import (
    CENTRAL_HEAD,
    CENTRAL_SIGN,
    DEFLATED,
    LOCAL_HEAD,
    LOCAL_SIGN,
    LONGEST_NAME,
    MANIFEST,
    MAX_MEMBERS,
    MAX_RATIO,
    MAX_TOTAL,
    OURS,
    STORED,
    limit_of,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

END_SIGN = b"PK\x05\x06"
END_LENGTH = 22
_CHUNK = 1 << 16
_OVERLAP = 3  # bytes of a sign that may lie before a chunk's end
_SPARE = 1 << 20  # bytes that data may unpack to, of any packed size


class Hint(NamedTuple):
    """Where a member's data may begin, and what its header states."""

    at: int
    name: str
    method: int
    crc: int
    packed: int
    size: int


class Salvaged(NamedTuple):
    """One member whose bytes are proven, or what is lost: then `data` is None.

    `name` is the one in its header if that is right, else its location in the file.
    """

    hint: Hint
    name: str
    data: bytes | None


class _Work:
    """How many more bytes may be read and unpacked, of all members: headers can be made up."""

    def __init__(self) -> None:
        self.remaining = 2 * MAX_TOTAL


def begins_or_ends(begin: bytes, end: bytes) -> bool:
    """Return whether a file's first and last bytes, or one of both, are those of a pack."""
    return begin.startswith(LOCAL_SIGN) or end[-END_LENGTH:].startswith(END_SIGN)


def members(stream: BinaryIO) -> Iterator[Salvaged]:
    """Yield what can be proven in a pack, then what it names and cannot; one at a time.

    Bounded as packs are: so many members, so many bytes of each and in all.
    """
    length = stream.seek(0, 2)
    hints = sorted(set(_hints(stream, length)))
    lost: dict[str, Hint] = {}
    proven: set[str] = set()
    behind, work = 0, _Work()
    for hint in hints:
        if hint.at < behind or hint.name in proven:
            continue  # within what was proven, or given twice
        unpacked = _unpacked(stream, hint, length, work)
        name = _name_of(hint, unpacked[0]) if unpacked else None
        if unpacked is None or name is None:
            if OURS.fullmatch(hint.name) and hint.name != MANIFEST:
                lost.setdefault(hint.name, hint)
            continue
        proven.add(hint.name)
        if name == hint.name:  # a made-up header with a right CRC-32 may span others
            behind = unpacked[1]
        yield Salvaged(hint, name, unpacked[0])
    for name, hint in lost.items():
        if name not in proven:
            yield Salvaged(hint, name, None)


def read(stream: BinaryIO, hint: Hint) -> bytes:
    """Return the bytes of a hint again; empty if they are gone by now."""
    unpacked = _unpacked(stream, hint, stream.seek(0, 2), _Work())
    return unpacked[0] if unpacked else b""


def _name_of(hint: Hint, data: bytes) -> str | None:
    """Return what to call proven data: its name or, if that is damaged, its location; else None."""
    if hint.name.rpartition("/")[2][:64] == sha256(data):
        return hint.name
    proven = len(data) == hint.size and zlib.crc32(data) == hint.crc
    return f"the member at 0x{hint.at:08X}" if proven else None


def _hints(stream: BinaryIO, length: int) -> Iterator[Hint]:
    """Yield what the headers state, of at most twice as many members as a pack can have."""
    count = 0
    for at, sign in _signs(stream, length):
        hint = _hint(stream, at, sign)
        if hint is not None and hint.at < length:
            count += 1
            if count > 2 * MAX_MEMBERS:
                return
            yield hint


def _signs(stream: BinaryIO, length: int) -> Iterator[tuple[int, bytes]]:
    """Yield where a header may begin, in order; the first even if its own sign is damaged."""
    yield 0, LOCAL_SIGN
    for start in range(0, length, _CHUNK):
        stream.seek(start)
        chunk = stream.read(_CHUNK + _OVERLAP)
        at = chunk.find(b"PK")
        while 0 <= at < _CHUNK:
            sign = chunk[at : at + 4]
            if sign in (LOCAL_SIGN, CENTRAL_SIGN) and start + at:
                yield start + at, sign
            at = chunk.find(b"PK", at + 1)


def _hint(stream: BinaryIO, at: int, sign: bytes) -> Hint | None:
    """Return what a header states; None if the file ends within it.

    Of a long name the first part counts.
    """
    local = sign == LOCAL_SIGN
    form = LOCAL_HEAD if local else CENTRAL_HEAD
    stream.seek(at)
    head = stream.read(form.size)
    if len(head) < form.size:
        return None
    parts = form.unpack(head)
    numbers = (3, 6, 7, 8, 9) if local else (4, 7, 8, 9, 10)
    method, crc, packed, size, length = (parts[n] for n in numbers)
    raw = stream.read(min(length, LONGEST_NAME))
    if len(raw) < min(length, LONGEST_NAME):
        return None
    start = at if local else parts[16]
    name = raw.decode("ascii", "backslashreplace")
    return Hint(start + LOCAL_HEAD.size + length, name, method, crc, packed, size)


def _unpacked(stream: BinaryIO, hint: Hint, length: int, work: _Work) -> tuple[bytes, int] | None:
    """Return what the data at a hint unpacks to, and where that ends; None if it cannot."""
    limit = limit_of(hint.name)
    if hint.method == DEFLATED:
        return _inflated(stream, hint.at, limit, work)
    if hint.method != STORED or hint.size > limit or hint.at + hint.size > length:
        return None
    work.remaining -= hint.size
    stream.seek(hint.at)
    return (stream.read(hint.size), hint.at + hint.size) if work.remaining >= 0 else None


def _inflated(stream: BinaryIO, at: int, limit: int, work: _Work) -> tuple[bytes, int] | None:
    """Unpack to the end that the data has in itself; the lengths in the header may be hit."""
    unpacker = zlib.decompressobj(-15)
    pieces: list[bytes] = []
    total = taken = 0
    with suppress(zlib.error):
        while not unpacker.eof:
            stream.seek(at + taken)
            chunk = stream.read(_CHUNK)
            if not chunk:
                return None
            taken += len(chunk)
            work.remaining -= len(chunk)  # data may be long and unpack to nothing
            while chunk and not unpacker.eof:
                piece = unpacker.decompress(chunk, _CHUNK)
                total += len(piece)
                work.remaining -= len(piece)
                if total > min(limit, MAX_RATIO * taken + _SPARE) or work.remaining < 0:
                    return None
                pieces.append(piece)
                chunk = unpacker.unconsumed_tail
        return b"".join(pieces), at + taken - len(unpacker.unused_data)
    return None
