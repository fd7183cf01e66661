"""A whole working life: six units, two visits, three swaps, a dead laptop, a sale, a lost record.

The commands stand in `life_aboard.py` and `life_ashore.py`, each with its exit code and words of
its answer. What the lists must count at the end is worked out by hand here.
"""

from __future__ import annotations

import shutil
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from tests.stories import life_aboard as aboard
from tests.stories import life_ashore as ashore
from tests.stories.life_dumps import CRANE, WINCH, dumps, first_visit, second_visit

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from tests.stories.conftest import Laptop

COPIES = {
    "tern/port-thruster/U12": (3, True, "9f0416e1"),
    "tern/stbd-thruster/U12": (2, True, "1850ec23"),
    "tern/winch/U3": (1, True, "bb13b9ef"),
    "tern/crane/U5": (1, True, "1528ea24"),
    "tern/card:PC-4471/U12": (1, True, "f903d230"),
}
"""Copies of the sold vessel: the port thruster's of March, of September, and the one read back with
the hours run on; the starboard thruster's of March and September; one of each other chip."""
READS = {
    "tern/port-thruster/U12": 4,
    "tern/stbd-thruster/U12": 4,
    "tern/winch/U3": 4,
    "tern/crane/U5": 4,
    "tern/card:PC-4471/U12": 2,
}
"""Reads that count: two at each visit; none that was withdrawn, given again or read back."""


def steps(chapter: str) -> Iterator[tuple[str, int, str]]:
    """Yield each command of a chapter, with its exit code and words of its answer."""
    joined = chapter.strip().replace("\n> ", " ").splitlines()
    for line, answer in zip(joined[0::2], joined[1::2], strict=True):
        assert (line[:2], answer[:2]) == ("$ ", "= ")
        code, _, words = answer[2:].partition(" ")
        yield line[2:], int(code), words


def play(laptop: Laptop, chapter: str) -> None:
    """Type each command of a chapter, and compare its exit code and its answer.

    A card is read after it was loaded: the dumps of a read-back get the minute of its first use.
    """
    read_off: set[str] = set()
    for line, code, words in steps(chapter):
        if line.startswith("swap read-back"):
            for name in [word for word in line.split() if word[-4:] in {".HEX", ".S19", ".BIN"}]:
                if name not in read_off:
                    laptop.write(name, (laptop.folder / name).read_bytes())
                    read_off.add(name)
        result = laptop.run(line)
        assert result.code == code, (line, result.code, result.text)
        assert words, line
        assert words in result.text, (line, words, result.text)


def day(laptop: Laptop, date: str) -> None:
    """Set the laptop's clock to 9 o'clock of a day."""
    laptop.now = datetime.fromisoformat(date).replace(hour=9, tzinfo=UTC)


def counted(laptop: Laptop, where: str = "") -> dict[str, tuple[int, bool, str]]:
    """Return the copies, whether the latest is verified, and its first digits, by position."""
    positions = laptop.json(f"catalogue {where}")["positions"]
    return {row["where"]: (row["copies"], row["verified"], row["sha256"][:8]) for row in positions}


def reads(laptop: Laptop, where: str) -> int:
    """Return the separate reads that history counts at a position."""
    return sum(copy["separate_reads"] for copy in laptop.json(f"history {where}")["copies"])


def lose(laptop: Laptop, text: bytes) -> None:
    """Delete the one record that has this text, as a failing disk does."""
    hits = [
        path for path in (laptop.vault / "records").rglob("*.json") if text in path.read_bytes()
    ]
    assert len(hits) == 1, hits
    hits[0].unlink()


def test_a_whole_working_life(laptops: Callable[[str], Laptop]) -> None:
    """Every step is answered as a user should see it, and every count is true at the end."""
    laptop, mate, owner = laptops("laptop"), laptops("mate"), laptops("owner")
    first_visit(laptop)
    play(laptop, aboard.FIRST_VISIT)
    play(laptop, aboard.SLIPS)
    day(laptop, "2026-09-14")
    second_visit(laptop)
    for chapter in (aboard.DONE_WELL, aboard.WRONG_LOAD, aboard.EMERGENCY):
        play(laptop, chapter)
    for person in (mate, laptop):
        day(person, "2026-10-05")
        dumps(person, {"WINCH#.BIN": WINCH, "CRANE#.S19": CRANE}, "45")
    play(mate, ashore.RECOVERED)
    play(laptop, ashore.FIRST_LAPTOP)
    day(mate, "2026-10-06")
    play(mate, ashore.MERGED)
    assert counted(mate) == counted(laptop)
    assert counted(mate, "tern") == COPIES
    day(owner, "2027-01-06")
    play(owner, ashore.SOLD)
    assert counted(owner) == COPIES
    assert {where: reads(owner, where) for where in COPIES} == READS
    lose(owner, b"CRANE4.S19")
    shutil.rmtree(owner.folder / "shore")
    play(owner, ashore.LOST)
    assert counted(owner) == COPIES
    lost = {**READS, "tern/crane/U5": 3}
    assert {where: reads(owner, where) for where in COPIES} == lost
