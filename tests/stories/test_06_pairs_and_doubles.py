"""A pair in the wrong order, the wrong half, a file given again; and counts of reads."""

from __future__ import annotations

import random
from typing import TYPE_CHECKING, Any

from tests.stories.finished_swap import finished

if TYPE_CHECKING:
    from tests.stories.conftest import Laptop

AT = "grebe/winch/U3"
WHERE = "--vessel grebe --unit winch --position U3 --by 'A. Fitter'"
MEMORY = bytes(random.Random(6).randbytes(1024))
TEXT = (b"ALARM PRESSURE LIMIT OIL PUMP FAULT SENSOR OVERLOAD CURRENT VALVE MOTOR STOP " * 14)[
    :1024
]
CHECKED = """
[layout]
title = "Winch"
memory = 1024
byte-order = "big"

[[check]]
name = "sum"
method = "crc-16/arc"
over = [[0x00, 0x3FD]]
at = 0x3FE
"""


def pair(laptop: Laptop, memory: bytes, name: str) -> tuple[str, str]:
    """Write the dumps of the even and of the odd chip; return their names."""
    return laptop.dump(f"{name}E.BIN", memory[::2]), laptop.dump(f"{name}O.BIN", memory[1::2])


def asked(laptop: Laptop, line: str, fault: str) -> Any:
    """Return the refusal of a line, which --position-confirmed passes."""
    error = laptop.refused(line, fault)
    assert "--position-confirmed" in error["next"]
    laptop.yes(f"{line} --position-confirmed")
    return error


def test_a_pair_in_the_other_order_is_asked_about(laptop: Laptop) -> None:
    """By the copy on record: the figures of both orders."""
    even, odd = pair(laptop, MEMORY, "A")
    laptop.yes(f"archive {even} {odd} {WHERE} --pair even-odd")
    even, odd = pair(laptop, MEMORY, "B")
    right = f"archive {odd} {even} {WHERE} --pair odd-even"
    laptop.yes(right)  # the same chips, named in the other order
    assert laptop.json(f"catalogue {AT}")["positions"][0]["verified"] is True
    even, odd = pair(laptop, MEMORY, "C")
    wrong = f"archive {odd} {even} {WHERE} --pair even-odd"
    error = laptop.refused(wrong, "pair-order")
    assert "--pair odd-even" in error["next"]
    assert error["found"] == "in the other order it differs in 0 bytes"
    for scheme, order in (("low-high", (512, 0)), ("high-low", (0, 512))):
        halves = [laptop.dump(f"{scheme}{at}.BIN", MEMORY[at : at + 512]) for at in order]
        laptop.refused(f"archive {' '.join(halves)} {WHERE} --pair {scheme}", "pair-order")
    asked(laptop, wrong, "pair-order")


def test_the_first_pair_is_judged_by_its_contents(laptop: Laptop) -> None:
    """Words that are readable, or checks that hold, in the other order alone."""
    even, odd = pair(laptop, TEXT, "T")
    error = laptop.refused(f"archive {odd} {even} {WHERE} --pair even-odd", "pair-order")
    assert "joined as odd-even bytes" in error["found"]
    laptop.yes(f"archive {even} {odd} {WHERE} --pair even-odd")
    from parambak.layouts.check_methods import compute
    from parambak.layouts.load import load

    laptop.write("layout.toml", CHECKED)
    (check,) = load(CHECKED.encode()).checks
    data = MEMORY[:0x3FE]
    memory = data + compute(check, data, "big").to_bytes(2, "big")
    even, odd = pair(laptop, memory, "K")
    where = f"{WHERE.replace('U3', 'U4')} --layout layout.toml"
    error = laptop.refused(f"archive {odd} {even} {where} --pair even-odd", "pair-order")
    assert error["found"] == "in the other order alone all hold (1 check)"
    laptop.yes(f"archive {even} {odd} {where} --pair even-odd")


