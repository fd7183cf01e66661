"""Reader profiles, pairs, votes and what differing reads look like, from the command line."""

from __future__ import annotations

import random
import re
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from parambak.dumps.registry import write_dump
from parambak.memory.image import Block, Image
from tests.cli.invented import MEMORY, WHERE, archive_two, dump

if TYPE_CHECKING:
    from tests.cli.conftest import Ship

PAGE = Path(__file__).parents[2] / "formats" / "reader-profile.md"
PROFILE = b"""
[reader]
name = "left socket"
base = 0x8000
left-out = 0xFF
swapped-words = true
file-times = false
sum = "16-bit sum of bytes over the chip filled with FF"
"""
CHIP = MEMORY[:1000] + b"\xff" * 1048


def as_the_reader_writes(memory: bytes) -> bytes:
    """Words crossed over, FF left out, from 0x8000: what the profile describes."""
    words = b"".join(memory[at + 1 : at - 1 if at else None : -1] for at in range(0, 2048, 2))
    blocks = [Block(0x8000 + at, words[at : at + 1]) for at in range(2048) if words[at] != 0xFF]
    return write_dump(Image.from_blocks(blocks), "intel-hex")


def test_the_pages_example_is_what_the_profile_makes_of_the_file(ship: Ship) -> None:
    """formats/reader-profile.md: its profile, its file, and the bytes it says they stand for."""
    profile, file, chip = re.findall(
        r"```(?:toml|text)\n(.*?)```", PAGE.read_text("utf-8"), re.DOTALL
    )
    ship.write("p.toml", profile.encode())
    ship.write("r.hex", file.encode())
    ship.run("inspect", "r.hex", "--profile", "p.toml", "--memory", "16")
    result = ship.answer("inspect", "r.hex", "--profile", "p.toml", "--memory", "16")
    (found,) = result.document["dumps"]
    from parambak.memory.digests import sha256

    assert found["sha256"] == sha256(bytes.fromhex(chip))
    assert found["ranges"] == [{"start": 0, "length": 16}]


def test_a_profile_gives_the_bytes_as_they_stand_on_the_chip(ship: Ship) -> None:
    """Base, left-out bytes and word order are undone, noted, and kept with the read."""
    ship.write("p.toml", PROFILE)
    ship.write("a.hex", as_the_reader_writes(CHIP))
    ship.write("b.hex", as_the_reader_writes(CHIP))
    words = ("archive", "a.hex", "b.hex", *WHERE, "--chip", "28C16", "--profile", "p.toml")
    total = sum(CHIP) & 0xFFFF
    result = ship.answer(*words, "--reader-sum", f"{total:04X}")
    assert result.code == 0
    assert result.document["verified"] is True  # equal file times mean nothing by the profile
    assert result.document["reader_sum"] == "16-bit sum of bytes over the chip filled with FF"
    out = ship.answer("export", result.document["copy"], "--as", "raw", "--out", "x.bin")
    assert out.code == 0
    assert (ship.folder / "x.bin").read_bytes() == CHIP
    other = ship.answer(*words, "--reader-sum", f"{-total & 0xFFFF:04X}")
    assert other.document["error"]["code"] == "dump-reader-sum"


@pytest.mark.parametrize(
    ("text", "code"),
    [
        (b"[reader", "profile-text"),
        (b"\xff\xfe", "profile-text"),
        (b"#" * 70_000, "profile-text"),
        (b'[reader]\nname = "x"\nbase = "high"\n', "profile-entry"),
        (b'[reader]\nname = "x"\nleft-out = 256\n', "profile-entry"),
        (b'[reader]\nname = "x"\nspeed = 1\n', "profile-entry"),
        (b'[reader]\nname = "x"\nbase = 0x9000\n', "profile-entry"),
        (b"[reader]\n", "profile-entry"),
    ],
)
def test_a_profile_that_is_wrong_is_refused(ship: Ship, text: bytes, code: str) -> None:
    """No TOML, a key that is none, a value that cannot be, a base above the dump."""
    ship.write("p.toml", text)
    ship.write("a.bin", MEMORY)
    ship.write("a.hex", dump())
    result = ship.answer("inspect", "a.hex", "--profile", "p.toml")
    assert (result.code, result.document["error"]["code"]) == (2, code)


