"""Each irregularity of a text dump has its own way out, the same in both formats."""

from __future__ import annotations

import random
from typing import TYPE_CHECKING

import pytest

from parambak.dumps.dump import ALLOWANCES
from parambak.dumps.registry import FORMATS, write_dump
from parambak.memory.image import Image

if TYPE_CHECKING:
    from collections.abc import Callable

    from tests.stories.conftest import Laptop

AT = "--vessel grebe --unit port-thruster --position U12"
MEMORY = random.Random(11).randbytes(256)
TEXTS = {name: write_dump(Image.of(MEMORY), name) for name in ("intel-hex", "s-record")}
PREFIX = {"intel-hex": "hex", "s-record": "srec"}


def without_end(data: bytes) -> bytes:
    """Return the file without what proves its end."""
    lines = data.splitlines(keepends=True)
    return b"".join(line for line in lines if line[:2] not in (b"S5", b"S9", b":0"))


WAYS: dict[str, Callable[[bytes], bytes]] = {
    "no-end": without_end,
    "text-around": lambda data: b"> dump 0 255\r\n".replace(b"\r", b"") + data + b"Sent 256\n",
    "trailing-blanks": lambda data: data.replace(b"\n", b"  \n", 3),
    "byte-order-mark": lambda data: b"\xef\xbb\xbf" + data,
}


@pytest.mark.parametrize("name", TEXTS)
@pytest.mark.parametrize("way", WAYS)
def test_it_is_refused_named_and_then_noted(laptop: Laptop, name: str, way: str) -> None:
    """The refusal names its --accept; with it the same bytes are read, and the note is kept."""
    laptop.write("r1.txt", WAYS[way](TEXTS[name]))
    laptop.dump("plain.bin", MEMORY)
    words = f"--format {name}"
    error = laptop.refused(f"archive r1.txt {AT} {words}", f"{PREFIX[name]}-{way}")
    assert f"--accept {way}" in error["next"]
    document = laptop.json(f"inspect r1.txt {words} --accept {way} --second-opinion")
    dump = document["dumps"][0]
    codes = [finding["code"] for finding in dump["findings"]]
    assert f"{PREFIX[name]}-{way}-accepted" in codes
    assert dump["sha256"] == laptop.json("inspect plain.bin")["dumps"][0]["sha256"]
    assert "agrees" in dump["second_opinion"]
    laptop.yes(f"archive r1.txt {AT} {words} --accept {way}")
    assert f'"accepted":["{way}"]'.encode() in b"".join(laptop.files().values())


def test_records_with_a_small_s(laptop: Laptop) -> None:
    """Named as that, found by name and by content, and taken if it is named."""
    laptop.write("r1.txt", TEXTS["s-record"].replace(b"S", b"s"))
    error = laptop.refused("inspect r1.txt", "srec-lower-case-s")
    assert "--accept lower-case-s" in error["next"]
    assert "19 of them, first in line 1" in laptop.yes("inspect r1.txt --accept lower-case-s")


@pytest.mark.parametrize("name", TEXTS)
def test_padding_after_the_end_is_noted(laptop: Laptop, name: str) -> None:
    """1A and 00 up to a block's boundary, in both formats; more is refused."""
    laptop.write("r1.txt", TEXTS[name] + b"\x1a" + bytes(100))
    assert f"({PREFIX[name]}-padding-found)" in laptop.yes(f"inspect r1.txt --format {name}")
    laptop.write("r1.txt", TEXTS[name] + bytes(5000))
    laptop.refused(f"inspect r1.txt --format {name}", f"{PREFIX[name]}-padding")


@pytest.mark.parametrize("name", [*TEXTS, "raw"])
@pytest.mark.parametrize("allowance", ALLOWANCES)
def test_an_accept_that_does_nothing_is_refused(laptop: Laptop, name: str, allowance: str) -> None:
    """A sound file needs none; of several files, one that needs it is enough."""
    laptop.write("r1.txt", FORMATS[name].write(Image.of(MEMORY)))
    words = f"--format {name}" if name != "raw" else ""
    for command in ("inspect r1.txt", f"archive r1.txt {AT}"):
        error = laptop.refused(f"{command} {words} --accept {allowance}", "accept-unused")
        assert error["found"] == allowance


