"""The narrow form of ZIP that packs have: written, and read by nothing but this.

Section numbers are those of PKWARE's APPNOTE.TXT, version 6.3. formats/packed-vessels.md, "The form
of the ZIP". Every header has one possible form, so reading is comparing.
"""

from __future__ import annotations

import re
import stat
import zlib
from struct import Struct
from typing import TYPE_CHECKING, BinaryIO, NamedTuple

from parambak.vault import objects, records
from parambak.vault.files.disk import shown
from parambak.vault.packs.faults import (
    BEYOND,
    CENTRAL,
    DAMAGED,
    ENCRYPTED,
    HEADER,
    LINK,
    METHOD,
    NAME,
    NAME_TWICE,
    NOT_ONE,
    SIZE,
    TRUNCATED,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    from parambak.errors import ParambakError

MANIFEST = "manifest.json"
MAX_MEMBERS = 65_534  # 4.4.1.4: 65,535 would ask for ZIP64
MAX_FILE = 0xFFFF_FFFE  # bytes; the same
MAX_MANIFEST = 16 << 20
MAX_TOTAL = 16 << 30  # bytes of all members, unpacked
MAX_RATIO = 100  # of a member's length to its packed length
STORED, DEFLATED = 0, 8  # 4.4.5
LOCAL_HEAD = Struct("<4s5H3I2H")  # 4.3.7
CENTRAL_HEAD = Struct("<4s6H3I5H2I")  # 4.3.12
_END = Struct("<4s4H2IH")  # 4.3.16
LOCAL_SIGN, CENTRAL_SIGN, _END_SIGN = b"PK\x03\x04", b"PK\x01\x02", b"PK\x05\x06"
_NEEDED, _MADE_BY = 20, 0x0314  # 4.4.3, 4.4.2: version 2.0, on a system with modes
_DATE = 0x0021  # 1 January 1980
_ATTRIBUTES = (stat.S_IFREG | 0o644) << 16
_ENCRYPTED_FLAGS = 0x2041  # 4.4.4: bits 0, 6 and 13
_CHUNK = 1 << 16
LONGEST_NAME = 80  # of ours; a longer one is read no further
OURS = re.compile(
    r"manifest\.json|(?:objects/([0-9a-f]{2})/\1[0-9a-f]{62})"
    r"|(?:records/([0-9a-f]{2})/\2[0-9a-f]{62}\.json)"
)


class Member(NamedTuple):
    """One member: its name, method, CRC-32, both lengths, and where its header begins."""

    name: str
    method: int
    crc: int
    packed: int
    size: int
    offset: int

    @property
    def data_at(self) -> int:
        """Return the offset of its data."""
        return self.offset + LOCAL_HEAD.size + len(self.name)

    @property
    def end(self) -> int:
        """Return the offset behind its data."""
        return self.data_at + self.packed


# --- writing ---------------------------------------------------------------


class Writer:
    """Writes members one behind the other; holds one member in memory, and the names."""

    def __init__(self, out: BinaryIO) -> None:
        self._out = out
        self._members: list[Member] = []
        self._at = 0
        self._total = 0

    def add(self, name: str, data: bytes) -> None:
        """Write a member, deflated if that is worth it; `pack-size` if it is too much."""
        packer = zlib.compressobj(6, zlib.DEFLATED, -15)
        packed = packer.compress(data) + packer.flush()
        worth_it = len(packed) < len(data) <= MAX_RATIO * len(packed)
        method, body = (DEFLATED, packed) if worth_it else (STORED, data)
        member = Member(name, method, zlib.crc32(data), len(body), len(data), self._at)
        self._total += member.size
        _check_limits(member, len(self._members) + 1, self._total)
        self._members.append(member)
        self._write(_local(member) + name.encode("ascii"))
        self._write(body)

    def finish(self) -> int:
        """Write the directory and the end; return the length of the whole."""
        start = self._at
        for member in self._members:
            self._write(_central(member))
        self._write(_end(len(self._members), self._at - start, start))
        _check_whole(self._at)
        return self._at

    def _write(self, data: bytes) -> None:
        self._out.write(data)
        self._at += len(data)


def _local(member: Member) -> bytes:
    lengths = (member.crc, member.packed, member.size, len(member.name), 0)
    return LOCAL_HEAD.pack(LOCAL_SIGN, _NEEDED, 0, member.method, 0, _DATE, *lengths)


def _central(member: Member) -> bytes:
    head = (CENTRAL_SIGN, _MADE_BY, _NEEDED, 0, member.method, 0, _DATE)
    lengths = (member.crc, member.packed, member.size, len(member.name), 0, 0, 0, 0)
    packed = CENTRAL_HEAD.pack(*head, *lengths, _ATTRIBUTES, member.offset)
    return packed + member.name.encode("ascii")


def _end(count: int, length: int, start: int) -> bytes:
    return _END.pack(_END_SIGN, 0, 0, count, count, length, start & 0xFFFF_FFFF, 0)


# --- reading ---------------------------------------------------------------


def read_members(stream: BinaryIO) -> list[Member]:
    """Return the members of a pack, in order; PackRefused if it has any other form.

    No data is read or unpacked. The first member is the manifest; names are those of a
    vault's files, rising, each once.
    """
    length = stream.seek(0, 2)
    _check_whole(length)
    stream.seek(0)
    start = stream.read(4)
    if start != LOCAL_SIGN:
        found = start.hex(" ").upper() or "an empty file"
        raise NOT_ONE.error(offset=0, expected=LOCAL_SIGN.hex(" ").upper(), found=found)
    members = list(_locals(stream, length))
    _read_directory(stream, members)
    return members


def _locals(stream: BinaryIO, length: int) -> Iterator[Member]:
    """Yield the members by their local headers, up to the directory."""
    last, at, count, total = "", 0, 0, 0
    while True:
        stream.seek(at)
        head = stream.read(LOCAL_HEAD.size)
        if head[:4] == CENTRAL_SIGN:
            return
        if head[:4] != LOCAL_SIGN and len(head) == LOCAL_HEAD.size:
            raise BEYOND.error(offset=at, expected="a header", found=head[:4].hex(" ").upper())
        if len(head) < LOCAL_HEAD.size:
            raise TRUNCATED.error(offset=length, expected="a header", found="the end of the file")
        count += 1
        member = _local_member(stream, head, at)
        total += member.size
        _check_limits(member, count, total)
        if member.end > length:
            expected = f"{member.packed} bytes of {member.name}"
            raise TRUNCATED.error(offset=length, expected=expected, found="the end of the file")
        _check_order(member, last if count > 1 else None)
        last, at = member.name, member.end
        yield member


def _local_member(stream: BinaryIO, head: bytes, at: int) -> Member:
    _, needed, flags, method, time, date, crc, packed, size, name_length, extra = LOCAL_HEAD.unpack(
        head
    )
    raw = stream.read(min(name_length, LONGEST_NAME))
    name = _known_name(raw, name_length, at)
    if flags & _ENCRYPTED_FLAGS:
        raise ENCRYPTED.error(
            file=name, offset=at, expected="flags 0", found=f"flags 0x{flags:04X}"
        )
    if method not in (STORED, DEFLATED):
        raise METHOD.error(file=name, offset=at, expected="method 0 or 8", found=f"method {method}")
    if (needed, flags, time, date, extra) != (_NEEDED, 0, 0, _DATE, 0):
        found = f"version {needed}, flags {flags}, time {time}, date {date}, {extra} extra bytes"
        expected = f"version {_NEEDED}, flags 0, time 0, date {_DATE}, 0 extra bytes"
        raise HEADER.error(file=name, offset=at, expected=expected, found=found)
    if method == STORED and packed != size:
        raise HEADER.error(
            file=name, offset=at, expected=f"{size} bytes stored", found=f"{packed} bytes"
        )
    return Member(name, method, crc, packed, size, at)


def _known_name(raw: bytes, length: int, at: int) -> str:
    """Return a member's name; refuse one that no pack gives, however it is intended to be read."""
    name = raw.decode("ascii", "backslashreplace")
    if length != len(raw) or not OURS.fullmatch(name):
        raise NAME.error(offset=at, expected="a name of a vault's file", found=shown(name))
    return name


def _check_order(member: Member, last: str | None) -> None:
    if last is None:
        if member.name != MANIFEST:
            raise NOT_ONE.error(offset=0, expected=MANIFEST, found=member.name)
    elif member.name in (last, MANIFEST):
        raise NAME_TWICE.error(file=member.name, offset=member.offset)
    elif last != MANIFEST and member.name < last:
        expected = f"a name behind {last}"
        raise HEADER.error(
            file=member.name, offset=member.offset, expected=expected, found=member.name
        )


def _check_limits(member: Member, count: int, total: int) -> None:
    """Hold a member, how many there are with it, and their bytes in all, against the limits."""
    if count > MAX_MEMBERS:
        raise SIZE.error(expected=f"at most {MAX_MEMBERS} members", found="more")
    if total > MAX_TOTAL:
        raise SIZE.error(expected=f"at most {MAX_TOTAL} bytes unpacked", found="more")
    limit = limit_of(member.name)
    if member.size > limit:
        raise SIZE.error(
            file=member.name, expected=f"at most {limit} bytes", found=f"{member.size} bytes"
        )
    if member.size > MAX_RATIO * member.packed:
        expected = f"at most {MAX_RATIO} times {member.packed} bytes"
        raise SIZE.error(file=member.name, expected=expected, found=f"{member.size} bytes")


def _check_whole(length: int) -> None:
    if length > MAX_FILE:
        raise SIZE.error(expected=f"a file of at most {MAX_FILE} bytes", found=f"{length} bytes")


def limit_of(name: str) -> int:
    """Return how many bytes a member of that name can have."""
    if name == MANIFEST:
        return MAX_MANIFEST
    return records.MAX_BYTES if name.startswith(records.FOLDER) else objects.MAX_BYTES


def _read_directory(stream: BinaryIO, members: list[Member]) -> None:
    """Hold the directory and the end record against the members."""
    start = at = members[-1].end
    stream.seek(at)
    for member in members:
        expected = _central(member)
        found = stream.read(len(expected))
        if found != expected:
            raise _central_fault(member, expected, found, at)
        at += len(expected)
    expected = _end(len(members), at - start, start)
    found = stream.read(len(expected))
    if len(found) < len(expected):
        raise TRUNCATED.error(
            offset=at + len(found), expected="the end record", found="the end of the file"
        )
    if found[:-2] != expected[:-2]:
        raise CENTRAL.error(
            offset=at, expected=expected.hex(" ").upper(), found=found.hex(" ").upper()
        )
    if found != expected or stream.read(1):
        raise BEYOND.error(offset=at + len(expected), expected="the end of the file", found="more")


def _central_fault(member: Member, expected: bytes, found: bytes, at: int) -> ParambakError:
    if len(found) < len(expected):
        return TRUNCATED.error(
            offset=at + len(found), expected="the directory", found="the end of the file"
        )
    parts = CENTRAL_HEAD.unpack(found[: CENTRAL_HEAD.size])
    mode = parts[15] >> 16
    if parts[0] == CENTRAL_SIGN and stat.S_ISLNK(mode):
        return LINK.error(file=member.name, offset=at, expected="a plain file", found="a link")
    where = next(n for n, (a, b) in enumerate(zip(expected, found, strict=True)) if a != b)
    return CENTRAL.error(
        file=member.name,
        offset=at + where,
        expected=expected[where : where + 8].hex(" ").upper(),
        found=found[where : where + 8].hex(" ").upper(),
    )


def content(stream: BinaryIO, member: Member) -> Iterator[bytes]:
    """Yield a member's bytes in pieces; `pack-damaged` if they are not as its header states.

    Never more bytes than the header states, even if the data unpacks to more.
    """
    total = crc = 0
    try:
        for piece in _unpacked(stream, member):
            total += len(piece)
            if total > member.size:
                raise _damaged(member, f"{member.size} bytes", "more")
            crc = zlib.crc32(piece, crc)
            yield piece
    except zlib.error as error:
        raise _damaged(member, "deflated data", str(error)) from error
    if total != member.size:
        raise _damaged(member, f"{member.size} bytes", f"{total} bytes")
    if crc != member.crc:
        raise _damaged(member, f"CRC-32 {member.crc:08X}", f"{crc:08X}")


def _unpacked(stream: BinaryIO, member: Member) -> Iterator[bytes]:
    if member.method == STORED:
        yield from _packed(stream, member)
        return
    unpacker = zlib.decompressobj(-15)
    for chunk in _packed(stream, member):
        waiting = chunk
        while waiting and not unpacker.eof:
            yield unpacker.decompress(waiting, _CHUNK)
            waiting = unpacker.unconsumed_tail
        if waiting or unpacker.unused_data:
            raise _damaged(member, "data to its end", "an end before it")
    while not unpacker.eof and (piece := unpacker.decompress(b"", _CHUNK)):
        yield piece
    if not unpacker.eof:
        raise _damaged(member, "deflated data with an end", "none")


def _packed(stream: BinaryIO, member: Member) -> Iterator[bytes]:
    at, left = member.data_at, member.packed
    while left:
        stream.seek(at)  # each time: another member may be read in between
        chunk = stream.read(min(left, _CHUNK))
        if not chunk:
            raise _damaged(member, f"{left} more bytes", "the end of the file")
        yield chunk
        at, left = at + len(chunk), left - len(chunk)


def _damaged(member: Member, expected: str, found: str) -> ParambakError:
    return DAMAGED.error(file=member.name, expected=expected, found=found)
