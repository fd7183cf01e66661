"""Cards as a user and a script meet them: sheets, location, comparing, exchanging."""

from __future__ import annotations

import tomllib
from typing import TYPE_CHECKING

import pytest

from tests.cli.invented import MEMORY, WHERE, archive_two, changed, dump

if TYPE_CHECKING:
    from tests.cli.conftest import Result, Ship

UNIT = "grebe/port-thruster"
SHEET = b"""
[for]
unit = "port-thruster"

[card]
type = "TC-2"

[links]
J1 = "1-2"

[node]
address = 17
"""
NEW = SHEET.replace(b'unit = "port-thruster"', b'card = "PC-2"')


def code(result: Result) -> tuple[int, str]:
    """Return the exit code and the code of the refusal."""
    return result.code, result.document["error"]["code"]


@pytest.fixture
def aboard(ship: Ship) -> Ship:
    """Return a ship with a unit, its sheet, and a spare."""
    archive_two(ship)
    ship.write("unit.toml", SHEET)
    ship.write("new.toml", NEW)
    assert ship.run("card", "record", UNIT, "unit.toml", "--by", "A. Person").code == 0
    assert ship.run("card", "add", "grebe", "PC-2", "--card-type", "TC-2").code == 0
    return ship


def test_a_blank_sheet_is_printed_or_written_and_goes_on_record_as_it_is(aboard: Ship) -> None:
    """It states nothing, and that is said; a file that is there is not written over."""
    printed = aboard.run("card", "blank")
    assert printed.out.startswith("# Card sheet")
    assert aboard.run("card", "blank", "--out", "mine.toml").code == 0
    assert (aboard.folder / "mine.toml").read_text("utf-8") == printed.out
    assert code(aboard.answer("card", "blank", "--out", "mine.toml")) == (2, "vault-export-exists")
    kept = aboard.answer("card", "record", UNIT, "mine.toml")
    assert (kept.code, kept.document["entries"]) == (0, 0)
    assert "states nothing" in kept.err
    nothing = aboard.answer("card", "compare", UNIT, "--new-card", "mine.toml")
    assert code(nothing) == (2, "sheet-nothing")


def test_a_new_cards_sheet_is_compared_entry_by_entry(aboard: Ship) -> None:
    """0 where all is the same, 1 where something differs or is not stated; what it may mean."""
    same = aboard.answer("card", "compare", UNIT, "--new-card", "new.toml")
    assert (same.code, same.document["same"]) == (0, True)
    assert (
        "The same: all 3 entries."
        in aboard.run("card", "compare", UNIT, "--new-card", "new.toml").out
    )
    aboard.write("less.toml", NEW.replace(b"address = 17", b""))
    less = aboard.answer("card", "compare", UNIT, "--new-card", "less.toml")
    assert (less.code, less.document["differing"], less.document["not_stated"]) == (1, 0, 1)
    aboard.write("off.toml", NEW.replace(b"17", b"18").replace(b'J1 = "1-2"', b'J9 = "<b>"'))
    result = aboard.answer("card", "compare", UNIT, "--new-card", "off.toml")
    assert result.code == 1
    document = result.document
    assert (document["same"], document["differing"], document["not_stated"]) == (False, 1, 2)
    by_name = {each["entry"]: each for each in document["entries"]}
    assert by_name["node.address"] == {
        "entry": "node.address",
        "unit": "17",
        "card": "18",
        "state": "differs",
        "consequence": by_name["node.address"]["consequence"],
    }
    assert "bus" in by_name["node.address"]["consequence"]
    assert (by_name["links.J1"]["state"], by_name["links.J1"]["card"]) == ("not stated", None)
    assert by_name["card.type"]["consequence"] is None
    page = aboard.run("card", "compare", UNIT, "--new-card", "off.toml")
    assert page.code == 1
    assert "Of 4 entries: 1 DIFFER; 2 NOT STATED on one of the two." in page.out
    assert "The maker's documents" in page.out


def test_a_card_is_compared_by_its_serial_number_once_its_sheet_is_on_record(aboard: Ship) -> None:
    """Before that there is no answer; and one of the two is named, not both."""
    words = ("card", "compare", UNIT, "--new-card-serial", "PC-2")
    missing = aboard.answer(*words)
    assert code(missing) == (2, "sheet-none")
    assert "grebe/card:PC-2" in missing.document["error"]["next"]
    assert aboard.run("card", "record", "grebe/card:PC-2", "new.toml").code == 0
    result = aboard.answer(*words)
    assert (result.code, result.document["card"]) == (0, "PC-2")
    assert code(aboard.answer(*words, "--new-card", "new.toml")) == (2, "sheet-compare-card")
    assert code(aboard.answer("card", "compare", UNIT)) == (2, "sheet-compare-card")
    assert code(aboard.answer("card", "compare", f"{UNIT}/U12", *words[3:])) == (2, "sheet-where")
    assert code(aboard.answer(*words[:4], "PC-9")) == (2, "where-card")