def test_one_chip_of_a_pair_read_twice_is_asked_about(laptop: Laptop) -> None:
    """The same half twice: by its bytes, and by the copy on record."""
    even, odd = pair(laptop, MEMORY, "A")
    again = laptop.dump("AGAIN.BIN", MEMORY[::2])
    error = laptop.refused(f"archive {even} {again} {WHERE} --pair even-odd", "pair-same-half")
    assert error["found"] == "the same 512 bytes twice"
    laptop.yes(f"archive {even} {odd} {WHERE} --pair even-odd")
    moved = bytearray(MEMORY[::2])
    moved[5] ^= 1
    near = laptop.dump("NEAR.BIN", bytes(moved))
    even, odd = pair(laptop, MEMORY, "B")
    error = asked(laptop, f"archive {even} {near} {WHERE} --pair even-odd", "pair-same-half")
    assert (
        "both are near the first chip: the other dump differs from that in 1 byte"
        in (error["found"])
    )


def test_one_chip_of_a_pair_alone_is_asked_about(laptop: Laptop) -> None:
    """A dump of half the copy's size that is near one half of it."""
    even, odd = pair(laptop, MEMORY, "A")
    laptop.yes(f"archive {even} {odd} {WHERE} --pair even-odd")
    alone = laptop.dump("ALONE.BIN", MEMORY[1::2])
    error = laptop.refused(f"archive {alone} {WHERE}", "pair-half-alone")
    assert "near the odd bytes of it: 0 bytes differ" in error["found"]
    low = laptop.dump("LOW.BIN", MEMORY[:512])
    assert "the lower half" in laptop.refused(f"archive {low} {WHERE}", "pair-half-alone")["found"]


def test_the_same_file_again_is_on_record_and_no_other_read(laptop: Laptop) -> None:
    """In one call and over calls; nothing is written, and nothing else is dropped silently."""
    laptop.dump("R.BIN", MEMORY)
    first = laptop.json(f"archive R.BIN R.BIN {WHERE}")
    assert (first["reads"], first["already"], first["verified"]) == (1, ["R.BIN"], False)
    before = laptop.files()
    again = laptop.json(f"archive R.BIN {WHERE}")
    assert (again["reads"], again["already"]) == (0, ["R.BIN"])
    assert laptop.files() == before
    said = laptop.yes(f"archive R.BIN {WHERE}")
    assert "0 reads put on record" in said
    assert "already on record R.BIN" in said
    laptop.refused(f"archive R.BIN {WHERE} --remark 'once more'", "dump-on-record")
    laptop.dump("S.BIN", MEMORY)
    both = laptop.json(f"archive R.BIN S.BIN {WHERE} --remark 'the second'")
    assert (both["reads"], both["already"], both["verified"]) == (1, ["R.BIN"], True)
    (copy,) = laptop.json(f"history {AT}")["copies"]
    assert (copy["separate_reads"], len(copy["reads"])) == (2, 2)
    assert laptop.json(f"archive S.BIN {WHERE} --no-file-times")["reads"] == 1


def test_counts_of_reads_leave_read_backs_out(laptop: Laptop) -> None:
    """A copy of one read, loaded and read back four times, is a copy of one read."""
    laptop.dump("R.BIN", MEMORY)
    laptop.dump("S.BIN", MEMORY)
    laptop.yes(f"archive R.BIN S.BIN {WHERE}")
    laptop.yes(f"swap open {AT} --reason 'no output' --by 'A. Fitter'")
    finished(laptop, AT, MEMORY)
    laptop.dump("T.BIN", MEMORY)
    archived = laptop.json(f"archive T.BIN {WHERE}")
    (twice,) = [c for c in archived["conditions"] if c["condition"] == "read-twice"]
    assert twice["text"].startswith("3 separate reads gave this image; ")
    assert "of a card that was loaded from this copy not counted" in twice["text"]
    (copy,) = laptop.json(f"history {AT}")["copies"]
    assert copy["separate_reads"] == 3
    backs = sum(read["read_back"] for read in copy["reads"])
    assert backs > 0
    assert f"3 + {backs} read back" in laptop.yes(f"history {AT}")
    laptop.yes("tables --out tables")
    rows = (laptop.folder / "tables" / "copies.csv").read_text().splitlines()
    assert rows[1].split(",")[rows[0].split(",").index("reads")] == "3"
