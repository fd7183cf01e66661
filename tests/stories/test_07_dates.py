"""Days and hours are those of the work aboard, not those of the typing."""

from __future__ import annotations

import os
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import pytest

from tests.stories.small_unit import memory

if TYPE_CHECKING:
    from tests.stories.conftest import Laptop

BY = "--by 'A. Fitter'"
WHERE = "grebe/winch/U12"
AT = "--vessel grebe --unit winch --position U12"


def archived(laptop: Laptop, seed: int, words: str = AT) -> str:
    """Archive one read; return the day that it is dated."""
    laptop.dump(f"R{seed}.BIN", memory(seed))
    day: str = laptop.json(f"archive R{seed}.BIN {words} --position-confirmed {BY}")["read_on"]
    return day


def page_of(laptop: Laptop, line: str) -> str:
    """Write a page; return its text with single spaces."""
    laptop.yes(f"report {line} --out page.html --replace")
    return " ".join((laptop.folder / "page.html").read_text(encoding="utf-8").split())


def test_a_read_in_a_visit_entered_afterwards_has_the_visits_day(laptop: Laptop) -> None:
    """So do the readings of an instrument; --read-on goes first."""
    laptop.yes(f"visit open grebe --on 2026-02-10 --new-vessel {BY}")
    assert archived(laptop, 1) == "2026-02-10"
    assert "the day of the open visit" in laptop.yes(f"archive R1.BIN {AT} --no-file-times {BY}")
    assert archived(laptop, 2, f"{AT} --read-on 2026-02-11") == "2026-02-11"
    laptop.yes(f"measure grebe/winch core_rail=3.3V {BY}")
    assert laptop.json("measure grebe/winch core_rail=3.4V --on 2026-02-12")["drift"][0]["series"][
        0
    ] == {"on": "2026-02-10", "value": "3.3"}
    closed = laptop.json("visit close")
    assert (closed["on"], closed["closed"]) == ("2026-02-10", "2026-02-10")
    laptop.yes(f"visit open grebe {BY}")
    laptop.now = datetime(2026, 3, 4, 9, 0, tzinfo=UTC)
    assert archived(laptop, 3) == "2026-03-04"
    assert laptop.json("visit close")["closed"] == "2026-03-04"


def test_the_time_of_a_file_on_another_day_is_pointed_out(laptop: Laptop) -> None:
    """More than a day: the note says how to correct it; --read-on decides without a note."""
    laptop.dump("R1.BIN", memory())
    moment = datetime(2026, 2, 20, 12, 0, tzinfo=UTC).timestamp()
    os.utime(laptop.folder / "R1.BIN", (moment, moment))
    text = laptop.yes(f"archive R1.BIN {AT} {BY}")
    assert "R1.BIN was written on 2026-02-20, and the read is dated 2026-03-02" in text
    assert "--read-on 2026-02-20" in text
    laptop.yes(f"correct {WHERE}@latest --read-on 2026-02-20 {BY}")
    assert laptop.json("catalogue")["positions"][0]["read_on"] == "2026-02-20"
    decided = laptop.yes(f"archive R1.BIN {AT} --read-on 2026-02-21 --no-file-times {BY}")
    assert "was written on" not in decided
    assert "was written on" not in laptop.yes(f"archive R1.BIN {AT} --no-file-times {BY}")
    moment = laptop.now.timestamp() - 20 * 3600
    os.utime(laptop.folder / "R1.BIN", (moment, moment))
    assert "was written on" not in laptop.yes(f"archive R1.BIN {AT} {BY}")


def test_a_visit_is_closed_on_the_day_on_which_it_ended(laptop: Laptop) -> None:
    """Not before it began, and not in the future; its page has the days and the hours."""
    archived(laptop, 1)
    laptop.yes(f"visit open grebe --on '2026-02-10 08:30' {BY}")
    laptop.refused("visit close --on 2026-02-09", "visit-backwards")
    laptop.refused("visit close --on '2026-02-10 08:29'", "visit-backwards")
    laptop.refused("visit close --on 2026-04-01", "day-to-come")
    laptop.refused("visit close --on '2026-02-10 24:30'", "correct-date")
    closed = laptop.json("visit close --on '2026-02-12 17:45'")
    assert [closed[key] for key in ("on", "at", "closed", "closed_at")] == [
        "2026-02-10",
        "08:30",
        "2026-02-12",
        "17:45",
    ]
    page = page_of(laptop, "visit grebe")
    assert "2026-02-10 08:30, by A. Fitter" in page
    assert "2026-02-12 17:45" in page