@pytest.mark.parametrize(
    ("how", "first", "second"),
    [
        ("even-odd", MEMORY[0::2], MEMORY[1::2]),
        ("odd-even", MEMORY[1::2], MEMORY[0::2]),
        ("low-high", MEMORY[:1024], MEMORY[1024:]),
        ("high-low", MEMORY[1024:], MEMORY[:1024]),
        ("duplicate", MEMORY, MEMORY),
    ],
)
def test_a_pair_of_chips_is_one_memory(ship: Ship, how: str, first: bytes, second: bytes) -> None:
    """Dumps two by two are one read each, and export splits them again."""
    for number in (1, 2):
        ship.write(f"a{number}.bin", first, second=number)
        ship.write(f"b{number}.bin", second, second=10 + number)
    dumps = ("a1.bin", "b1.bin", "a2.bin", "b2.bin")
    chip = "28C16" if how == "duplicate" else "28C08"
    sized = () if how == "duplicate" else ("--size", "1024", "--by", "J. Doe")
    words = ("archive", *dumps, *WHERE, "--chip", chip, *sized, "--pair", how)
    result = ship.answer(*words)
    assert result.document["verified"] is True
    copy = result.document["copy"]
    ship.run("export", copy, "--as", "raw", "--out", "whole.bin")
    assert (ship.folder / "whole.bin").read_bytes() == MEMORY
    split = ship.answer("export", copy, "--as", "raw", "--out", "s.bin", "--pair", how)
    assert [each["file"] for each in split.document["files"]] == ["s.bin", "s.bin.2"]
    assert (ship.folder / "s.bin").read_bytes() == first
    assert (ship.folder / "s.bin.2").read_bytes() == second


def test_half_a_pair_is_refused(ship: Ship) -> None:
    """Three dumps are no pairs."""
    for name in ("a.bin", "b.bin", "c.bin"):
        ship.write(name, MEMORY[:1024])
    words = ("archive", "a.bin", "b.bin", "c.bin", *WHERE, "--pair", "low-high")
    result = ship.answer(*words)
    assert (result.code, result.document["error"]["code"]) == (2, "pair-count")
    assert not ship.vault.exists()


def weak(seed: int) -> bytes:
    """Return the memory with four bits that read 0 though they are 1."""
    chance, memory = random.Random(seed), bytearray(MEMORY)
    for _ in range(4):
        memory[chance.randrange(2048)] &= ~(1 << chance.randrange(8)) & 0xFF
    return bytes(memory)


def test_a_vote_is_kept_as_reconstructed_and_never_verified(ship: Ship) -> None:
    """It says so in the answer, in the catalogue and wherever the copy is named."""
    for seed in (1, 2, 3):
        ship.write(f"w{seed}.bin", weak(seed), second=seed)
    dumps = ("w1.bin", "w2.bin", "w3.bin")
    result = ship.answer("archive", *dumps, *WHERE, "--chip", "28C16", "--vote")
    assert result.code == 0
    assert result.document["verified"] is False
    assert "RECONSTRUCTED" in result.document["unmet"][0]["text"]
    assert result.document["explanation"]["causes"][0]["code"] == "weak-cells"
    doubts = result.document["vote"]["not_unanimous"]
    assert all(int(each["chosen"], 16) == MEMORY[each["at"]] for each in doubts)
    assert doubts
    (position,) = ship.answer("catalogue").document["positions"]
    assert position["reconstructed"] is True
    assert "RECONSTRUCTED" in ship.run("catalogue").out
    out = ship.run("export", result.document["copy"], "--as", "raw", "--out", "v.bin")
    assert "RECONSTRUCTED" in out.out
    assert (ship.folder / "v.bin").read_bytes() == MEMORY
    assert ship.answer("swap", "check", "grebe/port-thruster/U12").code == 1


def test_two_reads_are_no_vote(ship: Ship) -> None:
    """The refusal leaves nothing behind."""
    ship.write("w1.bin", weak(1))
    ship.write("w2.bin", weak(2), second=1)
    result = ship.answer("archive", "w1.bin", "w2.bin", *WHERE, "--vote")
    assert (result.code, result.document["error"]["code"]) == (2, "read-vote-number")
    assert not ship.vault.exists()


