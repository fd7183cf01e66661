"""What stands on the pages of a copy, a visit and a swap, and in which order."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from parambak.keeping.assess import Assessor
from parambak.keeping.recording import visits
from parambak.swap import recording
from tests.keeping.conftest import LAYOUT, WHERE, image
from tests.reports import story
from tests.reports.page import Page, assert_harmless

if TYPE_CHECKING:
    from tests.keeping.conftest import Laptop

END = ["Cautions", "Signatures", "The records behind this page"]
# The items that IACS UR E22 (Rev.3, 6.11) asks of a change record.
E22 = [
    "purpose",
    "description",
    "conclusion on impact",
    "card identity and software",
    "test report",
]


def test_the_page_of_a_closed_swap_tells_all_of_it(laptop: Laptop) -> None:
    """Every part, deviations before everything else, the change record's five items."""
    story.whole(laptop)
    page = Page(story.swap_bytes(laptop))
    assert_harmless(page)
    assert page.heads == [
        "Deviations",
        "Change record",
        "Identity",
        "Route, fallback plan, counters",
        "Conditions, in the order of the work",
        "Card sheets of the unit and of the new card",
        "Loaded and read back",
        "Function tests",
        "Measurements",
        "The selected copy",
        "Decoded parameters of the selected copy",
        "Map of the memory",
        "SHA-256 and sums of the selected copy",
        "Visits aboard while the swap was open",
        "Other swaps at this position",
        *END,
    ]
    assert page.terms[:5] == E22
    text = page.text
    assert text.index("ACCEPTED DEVIATION: permit") < text.index("CLOSED on 2026-03-01")
    for words in (
        "Evidence then: nobody to sign",
        "drifting (B. Master, 2026-03-01 09:",
        "UNVERIFIED COPY RELEASED FOR LOADING",
        "no ship's rules are on record",
        "stays dark",
        "alarm 14 is out meanwhile",
        "contents proven by bytes; stop passed",
        "card.software 3.20; card.type TC-2; layout Thruster controller",
        "the new card's memory is loaded with the selected copy",
        "stop at noon",
        "P1; location now: ashore",
        "P2; location now: in a unit",
        "after loading they show",
        "unit.toml, SHA-256",
        "new.toml, SHA-256",
        "a link may select another mode",
        "stated on one sheet only: check the card",
        "NOT LOADED CORRECTLY: 1 byte differs",
        "loaded correctly: 0 bytes differ; 1 more in running fields",
        "contents proven by bytes, by two separate read-backs",
        "Unmapped (no field): 0x00C0 to 0x00C0",
        "run_hours",
        "FAILED",
        "relay stuck",
        "at once",
        "OUT, 0.02 V below 11.4",
        "-0.14 (2025-06-01)",
        "typed 569 Hz, 36 teeth",
        "not possible: invented reason",
        "more than 12 months ago",
        "cabinet was warm",
        "the copy's remark",
        "channel: 3 rows",
        "from lower_limit",
        "2 stern",
        "2.0 to 60.0",
        "block sum",
        "CRC-32/ISO-HDLC",
        "winch next time",
        "ABANDONED on 2026-03-01: no spare aboard",
        "It does not show that the unit is safe",
        "surveyor",
        "Seal: grebe, ",
    ):
        assert words in text, words


def test_an_open_swap_says_what_is_wanting(laptop: Laptop) -> None:
    """And that nothing is proven or tested."""
    story.prepare(laptop)
    story.begin(laptop, route="move-chip")
    page = Page(story.swap_bytes(laptop))
    assert_harmless(page)
    for words in (
        "OPEN, since 2026-03-01",
        "NOT FINISHED. Missing: diagnosed, supply-voltages, final-read, ",
        "the old memory chip goes onto the new card",
        "Note or photograph which way round the chip is fitted.",
        "contents NOT PROVEN; no function test on record",
        "contents NOT PROVEN: no read-back in this swap.",
        "None on record.",
    ):
        assert words in page.text, words
    assert "swaps are open here" not in page.text
    assert "Visits aboard while the swap was open" not in page.heads


def test_a_swap_given_up_says_why(laptop: Laptop) -> None:
    """It is not to be taken for a closed one; nothing was accepted, and that is said."""
    story.whole(laptop)
    page = Page(story.swap_bytes(laptop, 0))
    assert_harmless(page)
    assert "ABANDONED on 2026-03-01 09:" in page.text
    assert "no spare aboard" in page.text
    assert "No condition was accepted as a deviation" in page.text
    assert "No sheet of the new card is on record: nothing was compared." in page.text
    assert "No file was released for loading in this swap." in page.text
    assert "CLOSED" not in page.text


def test_an_older_copy_that_is_meant_says_why(laptop: Laptop) -> None:
    """The page shows that copy, not the newest."""
    story.prepare(laptop)
    story.begin(laptop)
    older = laptop.position().copies[0]
    recording.select_copy(laptop.vault, WHERE, older, why="before the fault", by=story.BY)
    text = Page(story.swap_bytes(laptop)).text
    assert "before the fault (A. Invented, 2026-03-01 09:" in text
    assert f"selected copy {WHERE}@{older.sha256[:8]}" in text