def test_a_sheet_for_another_unit_is_refused_wherever_it_is_given(aboard: Ship) -> None:
    """record, compare, swap check; the vault is as it was."""
    aboard.write("other.toml", SHEET.replace(b"port-thruster", b"winch"))
    before = aboard.tree()
    for words in (
        ("card", "record", UNIT, "other.toml"),
        ("card", "compare", UNIT, "--new-card", "other.toml"),
        ("swap", "check", f"{UNIT}/U12", "--new-card", "other.toml"),
    ):
        assert code(aboard.answer(*words)) == (2, "sheet-other")
    assert aboard.tree() == before


def test_the_units_own_sheet_given_as_the_new_cards_is_told(aboard: Ship) -> None:
    """It would agree with itself, and say nothing of the card."""
    for words in (("card", "compare", UNIT), ("swap", "check", f"{UNIT}/U12")):
        result = aboard.run(*words, "--new-card", "unit.toml")
        said = " ".join((result.out + result.err).replace("\n", " ").split())
        assert "the same file as the unit's" in said
        other = aboard.run(*words, "--new-card", "new.toml")
        assert "same file" not in " ".join((other.out + other.err).split())


@pytest.mark.parametrize(
    "text", ['"<script>alert(1)</script>"', '"\\u202e"', f'"{"x" * 10_000}"', '"\\u0000"']
)
def test_hostile_texts_in_a_sheet_are_kept_as_text_or_refused(aboard: Ship, text: str) -> None:
    """Markup is text like any other; what moves the screen, or has no end, is refused."""
    aboard.write("hostile.toml", f"[links]\nJ1 = {text}\n".encode())
    before = aboard.tree()
    result = aboard.answer("card", "record", UNIT, "hostile.toml")
    if "script" in text:
        assert result.code == 0
        return
    assert code(result)[0] == 2
    assert result.document["error"]["line"] == 2
    assert result.document["error"]["file"] == "hostile.toml"
    assert aboard.tree() == before


def test_the_sums_of_a_program_memory_are_lines_of_a_sheet(ship: Ship) -> None:
    """The same as `inspect` tells; they go into a sheet as they are printed."""
    ship.write("u7.hex", dump())
    printed = ship.run("card", "program", "u7.hex", "--position", 'U7 "left"')
    assert printed.code == 0
    (row,) = tomllib.loads(printed.out)["program"]
    (told,) = ship.answer("inspect", "u7.hex").document["dumps"]
    assert row == {
        "position": 'U7 "left"',
        "size": told["size"],
        "sum-8": told["sum8"],
        "sum-16": told["sum16"],
        "crc-32": told["crc32"],
        "sha-256": told["sha256"],
    }
    ship.write("sheet.toml", printed.out.encode())
    archive_two(ship)
    assert ship.answer("card", "record", UNIT, "sheet.toml").document["entries"] == 6
    for text, refused in (("a\u202eb", "text-character"), ("x" * 10_000, "text-length")):
        hostile = ship.answer("card", "program", "u7.hex", "--position", text)
        assert code(hostile) == (2, refused)


def test_gaps_of_a_program_memory_are_told(ship: Ship) -> None:
    """The sums are then not those of the whole chip."""
    lines = [b":0400000001020304F2", b":0410000001020304E2", b":00000001FF"]
    ship.write("gap.hex", b"\n".join(lines) + b"\n")
    result = ship.answer("card", "program", "gap.hex")
    assert "has gaps: the sums are over 8 bytes" in " ".join(result.err.split())
    assert result.document["lines"][1] == '#position = "U7"'


