"""A chip that reads differently: named first everywhere, until a person explains it."""

from __future__ import annotations

import random
from typing import TYPE_CHECKING

import pytest

from tests.stories.finished_swap import finished

if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Any

    from tests.stories.conftest import Laptop

AT = "grebe/thruster/U12"
WHERE = "--vessel grebe --unit thruster --position U12 --by 'A. Fitter'"
MEMORY = bytes(random.Random(2).randbytes(2048))
LAYOUT = """
[layout]
title = "Thruster"
memory = 2048
byte-order = "big"

[[field]]
name = "ramp"
at = 0x10
type = "u16"

[[field]]
name = "hours"
at = 0x20
type = "u32"
running = true

[[check]]
name = "sum"
method = "sum-16"
over = [[0x10, 0x2F]]
at = 0x40
"""


def memory(changes: dict[int, int] | None = None, *, renewed: bool = True) -> bytes:
    """Return the memory with some bytes changed, and its check renewed or not."""
    data = bytearray(MEMORY)
    if not renewed:
        data[0x40:0x42] = (sum(data[0x10:0x30]) & 0xFFFF).to_bytes(2, "big")
    for address, value in (changes or {}).items():
        data[address] = value
    if renewed:
        data[0x40:0x42] = (sum(data[0x10:0x30]) & 0xFFFF).to_bytes(2, "big")
    return bytes(data)


SOUND = memory()
FLIPPED = memory({0x11: SOUND[0x11] ^ 0x04}, renewed=False)
OTHER = memory({0x300: SOUND[0x300] ^ 0x04})


def archive(laptop: Laptop, reads: Sequence[bytes], more: str = "", code: int = 0) -> Any:
    """Archive reads of the chip, each a file of its own; return the answer's document."""
    number = len(list(laptop.folder.glob("*.BIN")))
    names = [laptop.dump(f"R{number + n}.BIN", data) for n, data in enumerate(reads)]
    return laptop.json(f"archive {' '.join(names)} {WHERE} {more}", code)


def state(laptop: Laptop) -> str:
    """Return the state of the newest copy by the catalogue."""
    return str(laptop.json(f"catalogue {AT}")["positions"][0]["state"])


@pytest.fixture
def aboard(laptop: Laptop) -> Laptop:
    """Return a laptop with a layout file, and a chip read twice a year ago."""
    laptop.write("layout.toml", LAYOUT)
    archive(laptop, [SOUND, SOUND], "--layout layout.toml --read-on 2025-03-01")
    assert state(laptop) == "verified"
    return laptop


def test_one_bit_to_and_fro_over_five_reads_is_unstable_everywhere(aboard: Laptop) -> None:
    """In the headline, the catalogue, what is due, the swap, history and on the page."""
    answer = archive(aboard, [SOUND, FLIPPED, SOUND, FLIPPED, SOUND])
    assert (answer["state"], answer["verified"]) == ("unstable", False)
    (unmet,) = answer["unmet"]
    assert unmet["condition"] == "stable"
    assert "disagree 4 times in 1 byte: 0x0011 (ramp: " in unmet["text"]
    aboard.dump("S.BIN", SOUND)
    said = aboard.yes(f"archive S.BIN {WHERE}")
    assert "NOT VERIFIED: UNSTABLE. The chip reads differently" in said
    assert "VERIFIED. Keep" not in said
    assert f"Unstable: {AT}" in aboard.yes(f"catalogue {AT}").replace("UNSTABLE", "Unstable")
    (due,) = aboard.json(f"due {AT}")["due"]
    assert due["reasons"][0]["code"] == "unstable"
    check = aboard.json(f"swap check {AT}", 1)
    (stable,) = [c for c in check["conditions"] if c["condition"] == "stable"]
    assert (stable["met"], stable["required"]) == (False, True)
    history = aboard.yes(f"history {AT}")
    assert "UNSTABLE: the reads of" in history
    assert "Alternates" not in history
    kinds = {c["kind"] for c in aboard.json(f"history {AT}")["changes"] if c["field"] == "ramp"}
    assert kinds == {"unstable"}
    aboard.yes(f"report copy {AT} --out c.html")
    assert "NOT VERIFIED: UNSTABLE" in (aboard.folder / "c.html").read_text()


def test_only_a_remark_with_a_name_ends_it_and_a_new_disagreement_begins_it_again(
    aboard: Laptop,
) -> None:
    """More reads that agree do not end it; nor another day, another visit."""
    archive(aboard, [SOUND, FLIPPED, FLIPPED])
    assert state(aboard) == "unstable"
    archive(aboard, [SOUND, SOUND, SOUND])
    assert state(aboard) == "unstable"
    aboard.now = aboard.now.replace(month=6)
    archive(aboard, [SOUND, SOUND])
    assert state(aboard) == "unstable"
    pair = f"{AT}@1 {AT}@2"
    aboard.refused(f"diff {pair} --remark 'dirty socket'", "remark-by")
    assert state(aboard) == "unstable"
    aboard.no(f"diff {pair} --remark 'dirty socket, cleaned' --by 'A. Fitter'")
    assert state(aboard) == "verified"
    said = aboard.yes(f"report copy {AT} --out c.html") and (aboard.folder / "c.html").read_text()
    assert "explained by A. Fitter: dirty socket, cleaned" in said
    archive(aboard, [FLIPPED, SOUND])
    assert state(aboard) == "unstable"