def test_a_swap_without_a_copy_has_a_page(laptop: Laptop) -> None:
    """Of another position of the unit, where nothing was ever read."""
    laptop.take(image(), where="grebe/port-thruster/U13")
    laptop.take(image(1), where="grebe/port-thruster/U12", position_confirmed=True)
    recording.open_swap(
        Assessor(laptop.vault),
        WHERE,
        why="x",
        by=story.BY,
        route="load",
        old_card=None,
        new_card=None,
    )
    page = Page(story.swap_bytes(laptop))
    assert_harmless(page)
    assert "There is no layout that can be used" in page.text
    assert "its serial number is not recorded" in page.text
    assert "conclusion on impact not recorded" in page.text


def test_the_page_of_a_visit_puts_what_changed_first(laptop: Laptop) -> None:
    """Then who and when, what was read and was not, measured, swapped and remarked."""
    story.prepare(laptop)
    laptop.take(image(9), image(9), where="grebe/stbd-thruster/U12")
    visits.open_visit(
        laptop.vault, vessel="grebe", on="2026-03-01", by=story.BY, reader="bench 2", confirmed=True
    )
    story.begin(laptop)
    visit = laptop.fleet.vessels[0].visits[0].id
    laptop.take(story.changed(0x23), story.changed(0x23), visit=visit, written="by hand")
    story.measure(laptop, "relay_rail=11.51V", visit=visit)
    still_open = Page(story.visit_bytes(laptop))
    assert "This visit is still open." in still_open.text
    visits.close_visit(
        laptop.vault, today=laptop.now.date(), vessel="grebe", remark="winch next time"
    )
    story.say(laptop)
    page = Page(story.visit_bytes(laptop))
    assert_harmless(page)
    assert page.heads == [
        "What changed",
        "Identity",
        "Remark",
        "What was read",
        "What was not read",
        "Measurements",
        "Swaps open during the visit",
        f"{WHERE}: contents",
        *END,
    ]
    for words in (
        "the copy before this visit. 1 byte differs. ",
        "run_hours",
        "visit opened 2026-03-01 09:00, by A. Invented",
        "reader bench 2",
        "winch next time",
        "verified",
        "not read in this visit: grebe/stbd-thruster/U12",
        "Remark on 0x0023 to 0x0023: set by hand (A. Invented, 2026-03-01)",
        "inside, by 0.11 V",
        "+0.13",
        "deviations accepted: permit",
        "channel: 3 rows",
        "CRC-32/ISO-HDLC",
    ):
        assert words in page.text, words


def test_a_visit_in_which_nothing_was_read_has_a_page(laptop: Laptop) -> None:
    """And says so."""
    story.prepare(laptop)
    visits.open_visit(
        laptop.vault, vessel="grebe", on="2026-03-01", by=None, reader=None, confirmed=True
    )
    page = Page(story.visit_bytes(laptop))
    assert_harmless(page)
    assert "Nothing was read in this visit." in page.text
    assert "by person not recorded" in page.text


def test_the_page_of_a_copy_tells_all_of_it(laptop: Laptop) -> None:
    """Verified, by which reads, against the copy before it, and what it says."""
    story.prepare(laptop)
    story.say(laptop)
    page = Page(story.copy_bytes(laptop))
    assert_harmless(page)
    assert page.heads == [
        "Identity",
        "Conditions of a verified copy",
        "Reads that gave this copy",
        "Compared with the copy before",
        "Decoded parameters",
        "Map of the memory",
        "Over the visits",
        "SHA-256 and sums",
        *END,
    ]
    for words in (
        "VERIFIED: every condition is met.",
        "SHA-256 of the layout",
        "read-twice",
        "the copy's remark",
        "The copy before: grebe/port-thruster/U12@",
        "set by hand (A. Invented, 2026-03-01)",
        "belongs to the card",
        "changed",
    ):
        assert words in page.text, words


def test_a_copy_that_is_not_verified_says_what_is_wanting(laptop: Laptop) -> None:
    """In the first line."""
    laptop.take(image(), layout=LAYOUT, chip="T256")
    page = Page(story.copy_bytes(laptop))
    assert "NOT VERIFIED: read-twice." in page.text
    assert "This is the first copy of this position." in page.text


def test_a_value_outside_its_limits_stands_before_all_values(laptop: Laptop) -> None:
    """And is marked where it stands."""
    wild = image(5, {0x10: 0xFF})
    laptop.verified(wild)
    text = Page(story.copy_bytes(laptop)).text
    assert "OUTSIDE THEIR LIMITS: ramp_up_time 6543.0 s (allowed 2.0 to 60.0)" in text
    assert text.index("OUTSIDE THEIR LIMITS") < text.index("plate")
    assert "OUTSIDE" in text[text.index("plate") :]


@pytest.mark.parametrize("name", story.PAGES)
def test_a_page_names_itself_on_every_sheet(laptop: Laptop, name: str) -> None:
    """What it is of, and the sheet's number, by the style sheet alone."""
    story.whole(laptop)
    page = Page(story.PAGES[name](laptop))
    assert 'content: "sheet " counter(page) " of " counter(pages)' in page.style
    first = page.title.split("/")[0].split()[0]
    assert f'content: "{first}\\20 ' in page.style