def test_of_several_files_one_that_needs_it_is_enough(laptop: Laptop) -> None:
    """Each file keeps only what it needed."""
    laptop.write("r1.hex", TEXTS["intel-hex"])
    laptop.write("r2.hex", b"\xef\xbb\xbf" + TEXTS["intel-hex"])
    laptop.yes(f"archive r1.hex r2.hex {AT} --accept byte-order-mark")
    kept = [data for name, data in laptop.files().items() if name.startswith("records")]
    assert sum(b'"accepted"' in data for data in kept) == 1


@pytest.mark.parametrize("name", TEXTS)
@pytest.mark.parametrize("text", ["hello\nworld\n", "Serial log\nS is a letter\n", "12:30 on\n"])
def test_a_file_without_a_record_is_not_a_text_around_one(
    laptop: Laptop, name: str, text: str
) -> None:
    """Nobody is advised to accept the text around nothing."""
    laptop.write("r1.txt", text)
    error = laptop.refused(f"inspect r1.txt --format {name}", f"{PREFIX[name]}-no-record")
    assert "text-around" not in error["next"]
    error = laptop.refused(
        f"inspect r1.txt --format {name} --accept text-around", f"{PREFIX[name]}-no-record"
    )


@pytest.mark.parametrize("name", TEXTS)
@pytest.mark.parametrize("size", [2, 4])
@pytest.mark.parametrize("memory", [MEMORY, b"\xff" * 256])
def test_addresses_that_count_words_are_named(
    laptop: Laptop, name: str, size: int, memory: bytes
) -> None:
    """Whether the bytes that meet differ or are the same; no allowance is advised or helps."""
    lines = []
    for at in range(0, 256, 16):
        line = write_dump(Image.of(memory[at : at + 16], at // size), name).splitlines(True)
        lines += [row for row in line if row[:3] in (b":10", b"S11")]
    ends = [row for row in TEXTS[name].splitlines(True) if row[:2] in (b":0", b"S9")]
    laptop.write("r1.txt", b"".join([*lines, *ends]))
    for accept in ("", "--accept same-byte-twice"):
        error = laptop.refused(
            f"inspect r1.txt --format {name} {accept}", f"{PREFIX[name]}-word-addressed"
        )
        assert error["found"] == f"addresses that count words of {size} bytes"
        assert "same-byte-twice" not in error["next"]


@pytest.mark.parametrize("name", TEXTS)
@pytest.mark.parametrize("at", [2, 6, 14])
def test_a_missing_line_is_against_the_dump(laptop: Laptop, name: str, at: int) -> None:
    """`inspect` does not call it complete; `archive` notes it; a sparse memory is not accused."""
    lines = TEXTS[name].splitlines(keepends=True)
    lines = [line for line in lines if line[:2] != b"S5"]
    laptop.write("r1.txt", b"".join([*lines[:at], *lines[at + 1 :]]))
    text = laptop.yes(f"inspect r1.txt --format {name}")
    assert "AGAINST IT: 16 bytes from 0x00" in text
    assert "the length of 1 line of this file" in text
    assert "complete" not in text
    assert "A line may be missing" in text
    (dump,) = laptop.json(f"inspect r1.txt --format {name}")["dumps"]
    assert dump["complete"] is False
    assert "16 bytes from 0x00" in laptop.run(f"archive r1.txt {AT} --format {name}").err
    sparse = Image.from_blocks([*Image.of(MEMORY).blocks, *Image.of(MEMORY, 0x4000).blocks])
    laptop.write("r2.txt", write_dump(sparse, name))
    assert "complete" in laptop.yes(f"inspect r2.txt --format {name}")
