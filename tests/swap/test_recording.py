"""What a swap puts on record: the load file, and each read-back with its answer."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from msgspec.structs import replace

from parambak.differences.two_layouts import read_renames
from parambak.keeping.recording.entries import correct
from parambak.keeping.recording.received import LayoutFile, RenamesFile
from parambak.layouts.decode import decode
from parambak.layouts.load import load
from parambak.memory.digests import sha256, sum16
from parambak.memory.image import Image
from parambak.swap.read_back import BEFORE_POWER, compare, compare_values
from parambak.swap.recording import Release, ValueLayouts, record_load_file, record_read_back
from tests.keeping.conftest import WHERE, Laptop, image, incoming

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


@pytest.fixture
def laptop(tmp_path: Path) -> Iterator[Laptop]:
    """Return a laptop with a verified copy."""
    made = Laptop(tmp_path / "one")
    made.verified()
    yield made
    made.close()


def newest(laptop: Laptop, count: int = 1) -> list[Any]:
    """Return the newest records about the vessel."""
    (vessel,) = laptop.vault.vessels()
    return [stored.record for stored in laptop.vault.records(vessel)[-count:]]


def test_a_load_file_is_on_record_with_its_digest_and_sum(laptop: Laptop) -> None:
    """Which copy, which format, and the sum that the reader's screen will show."""
    copy = laptop.latest()
    file = Release("intel-hex", (sha256(b"the file"),))
    record_load_file(laptop.vault, laptop.position(), copy, Image.of(image()), file)
    (record,) = newest(laptop)
    assert record.kind == "load-file"
    assert record.objects == (copy.sha256,)
    assert record.body == {
        "position": laptop.position().id,
        "image": copy.image.members() | {"ranges": [[0, 256]]},
        "format": "intel-hex",
        "file_sha256": sha256(b"the file"),
        "sum16": sum16(image()),
    }


def test_each_dump_read_back_is_on_record_with_its_answer(laptop: Laptop) -> None:
    """A good one and one with a bit wrong: a record each, the bytes read kept as objects."""
    bad = image(1, {0xA0: image()[0xA0] ^ 1})
    reads = [
        (incoming(data), compare(Image.of(image()), Image.of(data), BEFORE_POWER))
        for data in (image(), bad)
    ]
    copy = laptop.latest()
    record_read_back(laptop.vault, laptop.position(), copy, reads, by="B. Invented")
    good, wrong = newest(laptop, 2)
    assert [each.body["loaded_correctly"] for each in (good, wrong)] == [True, False]
    assert [each.body["differing_bytes"] for each in (good, wrong)] == [0, 1]
    assert wrong.body["stage"] == "before-power"
    assert wrong.body["selected"]["sha256"] == copy.sha256
    assert laptop.vault.read_object(sha256(bad)) == bad
    assert sha256(bad) in wrong.objects
    assert laptop.vault.person(wrong.by) == "B. Invented"


PART = b"""
[[field]]
name = "setting"
at = 0x12
type = "u8"
"""


def with_part(title: str) -> LayoutFile:
    """Return a layout that includes another file."""
    text = f'[layout]\ntitle = "{title}"\nmemory = 256\ninclude = ["part.toml"]\n'.encode()
    layout = load(text, name=f"{title}.toml", include=lambda _: PART)
    return LayoutFile(f"{title}.toml", text, layout, {"part.toml": PART})


@pytest.mark.parametrize("named", [True, False])
def test_a_read_back_by_values_keeps_both_layouts_and_the_renames(
    laptop: Laptop, named: bool
) -> None:
    """Byte for byte, included files too; the position's own layout is kept already."""
    position, copy = laptop.position(), laptop.latest()
    assert position.layout is not None
    new = with_part("new")
    old = with_part("old") if named else position.layout
    table = b"setting = false\n"
    renames = read_renames(table)
    layouts = ValueLayouts(old, new, RenamesFile("renames.toml", table, renames))
    decoded = decode(new.layout, Image.of(image()))
    reads = [(incoming(image()), compare_values(decoded, decoded, renames, BEFORE_POWER))]
    record_read_back(laptop.vault, position, copy, reads, by=None, layouts=layouts)
    (record,) = newest(laptop)
    body = record.body
    assert body["by_values"] is True
    files = [(body["layout"], new.data), (body["renames"], table)]
    files.append((body["layout"]["parts"][0], PART))
    if isinstance(old, LayoutFile):
        files += [(body["old_layout"], old.data), (body["old_layout"]["parts"][0], PART)]
    else:
        files.append((body["old_layout"], laptop.vault.read_object(old.sha256)))
        assert body["old_layout"] == old.members()
    for entry, data in files:
        assert entry["sha256"] == sha256(data)
        assert laptop.vault.read_object(entry["sha256"]) == data
        assert entry["sha256"] in record.objects


def test_both_files_of_a_pair_are_on_record(laptop: Laptop) -> None:
    """And under names that a record can hold."""
    halves = [incoming(image()[half::2], name=f"R{half}\udcff.BIN") for half in (0, 1)]
    read = replace(halves[0], second=halves[1], on_chip=Image.of(image()))
    found = compare(Image.of(image()), read.image, BEFORE_POWER)
    record_read_back(laptop.vault, laptop.position(), laptop.latest(), [(read, found)], by=None)
    (record,) = newest(laptop)
    assert [each["name"] for each in record.body["dumps"]] == ["R0\\u{DCFF}.BIN", "R1\\u{DCFF}.BIN"]
    for half in (0, 1):
        data = image()[half::2]
        assert laptop.vault.read_object(sha256(data)) == data
        assert sha256(data) in record.objects


def test_a_read_back_by_bytes_names_no_layout(laptop: Laptop) -> None:
    """Its members are as they always were."""
    found = compare(Image.of(image()), Image.of(image()), BEFORE_POWER)
    reads = [(incoming(image()), found)]
    record_read_back(laptop.vault, laptop.position(), laptop.latest(), reads, by=None)
    (record,) = newest(laptop)
    assert not {"old_layout", "layout", "renames", "by_values"} & set(record.body)


def test_what_was_read_back_is_no_copy(laptop: Laptop) -> None:
    """The position's copies are as before: only the close of a swap makes one of it."""
    before = laptop.position().copies
    bad = image(2)
    found = compare(Image.of(image()), Image.of(bad), BEFORE_POWER)
    reads = [(incoming(bad), found)]
    record_read_back(laptop.vault, laptop.position(), laptop.latest(), reads, by=None)
    assert laptop.position(WHERE).copies == before


def test_it_goes_to_the_identity_that_the_position_is_known_by(tmp_path: Path) -> None:
    """A ship entered twice: the record stands beside those that brought the position in."""
    one, other = Laptop(tmp_path / "a"), Laptop(tmp_path / "b", start=60)
    for laptop in (one, other):
        laptop.take(image())
        correct(laptop.vault, "grebe", {"imo": "1234567"}, by=None, why=None)
    one.merge_from(other)
    position, copy = one.position(), one.latest()
    release = Release("raw", (sha256(image()),))
    record_load_file(one.vault, position, copy, Image.of(image()), release)
    vault = one.vault
    for identity in vault.vessels():
        bodies = [stored.record for stored in vault.records(identity)]
        entities = {each["id"] for record in bodies for each in record.body.get("new", ())}
        loads = [record for record in bodies if record.kind == "load-file"]
        assert bool(loads) == (position.id in entities)
