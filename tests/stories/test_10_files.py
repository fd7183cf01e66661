"""A file that is no dump is stopped with a way out, and hides nothing about the others."""

from __future__ import annotations

import random
from typing import TYPE_CHECKING

import pytest

from parambak.dumps.other_files import FIRST_BYTES

if TYPE_CHECKING:
    from tests.stories.conftest import Laptop

AT = "--vessel grebe --unit port-thruster --position U12"
MEMORY = random.Random(10).randbytes(2048)


@pytest.mark.parametrize(("kind", "first"), FIRST_BYTES)
def test_a_document_or_a_photo_is_stopped(laptop: Laptop, kind: str, first: str) -> None:
    """By `inspect` and `archive`, with the way out; declared raw, it is kept with a note."""
    laptop.write("READ1.BIN", bytes.fromhex(first.replace("..", "41")) + MEMORY)
    for line in ("inspect READ1.BIN", f"archive READ1.BIN {AT}"):
        error = laptop.refused(line, "dump-other-file")
        assert error["found"] == kind
        assert "--format raw" in error["next"]
    assert f"though it looks like {kind}" in laptop.yes("inspect READ1.BIN --format raw")
    laptop.yes(f"archive READ1.BIN {AT} --format raw")
    kept = b"".join(laptop.files().values())
    assert b'"accepted":["looks-otherwise"]' in kept


def test_a_profile_does_not_let_a_photo_pass(laptop: Laptop) -> None:
    """A reader that usually writes raw files states nothing of this file."""
    laptop.write("p.toml", "[reader]\nname = 'case'\nformat = 'raw'\n")
    laptop.write("READ1.BIN", b"\xff\xd8\xff\xe0" + MEMORY)
    laptop.refused(f"archive READ1.BIN {AT} --profile p.toml", "dump-other-file")
    laptop.dump("READ2.HEX", MEMORY)
    assert "raw" in laptop.yes("inspect READ2.HEX --profile p.toml")


@pytest.mark.parametrize("data", [MEMORY, b"\x01\n:" + MEMORY, bytes(64), b"\xff" * 64])
def test_a_raw_file_named_hex_is_named_as_that(laptop: Laptop, data: bytes) -> None:
    """With a colon in it, or without any; then --format raw takes it."""
    laptop.write("READ1.HEX", data)
    error = laptop.refused(f"archive READ1.HEX {AT}", "hex-no-record")
    assert error["text"].startswith("this is no Intel HEX")
    assert "It may be raw" in error["next"]
    assert "--format raw" in error["next"]
    laptop.yes(f"archive READ1.HEX {AT} --format raw")


def test_a_raw_file_named_s19_is_named_as_that(laptop: Laptop) -> None:
    """The same for S-records."""
    laptop.write("READ1.S19", MEMORY)
    error = laptop.refused("inspect READ1.S19", "srec-no-record")
    assert error["text"].startswith("this is no file of S-records")


def test_one_bad_file_does_not_hide_the_others(laptop: Laptop) -> None:
    """`inspect` shows the good ones, and each refusal with its line and what to do; exit 2."""
    laptop.dump("a.bin", MEMORY)
    laptop.dump("b.bin", MEMORY)
    laptop.write("photo.bin", b"\xff\xd8\xff\xe0" + MEMORY)
    laptop.write("c.hex", ":0400100011223344" + "43\n:00000001FF\n")
    result = laptop.run("inspect a.bin photo.bin c.hex gone.bin b.bin")
    assert result.code == 2
    assert "b.bin holds the same bytes as a.bin" in result.text
    assert "(dump-other-file)" in result.text
    assert "(hex-checksum)" in result.text
    assert "REFUSED: 3 files of 5." in result.text
    document = laptop.json("inspect a.bin photo.bin c.hex gone.bin b.bin", 2)
    assert [dump["file"] for dump in document["dumps"]] == ["a.bin", "b.bin"]
    refused = {refusal["file"]: refusal for refusal in document["refused"]}
    assert list(refused) == ["photo.bin", "c.hex", "gone.bin"]
    assert refused["c.hex"]["line"] == 1
    assert all(refusal["next"] for refusal in refused.values())
    none = laptop.json("inspect photo.bin c.hex", 2)
    assert (none["dumps"], len(none["refused"])) == ([], 2)


def test_archive_keeps_all_or_nothing_and_names_every_bad_file(laptop: Laptop) -> None:
    """One bad file is its own error; of several, each is named with its line and its code."""
    laptop.dump("a.bin", MEMORY)
    laptop.write("photo.bin", b"\xff\xd8\xff\xe0" + MEMORY)
    laptop.write("c.hex", ":0400100011223344" + "43\n:00000001FF\n")
    laptop.refused(f"archive a.bin photo.bin {AT}", "dump-other-file")
    error = laptop.refused(f"archive a.bin photo.bin c.hex {AT}", "dumps-refused")
    assert error["text"].startswith("2 of the dumps are refused, and nothing is put on record")
    assert "photo.bin" in error["found"]
    assert "c.hex, line 1" in error["found"]
    assert "(hex-checksum)" in error["found"]
    laptop.refused(f"archive a.bin photo.bin c.hex a.bin {AT} --pair low-high", "dumps-refused")