def test_reads_in_circuit_are_verified_with_a_word_of_warning(ship: Ship) -> None:
    """Two equal reads in circuit may both be wrong, and the page says so."""
    ship.write("a.hex", dump())
    ship.write("b.hex", dump(), second=1)
    words = ("archive", "a.hex", "b.hex", *WHERE, "--how")
    page = ship.run(*words, "in-circuit", "--not-reseated").out
    assert "in circuit" in " ".join(page.split())
    assert ship.answer("archive", "a.hex", *WHERE, "--how", "socket").document["reads"] == 0
    ship.write("c.hex", dump(), second=2)
    assert "in circuit" not in ship.run("archive", "c.hex", *WHERE, "--how", "socket").out


def test_inspect_tells_why_dumps_differ_and_takes_a_second_opinion(ship: Ship) -> None:
    """The likeliest cause with its figure, and unrelated code where it is asked."""
    ship.write("a.hex", dump())
    ship.write("b.hex", dump(b"".join(bytes([b & 0xEF]) for b in MEMORY)), second=1)
    result = ship.answer("inspect", "a.hex", "b.hex", "--second-opinion", "--chip", "28C16")
    assert result.document["explanation"]["causes"][0]["code"] == "data-line"
    assert result.document["dumps"][0]["second_opinion"].startswith("intelhex")
    page = ship.run("inspect", "a.hex", "b.hex").out
    assert "they differ" in page or "AGAINST" in page


def test_export_writes_records_as_asked(ship: Ship) -> None:
    """Record length, address width, header and base reach the file, and read back."""
    archive_two(ship)
    where = "grebe/port-thruster/U12"
    words = ("export", where, "--as", "s-record", "--out", "x.s19", "--record-length", "8")
    assert ship.answer(*words, "--address-width", "32", "--header", "PORT").code == 0
    lines = (ship.folder / "x.s19").read_text("ascii").splitlines()
    assert lines[0].startswith("S0")
    assert lines[1].startswith("S30D00000000")
    based = ("export", where, "--as", "intel-hex", "--out", "y.hex", "--base", "0x8000")
    assert ship.answer(*based).code == 0
    found = ship.answer("inspect", "y.hex").document["dumps"][0]
    assert found["ranges"] == [{"start": 0x8000, "length": 2048}]
    wrong = ship.answer(*based[:-1], "low")
    assert (wrong.code, wrong.document["error"]["code"]) == (2, "call")


def test_a_card_is_read_back_by_the_same_profile(ship: Ship) -> None:
    """What the reader's habits do to a file does not fail a card that is loaded right."""
    ship.write("p.toml", PROFILE)
    for number in (1, 2):
        ship.write(f"a{number}.hex", as_the_reader_writes(CHIP), second=number)
    words = (*WHERE, "--chip", "28C16", "--profile", "p.toml")
    assert ship.answer("archive", "a1.hex", "a2.hex", *words).document["verified"] is True
    where = "grebe/port-thruster/U12"
    good = ship.answer("swap", "read-back", where, "a1.hex", "--profile", "p.toml")
    assert (good.code, good.document["loaded_correctly"]) == (0, True)
    ship.write("b.hex", as_the_reader_writes(b"\x00" + CHIP[1:]), second=3)
    bad = ship.answer("swap", "read-back", where, "b.hex", "--profile", "p.toml")
    assert (bad.code, bad.document["differences"][0]["start"]) == (1, 0)


def test_inspect_tells_two_halves_of_one_memory(ship: Ship) -> None:
    """Words that can be read in neither dump alone betray an even-odd pair."""
    words = b"PORT THRUSTER CONTROLLER  RAMP UP TIME SECONDS  MAXIMUM SPEED  OIL PRESSURE ALARM "
    memory = (words * 30)[:2048]
    ship.write("even.bin", memory[0::2])
    ship.write("odd.bin", memory[1::2], second=1)
    result = ship.answer("inspect", "even.bin", "odd.bin")
    assert [each["code"] for each in result.document["pair"]] == ["read-pair"]
    assert "--pair" in ship.run("inspect", "even.bin", "odd.bin").out