def test_the_cards_are_listed_with_where_each_is(aboard: Ship) -> None:
    """Type, unit, own dumps and sheet; a spare's own dump stands under its card."""
    assert aboard.run("card", "add", "grebe", "PC-1", "--unit", "port-thruster").code == 0
    assert aboard.run("card", "record", "grebe/card:PC-2", "new.toml").code == 0
    aboard.write("s.hex", dump(changed(5)), second=7)
    spare = ("--vessel", "grebe", "--card", "PC-2", "--position", "U12")
    assert aboard.answer("archive", "s.hex", *spare).document["where"] == "grebe/card:PC-2/U12"
    cards = {each["serial"]: each for each in aboard.answer("card", "list").document["cards"]}
    assert (cards["PC-1"]["location"], cards["PC-1"]["unit"]) == ("in a unit", UNIT)
    assert (cards["PC-2"]["location"], cards["PC-2"]["unit"]) == ("spare aboard", None)
    assert cards["PC-2"]["card_type"] == "TC-2"
    assert cards["PC-2"]["sheet"] == "new.toml"
    assert cards["PC-2"]["positions"] == [{"where": "grebe/card:PC-2/U12", "copies": 1}]
    page = aboard.run("card", "list", "grebe").out
    assert "U12: 1 copy" in page
    assert page.rstrip().endswith("2 cards.")
    assert code(aboard.answer("card", "list", "avocet")) == (2, "where-vessel")
    catalogued = aboard.answer("catalogue", "grebe/card:PC-2").document["positions"]
    assert [each["where"] for each in catalogued] == ["grebe/card:PC-2/U12"]


def test_a_whereabouts_in_a_unit_names_it(aboard: Ship) -> None:
    """And --unit alone is enough."""
    words = ("card", "add", "grebe", "PC-2")
    assert code(aboard.answer(*words, "--location", "in a unit")) == (2, "card-unit")
    ashore = ("--location", "ashore", "--unit", "port-thruster")
    assert code(aboard.answer(*words, *ashore)) == (2, "card-unit")
    told = aboard.answer(*words, "--unit", "port-thruster").document
    assert (told["location"], told["unit"], told["new"]) == ("in a unit", "port-thruster", False)
    assert aboard.answer(*words).document["location"] == "spare aboard"


def test_exchanged_cards_are_said_until_they_are_back(aboard: Ship) -> None:
    """catalogue and swap check of both units, card list; archive stops; then all is quiet."""
    other = "grebe/stbd-thruster"
    aboard.write("o.hex", dump(changed(40)), second=9)
    stbd = ("--vessel", "grebe", "--unit", "stbd-thruster", "--position", "U12")
    assert aboard.run("archive", "o.hex", *stbd).code == 0
    assert aboard.run("card", "add", "grebe", "PC-1", "--unit", "port-thruster").code == 0
    words = ("card", "cross-over", UNIT, other, "--reason", "with the card?", "--by", "A. Person")
    done = aboard.answer(*words).document
    assert done == {
        "units": [UNIT, other],
        "crossed_over": True,
        "reason": "with the card?",
        "consequence": done["consequence"],
    }
    assert f"the cards of {UNIT} and {other} are CROSSED OVER since" in done["consequence"]
    assert "the chip in U12 of each unit carries the parameters of the other" in done["consequence"]
    told = (
        ("catalogue",),
        ("catalogue", other),
        ("swap", "check", f"{UNIT}/U12"),
        ("swap", "check", f"{other}/U12"),
        ("card", "compare", UNIT, "--new-card", "new.toml"),
        ("card", "list"),
    )
    for each in told:
        assert "CROSSED OVER" in aboard.answer(*each).err, each
    (card,) = (c for c in aboard.answer("card", "list").document["cards"] if c["serial"] == "PC-1")
    assert (card["unit"], card["belongs_to"]) == (other, UNIT)
    aboard.write("p.hex", dump(MEMORY), second=11)
    assert code(aboard.answer("archive", "p.hex", *WHERE)) == (2, "cross-over-read")
    passed = aboard.answer("archive", "p.hex", *WHERE, "--position-confirmed")
    assert passed.code == 0
    assert "CROSSED OVER" in passed.err
    assert code(aboard.answer(*words)) == (2, "cross-over-already")
    back = aboard.run(*words, "--back")
    assert back.code == 0
    assert "Read both chips again" in back.out
    for each in told:
        assert "CROSSED OVER" not in aboard.answer(*each).err, each
    assert code(aboard.answer(*words, "--back")) == (2, "cross-over-none")


def test_the_route_of_the_moved_chip_says_what_to_do_in_which_order(aboard: Ship) -> None:
    """Read, keep a duplicate, move, read again; the other route does not."""
    words = ("swap", "open", f"{UNIT}/U12", "--by", "A. Person", "--reason", "dead")
    page = aboard.run(*words, "--route", "move-chip").out
    at = [page.index(word) for word in ("Read the old chip twice", "duplicate", "Read it again")]
    assert at == sorted(at)
    aboard.run("swap", "close", *words[2:5], "--abandoned", "--reason", "x")
    assert "Keep a duplicate ready" not in aboard.run(*words).out
