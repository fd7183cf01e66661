"""A packed backup location whose pack is refused completely: its sound members are not lost."""

from __future__ import annotations

import shutil
from typing import TYPE_CHECKING

from parambak.vault.locations.packed import pack_file
from tests.vault.home import GREBE, Home
from tests.vault.locations.test_packed import full, placed, sent_packed, stick

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["full", "stick"]  # fixtures


def spoil(path: Path) -> None:
    """Damage the end record, so that the pack is refused but every member is sound."""
    data = bytearray(path.read_bytes())
    data[-8] ^= 1
    path.write_bytes(data)


def test_what_the_vault_lost_comes_out_of_a_refused_pack(full: Home, stick: Path) -> None:
    """Before the pack is set aside; then it is written again. With a quick look as well."""
    target = placed(full, stick)
    sent_packed(full, stick, target)
    pack = stick / pack_file(GREBE)
    right, whole = full.files(), pack.read_bytes()
    for stored in full.open().records(GREBE):
        for digest in stored.record.objects:
            for quick in (False, True):
                file = f"objects/{digest[:2]}/{digest}"
                (full.root / file).unlink()
                spoil(pack)
                sent = sent_packed(full, stick, target, quick=quick)
                assert (sent.repaired_here, sent.repaired_there) == ((file,), (pack_file(GREBE),))
                assert (full.root / file).read_bytes() == right[file]
                assert (sent.refused, pack.read_bytes()) == ((), whole)


def test_a_refused_pack_stays_while_no_whole_one_can_be_written(full: Home, stick: Path) -> None:
    """The vault has a hole that the pack cannot fill: the pack is not proof, and not set aside."""
    target = placed(full, stick)
    sent_packed(full, stick, target)
    with full.open().writing() as writing:
        digest = writing.put(b"soon to be lost")
        writing.add("note", GREBE, {"text": "new"}, relies_on=[digest])
    (full.root / "objects" / digest[:2] / digest).unlink()
    pack = stick / pack_file(GREBE)
    spoil(pack)
    before = pack.read_bytes()
    sent = sent_packed(full, stick, target)
    assert (sent.vault_damaged, sent.repaired_there) == (True, ())
    assert pack.read_bytes() == before
    assert GREBE not in {each.vessel for each in sent.proven}


def test_another_laptops_records_come_out_of_a_refused_pack(
    full: Home, other: Home, stick: Path
) -> None:
    """They are set aside on request only; both ways they are taken in, and the pack is repaired."""
    shutil.copytree(full.root, other.root)
    target = placed(full, stick)
    other.note("on the other laptop")
    sent_packed(other, stick, target)
    pack = stick / pack_file(GREBE)
    spoil(pack)
    before = pack.read_bytes()
    sent = sent_packed(full, stick, target)
    assert [each.file for each in sent.refused] == [pack_file(GREBE)]
    assert (sent.unknown, pack.read_bytes()) == (1, before)
    both = sent_packed(full, stick, target, both_ways=True)
    assert (both.refused, both.repaired_there) == ((), (pack_file(GREBE),))
    assert full.open().records(GREBE) == other.open().records(GREBE)
    assert sent_packed(full, stick, target).there == 2
