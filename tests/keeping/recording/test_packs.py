"""Vessels in and out by pack: what is written, and what a damaged pack gives."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from parambak.errors import NotFound
from parambak.keeping.recording.packs import pack, take_pack
from parambak.memory.digests import sha256
from parambak.vault import objects
from parambak.vault.packs.reading import opened
from tests.keeping.conftest import Laptop, image

if TYPE_CHECKING:
    from pathlib import Path


def silent(done: int, total: int) -> None:
    """Show no progress."""


def test_a_pack_holds_the_named_vessels_and_no_other(laptop: Laptop, tmp_path: Path) -> None:
    """By any name of theirs; their handles are returned."""
    laptop.take(image())
    laptop.take(image(2), where="stint/port/U1")
    file = tmp_path / "a.zip"
    written, handles = pack(laptop.vault, ["STINT"], file, silent, replace=False)
    assert handles == ("stint",)
    stint = next(vessel for vessel in laptop.fleet.vessels if vessel.short == "stint")
    with opened(file) as unpacked:
        assert unpacked.vessels == {stint.id: "stint"}
    assert written.packed.records == len(laptop.vault.records(stint.id))
    with pytest.raises(NotFound):
        pack(laptop.vault, ["curlew"], tmp_path / "b.zip", silent, replace=False)
    assert not (tmp_path / "b.zip").exists()


def test_a_pack_is_taken_in_with_progress_to_its_end(laptop: Laptop, tmp_path: Path) -> None:
    """Each piece is shown once read, the last count is that of all; nothing is refused."""
    laptop.take(image())
    file = tmp_path / "a.zip"
    pack(laptop.vault, ["grebe"], file, silent, replace=False)
    other = Laptop(tmp_path / "two")
    shown: list[tuple[int, int]] = []
    taken = take_pack(other.vault, file, lambda done, total: shown.append((done, total)))
    assert taken.joined.refused == ()
    assert taken.joined.added_records == len(laptop.vault.records(laptop.fleet.vessels[0].id))
    assert all(0 < done <= total for done, total in shown)
    assert shown[-1][0] == shown[-1][1]
    assert other.fleet == laptop.fleet
    assert list(taken.vessels.values()) == ["grebe"]
    other.close()


def test_what_is_damaged_in_a_pack_is_refused_by_name(laptop: Laptop, tmp_path: Path) -> None:
    """All else is taken in; what was not is named with why."""
    laptop.take(image())
    file = tmp_path / "a.zip"
    pack(laptop.vault, ["grebe"], file, silent, replace=False)
    data = bytearray((tmp_path / "a.zip").read_bytes())
    at = data.index(image()[:64])  # the image's bytes stand in the pack as they are
    data[at] ^= 1
    (tmp_path / "a.zip").write_bytes(data)
    other = Laptop(tmp_path / "two")
    taken = take_pack(other.vault, file, silent)
    lost = objects.file_of(sha256(image()))
    assert lost in {damage.file for damage in taken.joined.refused}
    assert all(damage.text for damage in taken.joined.refused)
    other.close()
