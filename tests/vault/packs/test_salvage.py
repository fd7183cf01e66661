"""A damaged pack: what is sound in it comes back, member by member, and nothing else."""

from __future__ import annotations

import io
import random
import zlib
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from parambak.memory.digests import sha256
from parambak.vault import objects
from parambak.vault.packs import salvage
from parambak.vault.packs.zip_form import (
    CENTRAL_HEAD,
    CENTRAL_SIGN,
    LOCAL_HEAD,
    LOCAL_SIGN,
    read_members,
)
from tests.faults import packs
from tests.vault.check.test_recover import names, recovered

if TYPE_CHECKING:
    from tests.vault.home import Home

SOUND = packs.KEPT.read_bytes()


def test_one_rotten_byte_costs_one_member_at_most() -> None:
    """A share of the bytes; `python -m tests.faults --suite packs` does each."""
    found = packs.run(Path(), share=0.2)
    assert found.wrong == []
    assert (found.most_lost, found.refused > 100, found.cut > 100) == (1, True, True)


@pytest.mark.parametrize("kind", ["header", "directory", "first byte", "end", "cut"])
def test_recover_takes_a_damaged_pack(home: Home, tmp_path: Path, kind: str) -> None:
    """Refused as a pack, and everything except the damaged member is in the new vault."""
    members = read_members(io.BytesIO(SOUND))
    at = {
        "header": members[1].offset + 12,
        "directory": members[-1].end + 60,
        "first byte": 0,
        "end": len(SOUND) - 8,
    }
    data = bytearray(SOUND[: members[-1].end + 9])
    if kind != "cut":
        data = bytearray(SOUND)
        data[at[kind]] ^= 0x10
    (tmp_path / "old.zip").write_bytes(data)
    vault, joined, heap = recovered(home, tmp_path / "old.zip")
    assert joined.missing == ()
    assert names(vault.root) == {member.name for member in members[1:]}
    (refused,) = heap.refused
    assert f"{len(members) - 1} files in it were undamaged" in refused.text
    assert heap.doubtful == ()


@pytest.mark.parametrize("at", [0, len(SOUND) - 22], ids=["first byte", "end record"])
def test_a_damaged_pack_larger_than_any_object_is_known(
    home: Home, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, at: int
) -> None:
    """By what is left of its beginning or its end: what is sound in it comes back."""
    monkeypatch.setattr(objects, "MAX_BYTES", 1000)
    data = bytearray(SOUND)
    data[at] ^= 0x10
    (tmp_path / "old.zip").write_bytes(data)
    vault, _, heap = recovered(home, tmp_path / "old.zip")
    assert names(vault.root) == {member.name for member in read_members(io.BytesIO(SOUND))[1:]}
    (refused,) = heap.refused
    assert "6 files in it were undamaged" in refused.text


def test_a_member_that_is_lost_is_named(home: Home, tmp_path: Path) -> None:
    """With the pack damaged in a header as well, so that it is read member by member."""
    members = read_members(io.BytesIO(SOUND))
    hit = next(member for member in members if member.name.startswith("objects/"))
    data = bytearray(SOUND)
    data[0] ^= 1
    data[hit.data_at + hit.packed // 2] ^= 1
    (tmp_path / "old.zip").write_bytes(data)
    _, joined, heap = recovered(home, tmp_path / "old.zip")
    assert hit.name in joined.missing
    (doubtful,) = heap.doubtful
    assert doubtful.file.endswith(f"old.zip: {hit.name}")
    (lost,) = (member for member in salvage.members(io.BytesIO(bytes(data))) if not member.data)
    assert (lost.name, lost.hint.name, lost.hint.at) == (hit.name, hit.name, hit.data_at)


def test_what_another_copy_holds_is_not_lost(home: Home, tmp_path: Path) -> None:
    """Two sticks, each damaged elsewhere, are whole together."""
    members = read_members(io.BytesIO(SOUND))
    for number, hit in enumerate((members[1], members[-1])):
        data = bytearray(SOUND)
        data[hit.data_at + 4] ^= 1
        data[-20] ^= 1
        (tmp_path / f"stick{number}.zip").write_bytes(data)
    vault, joined, heap = recovered(home, tmp_path)
    assert joined.missing == ()
    assert heap.doubtful == ()
    assert names(vault.root) == {member.name for member in members[1:]}


def test_made_up_headers_are_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of data that unpacks to very much, at very many places, no more than a pack can hold."""
    packed = zlib.compressobj(9, zlib.DEFLATED, -15)
    bomb = packed.compress(bytes(8 << 20)) + packed.flush()
    name = b"objects/ab/" + b"ab" * 32
    head = LOCAL_HEAD.pack(LOCAL_SIGN, 20, 0, 8, 0, 0, 0, 1, 1, len(name), 0) + name
    monkeypatch.setattr(salvage, "MAX_TOTAL", 1 << 20)
    found = list(salvage.members(io.BytesIO(head + bomb + head * 2000)))
    assert [member.data for member in found] == [None]


def test_data_that_unpacks_to_nothing_is_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    """However many headers lead to it: what is read counts too, not only what comes out."""
    name = b"objects/ab/" + b"ab" * 32
    fields = list(CENTRAL_HEAD.unpack(bytes(CENTRAL_HEAD.size)))
    fields[0], fields[4], fields[10] = CENTRAL_SIGN, 8, len(name)
    data = bytearray(b"\xff" * 200) + b"\0\0\0\xff\xff" * 40_000
    for number in range(200):
        fields[16] = 200 - LOCAL_HEAD.size - len(name) + 5 * number
        data += CENTRAL_HEAD.pack(*fields) + name
    monkeypatch.setattr(salvage, "MAX_TOTAL", 1 << 20)
    stream = _Counted(bytes(data))
    assert [member.data for member in salvage.members(stream)] == [None]
    assert stream.count < 20 << 20


class _Counted(io.BytesIO):
    """Counts the bytes that are read."""

    count = 0

    def read(self, size: int | None = -1, /) -> bytes:
        data = super().read(size)
        self.count += len(data)
        return data


def test_a_made_up_header_hides_no_member() -> None:
    """Stored data that spans the whole pack, with a right CRC-32."""
    name = b"objects/ab/" + b"ab" * 32
    sums = (zlib.crc32(SOUND), len(SOUND), len(SOUND), len(name), 0)
    head = LOCAL_HEAD.pack(LOCAL_SIGN, 20, 0, 0, 0, 0, *sums) + name
    found = {sha256(m.data) for m in salvage.members(io.BytesIO(head + SOUND)) if m.data}
    stream = io.BytesIO(SOUND)
    assert {sha256(m.data) for m in salvage.members(stream) if m.data} < found


def test_any_bytes_at_all_give_nothing_and_no_error() -> None:
    """Noise, with signs strewn in."""
    chance = random.Random(20261125)
    for _ in range(60):
        data = bytearray(chance.randbytes(3000))
        for _ in range(20):
            at = chance.randrange(len(data) - 4)
            data[at : at + 4] = chance.choice((b"PK\x03\x04", b"PK\x01\x02", b"PK\x05\x06"))
        for member in salvage.members(io.BytesIO(bytes(data))):
            assert member.data is None or zlib.crc32(member.data) == member.hint.crc


def test_a_member_is_read_again_as_it_was() -> None:
    """What is taken later is what was proven."""
    stream = io.BytesIO(SOUND)
    for member in salvage.members(stream):
        assert member.data is not None
        assert sha256(salvage.read(stream, member.hint)) == sha256(member.data)