def test_a_new_chip_ends_it_and_a_write_alone_does_not(aboard: Laptop) -> None:
    """The same chip written again is the same chip."""
    archive(aboard, [OTHER, SOUND, OTHER])
    aboard.now = aboard.now.replace(month=6)
    archive(aboard, [SOUND, SOUND], "--written 'loaded again in the reader'")
    assert state(aboard) == "unstable"
    aboard.now = aboard.now.replace(month=7)
    archive(aboard, [SOUND, SOUND], "--new-chip 'a cell failed'")
    assert state(aboard) == "verified"


def test_two_chips_of_one_day_are_not_one_unstable_chip(aboard: Laptop) -> None:
    """A chip that is replaced aboard and the new one may differ."""
    archive(aboard, [FLIPPED, FLIPPED])
    archive(aboard, [SOUND, SOUND], "--new-chip 'a cell failed'")
    assert state(aboard) == "verified"
    assert "unstable" not in aboard.yes(f"history {AT}").casefold()


def test_what_a_person_writes_is_no_unstable_chip(aboard: Laptop) -> None:
    """A renewed check shows the write; without one, `--written` with a name states it."""
    written = memory({0x11: SOUND[0x11] ^ 0x04})
    for reads in ([SOUND, SOUND], [written, written], [SOUND, SOUND], [written, written]):
        archive(aboard, reads)
        assert state(aboard) == "verified"
    kinds = {c["kind"] for c in aboard.json(f"history {AT}")["changes"] if c["field"] == "ramp"}
    assert kinds == {"alternates"}
    other = memory({0x11: SOUND[0x11] ^ 0x04, 0x300: 7})
    archive(aboard, [other, other], "--written 'byte 300 set at the panel'")
    assert state(aboard) == "verified"
    aboard.dump("X.BIN", SOUND)
    where = "--vessel grebe --unit thruster --position U12 --written 'by hand'"
    aboard.refused(f"archive X.BIN {where}", "written-by")


def test_a_counter_that_ran_between_two_reads_is_no_difference(aboard: Laptop) -> None:
    """The counter is declared running; the check over it was renewed with it."""
    ran = memory({0x23: SOUND[0x23] ^ 0x01})
    answer = archive(aboard, [SOUND, ran])
    assert answer["state"] == "verified"
    assert archive(aboard, [ran, SOUND, memory({0x23: 9, 0x22: 1})])["state"] == "verified"


def test_reads_that_are_no_evidence_accuse_nobody(aboard: Laptop) -> None:
    """A bad contact, old dumps archived in one hour, and a change from visit to visit."""
    archive(aboard, [bytes([0xFF]) * 2048, SOUND, SOUND], "--blank-confirmed")
    assert state(aboard) == "verified"
    where = WHERE.replace("U12", "U13")
    days = []
    for year, data in enumerate((SOUND, OTHER)):
        aboard.now = aboard.now.replace(year=2019 + year)
        days += [aboard.dump(f"Y{year}{n}.BIN", data) for n in range(2)]
    aboard.now = aboard.now.replace(year=2026)
    for at in (0, 2):
        aboard.yes(f"archive {days[at]} {days[at + 1]} {where} --position-confirmed")
    shown = aboard.json("catalogue grebe/thruster/U13")["positions"][0]
    assert shown["state"] == "verified-as-read"


def test_the_ship_swaps_the_card_and_the_finding_ends(aboard: Laptop) -> None:
    """The copy of last year, read before the chip failed, is loaded; the new chip is stable."""
    aboard.now = aboard.now.replace(month=5)
    archive(aboard, [OTHER, FLIPPED, OTHER])
    aboard.yes(f"swap open {AT} --reason 'reads differ' --by 'A. Fitter'")
    assert "stable" in aboard.json(f"swap check {AT}", 1)["missing"]
    aboard.yes(f"swap select {AT}@1 --reason 'before the chip failed' --by 'A. Fitter'")
    assert "stable" not in finished(aboard, AT, SOUND)
    shown = aboard.json(f"catalogue {AT}")["positions"][0]
    assert (shown["state"], shown["copies"]) == ("verified", 3)
    history = aboard.json(f"history {AT}")["copies"]
    assert [copy["separate_reads"] for copy in history][-1] == 0
    assert sum(read["read_back"] for read in history[-1]["reads"]) > 0
    assert "unstable" not in str(aboard.json(f"due {AT}")["due"])


def test_a_cell_that_fades_is_in_the_headline(laptop: Laptop) -> None:
    """Over three years a bit at a time, outside every check: verified, but fading."""
    laptop.write("layout.toml", LAYOUT)
    years = [memory({0x300: value}) for value in (0xF0, 0xF1, 0xF3)]
    for year, data in enumerate(years):
        day = f"--read-on 202{3 + year}-03-01"
        answer = archive(laptop, [data, data], f"--layout layout.toml {day}")
    assert (answer["state"], answer["fading"]) == ("fading", ["0x0300"])
    shown = laptop.yes(f"catalogue {AT}")
    assert f"FADING: {AT}. Bits changed in one direction" in shown
    reasons = laptop.json(f"due {AT}")["due"][0]["reasons"]
    assert "fading" in [reason["code"] for reason in reasons]
    laptop.dump("Z.BIN", years[2])
    assert "VERIFIED, BUT FADING: 0x0300" in laptop.yes(f"archive Z.BIN {WHERE}")
