from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.dumps.profile import load_profile
from parambak.keeping.recording.received import ProfileFile
from parambak.keeping.state.losses import Loss, body_fault, losses
from parambak.memory.digests import sha256
from parambak.vault import objects
from parambak.vault.records import Clock, Record
from tests.keeping.conftest import LAYOUT, Laptop, image

if TYPE_CHECKING:
    from collections.abc import Iterable

STARBOARD = "grebe/stbd-thruster/U12"


def lost(laptop: Laptop, *files: str) -> dict[str, tuple[Loss, ...]]:
    """Return what is lost with these files of a laptop's vault."""
    vault = laptop.vault
    histories = [vault.records(vessel) for vessel in (None, *vault.vessels())]
    return losses(laptop.fleet, histories, files)


def texts(found: Iterable[Loss]) -> list[str]:
    """Return the words of losses."""
    return [each.text for each in found]


def test_an_image_is_a_copy_of_a_position(laptop: Laptop) -> None:
    """Two reads that gave one image lose one copy; the dump is named next to it where it is one."""
    laptop.verified()
    copy = laptop.latest()
    file = objects.file_of(copy.sha256)
    (found,) = lost(laptop, file).values()
    assert texts(found)[0] == (
        f"the bytes of copy 1 of grebe/port-thruster/U12, {copy.sha256[:8]}, read on 2026-03-01"
    )
    assert {(each.vessel, each.where) for each in found} == {("grebe", "grebe/port-thruster/U12")}
    assert all(each.in_dump for each in found)


def test_a_layout_says_which_positions(laptop: Laptop) -> None:
    """One layout of two positions is lost for both, and no dump brings it back."""
    laptop.verified()
    laptop.verified(image(seed=9), where=STARBOARD, position_confirmed=True)
    layout = laptop.position().layout
    assert layout is not None
    (found,) = lost(laptop, objects.file_of(layout.sha256)).values()
    assert {each.where for each in found} == {"grebe/port-thruster/U12", STARBOARD}
    assert all("layout thruster.toml" in each.text and not each.in_dump for each in found)


def test_a_person_says_whose_records_lose_a_name(laptop: Laptop) -> None:
    """Counted, with the vessel."""
    laptop.verified()
    mark = laptop.vault.records(laptop.fleet.vessels[0].id)[0].record.by
    assert mark is not None
    (found,) = lost(laptop, objects.file_of(mark)).values()
    assert texts(found) == ["the name of the person who made 2 records about grebe"]


def test_a_record_that_is_gone_is_named_by_the_one_after_it(laptop: Laptop) -> None:
    """Its vessel is known from there, what it told is not."""
    laptop.verified()
    vault = laptop.vault
    first, second = vault.records(vault.vessels()[0])
    found = losses(laptop.fleet, [[second]], [first.file])
    assert texts(found[first.file]) == [
        "a record about grebe; its content is not known",
    ]


def test_a_record_that_the_index_still_knows_is_told(laptop: Laptop) -> None:
    """The read that it was, and of which position."""
    laptop.verified()
    vault = laptop.vault
    file = vault.records(vault.vessels()[0])[0].file
    assert texts(lost(laptop, file)[file]) == ["the read of grebe/port-thruster/U12 of 2026-03-01"]


def test_a_folder_that_cannot_be_read_loses_all_in_it(laptop: Laptop) -> None:
    """The folder is named, and everything that relies on what is in it."""
    laptop.verified()
    folder = objects.file_of(laptop.latest().sha256).rpartition("/")[0]
    assert "the bytes of copy 1" in lost(laptop, folder)[folder][0].text


def test_a_reader_profile_is_of_its_read(laptop: Laptop) -> None:
    """No dump brings it back."""
    data = b'[reader]\nname = "invented"\n'
    laptop.take(image(), profile=ProfileFile("reader.toml", data, load_profile(data)))
    (found,) = lost(laptop, objects.file_of(sha256(data))).values()
    assert texts(found) == [
        "the reader profile reader.toml of the read of grebe/port-thruster/U12 of 2026-03-01"
    ]
    assert not found[0].in_dump


def test_an_image_of_a_record_that_cannot_be_used_is_told_all_the_same(laptop: Laptop) -> None:
    """It is a copy of its position, of the day of the record."""
    laptop.take(image())
    vault = laptop.vault
    (identity,) = vault.vessels()
    body = dict(vault.records(identity)[-1].record.body)
    with vault.writing() as writing:
        digest = writing.put(image(2))
        entry = {"sha256": digest, "ranges": [[0, 256]]}
        changed = body | {"read_on": "one fine day", "image": entry, "dumps": []}
        writing.add("read", identity, changed, relies_on=[digest])
    (found,) = lost(laptop, objects.file_of(digest)).values()
    assert texts(found) == [
        f"the bytes of a copy of grebe/port-thruster/U12, {digest[:8]}, read on 2026-03-01"
    ]


def test_a_record_of_a_later_version_loses_nothing_but_itself(laptop: Laptop) -> None:
    """Whatever its members hold."""
    laptop.take(image())
    vault = laptop.vault
    (identity,) = vault.vessels()
    with vault.writing() as writing:
        digest = writing.add("later", identity, {"position": [1]})
    file = next(s.file for s in vault.records(identity) if s.digest == digest)
    (loss,) = lost(laptop, file)[file]
    assert (loss.text, loss.where) == ("the record `later` of 2026-03-01 about grebe", None)


def test_nothing_relies_on_a_stranger(laptop: Laptop) -> None:
    """An object that no record names is no loss."""
    laptop.take(image(), layout=LAYOUT)
    assert lost(laptop, objects.file_of("0" * 64)) == {}


def test_a_body_that_tells_nothing_is_said() -> None:
    """A known kind without its members; an unknown kind is passed over."""
    clock = Clock(utc="2026-11-25T13:49:40Z", offset=0)
    read = Record(
        format=1, kind="read", after=(), clock=clock, writer="0b" * 16, objects=(), body={"a": 1}
    )
    assert "does not have the shape" in (body_fault(read, "0" * 64) or "")
    other = Record(
        format=1, kind="later", after=(), clock=clock, writer="0b" * 16, objects=(), body={"a": 1}
    )
    assert body_fault(other, "0" * 64) is None