def test_the_clocks_hours_are_kept_where_they_are_known(laptop: Laptop) -> None:
    """A visit opened and closed aboard has the hours of the clock; one entered by its day none."""
    archived(laptop, 1)
    laptop.yes(f"visit open grebe {BY}")
    opened = laptop.now
    closed = laptop.json("visit close")
    assert (closed["at"], closed["closed_at"]) == (f"{opened:%H:%M}", f"{laptop.now:%H:%M}")
    laptop.yes(f"visit open grebe --on 2026-02-10 {BY}")
    closed = laptop.json("visit close")
    assert (closed["at"], closed["closed_at"]) == (None, None)


def test_the_hour_of_a_read_is_on_the_page(laptop: Laptop) -> None:
    """A read is given with its hour; one in the future is refused."""
    archived(laptop, 1, f"{AT} --read-on '2026-02-10 14:30'")
    assert "2026-02-10 14:30" in page_of(laptop, f"copy {WHERE}")
    laptop.dump("R2.BIN", memory(2))
    laptop.refused(f"archive R2.BIN {AT} --read-on '{laptop.now:%Y-%m-%d} 23:59'", "day-to-come")


@pytest.mark.parametrize(
    ("opened", "closed", "aboard"),
    [
        ("2026-02-10", "2026-02-12", False),
        ("2026-03-02 06:00", "2026-03-02 07:30", False),
        ("2026-02-10", "2026-03-02", True),
        ("2026-03-02", "", False),
        ("2026-03-02 06:00", "", True),
    ],
)
def test_pages_list_as_aboard_what_was(
    laptop: Laptop, opened: str, closed: str, aboard: bool
) -> None:
    """A swap and a visit are on each other's pages if both were open at one time."""
    archived(laptop, 1)
    laptop.yes(f"swap open {WHERE} --reason 'does not start' {BY}")
    laptop.yes(f"swap close {WHERE} --abandoned --reason 'it starts' {BY}")
    laptop.yes(f"visit open grebe --on '{opened}' {BY}")
    laptop.yes(
        f"visit close --on '{closed}' --remark 'was aboard'"
        if closed
        else "visit close --remark 'was aboard'"
    )
    assert ("Swaps open during the visit" in page_of(laptop, "visit grebe")) == aboard
    assert ("was aboard" in page_of(laptop, f"swap {WHERE}")) == aboard


def test_what_came_aboard_later_was_not_missed(laptop: Laptop) -> None:
    """Only what was on record aboard in the visit is listed as not read."""
    archived(laptop, 1, f"{AT} --read-on 2026-02-01")
    archived(laptop, 2, "--vessel grebe --unit crane --position U7 --read-on 2026-02-20")
    laptop.yes(f"visit open grebe --on 2026-02-10 {BY}")
    assert laptop.json("visit close")["not_read"] == [WHERE]
    page = page_of(laptop, "visit grebe")
    assert f"were not read in this visit: {WHERE}." in page


def test_two_reads_of_one_day_are_ordered_by_their_hours(laptop: Laptop) -> None:
    """In whichever order they were typed; without the hour of each, as they were typed."""
    for name, seed, hour in (("LATE.BIN", 1, "T15:00"), ("EARLY.BIN", 2, "T09:00")):
        words = f"{AT} --position-confirmed --read-on 2026-02-10{hour} --written 'set anew' {BY}"
        laptop.run(f"archive {laptop.dump(name, memory(seed))} {words}")
    laptop.yes(f"export {WHERE} --as raw --out OUT.BIN")
    assert (laptop.folder / "OUT.BIN").read_bytes() == memory(1)
    copies = laptop.json(f"history {WHERE}")["copies"]
    assert [copy["number"] for copy in copies] == [1, 2]
    laptop.run(
        f"archive {laptop.dump('ANY.BIN', memory(3))} {AT} --position-confirmed "
        f"--read-on 2026-02-10 --written 'set anew' {BY}"
    )
    laptop.yes(f"export {WHERE} --as raw --out OUT.BIN --replace")
    assert (laptop.folder / "OUT.BIN").read_bytes() == memory(3)
