"""The guard of a swap holds to the end: what is required is done, or a person accepts it."""

from __future__ import annotations

import os
import random
from typing import TYPE_CHECKING, Any

import pytest

from parambak.answers.swap import load_file
from parambak.keeping.state.conditions import CONDITIONS, OPEN
from parambak.swap import guard

if TYPE_CHECKING:
    from collections.abc import Callable

    from tests.stories.conftest import Laptop

WHERE = "grebe/thruster/U12"
MEMORY = random.Random(11).randbytes(2048)
LAYOUT = """
[layout]
title = "invented"
memory = 2048
byte-order = "big"
[[field]]
name = "run_hours"
at = 0x20
type = "u32"
running = true
"""
POWERED = MEMORY[:0x23] + bytes([MEMORY[0x23] ^ 0x0F]) + MEMORY[0x24:]
WRONG = MEMORY[:0x300] + bytes([MEMORY[0x300] ^ 0x01]) + MEMORY[0x301:]
SHEET = """
[card]
type = "TC-2"
software = "3.20"
[function-tests]
required = ["emergency stop", "ramp up"]
"""
ASKED = [condition.name for condition in CONDITIONS if condition.required is OPEN]
ANSWERS = " ".join(f"'{name}=yes: seen to'" for name in ASKED)
TESTS = "--test 'emergency stop=passed' --test 'ramp up=passed'"
CLOSE = f"swap close {WHERE} --by 'A. Fitter' --old-card-to ashore"
LOAD = f"swap load-file {WHERE} --as raw --by 'A. Fitter' --replace --out"


@pytest.fixture
def opened(laptop: Laptop) -> Laptop:
    """Return a laptop with a verified copy, the unit's card sheet, and an open swap."""
    laptop.write("layout.toml", LAYOUT)
    archive = "--vessel grebe --unit thruster --position U12 --layout layout.toml --by 'A. Fitter'"
    laptop.yes(f"archive {laptop.dump('a.bin', MEMORY)} {laptop.dump('b.bin', MEMORY)} {archive}")
    laptop.write("unit.toml", SHEET)
    laptop.yes("card record grebe/thruster unit.toml")
    laptop.yes(
        f"swap open {WHERE} --by 'A. Fitter' --reason dead --old-card P1 --new-card-serial P2"
    )
    return laptop


def answered(laptop: Laptop) -> None:
    """Answer all that a person is asked."""
    laptop.yes(f"swap answer {WHERE} {ANSWERS} --by 'B. Chief'")


def read_back(laptop: Laptop, *memories: bytes, stage: str = "before-power") -> None:
    """Read the card back, each time into a new file."""
    names = [laptop.dump(f"c{laptop.now:%H%M}{n}.bin", data) for n, data in enumerate(memories)]
    laptop.yes(f"swap read-back {WHERE} {' '.join(names)} --stage {stage}")


def proven(laptop: Laptop) -> None:
    """Answer, load, and read back before and after power."""
    answered(laptop)
    laptop.yes(f"{LOAD} LOAD.BIN")
    read_back(laptop, MEMORY, MEMORY)
    read_back(laptop, POWERED, stage="after-power")


def missing(error: Any) -> list[str]:
    """Return the conditions that a refusal names, each with its evidence."""
    names: list[str] = error["text"].rpartition(": ")[2].split(", ")
    for name in names:
        assert f"{name}: " in error["found"]
    return names


def refused(laptop: Laptop, line: str) -> list[str]:
    """Return what a line is refused for because the swap is not ready; nothing is changed."""
    return missing(laptop.refused(line, "swap-not-ready", 1))


def stays_open(laptop: Laptop, line: str) -> list[str]:
    """Return what is missing to close the swap."""
    error = laptop.json(line, 1)["error"]
    assert error["code"] == "swap-not-finished"
    return missing(error)


def test_nothing_is_loaded_read_back_or_closed_while_nobody_answered(opened: Laptop) -> None:
    """Each step names the same conditions as the check, and what to do about each."""
    check = opened.json(f"swap check {WHERE}", 1)
    assert check["missing"] == ASKED
    card = opened.dump("c.bin", MEMORY)
    for line in (f"{LOAD} LOAD.BIN", f"swap read-back {WHERE} {card}"):
        assert refused(opened, line) == ASKED
    assert not (opened.folder / "LOAD.BIN").exists()
    assert stays_open(opened, f"{CLOSE} {TESTS}")[: len(ASKED)] == ASKED
    page = opened.no(f"{LOAD} LOAD.BIN")
    for name in ASKED:
        assert f"'{name}=ANSWER: TEXT'" in page
    answered(opened)
    opened.yes(f"{LOAD} LOAD.BIN")


def test_a_sheet_with_other_software_stops_the_swap_until_another_is_given(opened: Laptop) -> None:
    """The sheet is kept with the swap: no later step passes over it."""
    answered(opened)
    opened.yes(f"swap check {WHERE}")
    opened.write("new.toml", '[card]\ntype = "TC-2"\nsoftware = "3.21"\n')
    assert "software: needs 3.20, has 3.21" in opened.no(f"swap check {WHERE} --new-card new.toml")
    assert opened.json(f"swap check {WHERE}", 1)["missing"] == ["new-card"]
    assert refused(opened, f"{LOAD} LOAD.BIN") == ["new-card"]
    assert "new-card" in stays_open(opened, f"{CLOSE} {TESTS}")
    opened.write("right.toml", '[card]\ntype = "TC-2"\nsoftware = "3.20"\n')
    opened.yes(f"swap check {WHERE} --new-card right.toml")
    before = opened.files()
    opened.yes(f"swap check {WHERE} --new-card right.toml")
    assert opened.files() == before
    opened.yes(f"swap check {WHERE}")
    opened.yes(f"{LOAD} LOAD.BIN")


def test_the_sheet_of_a_card_on_record_needs_no_file(opened: Laptop) -> None:
    """By the serial number; one that is recorded later goes before one that was given."""
    answered(opened)
    opened.write("p9.toml", '[card]\ntype = "TC-2"\nsoftware = "3.20"\n')
    opened.yes("card add grebe P9")
    opened.refused(f"swap check {WHERE} --new-card-serial P9", "sheet-none")
    opened.yes("card record grebe/card:P9 p9.toml")
    both = f"swap check {WHERE} --new-card-serial P9 --new-card p9.toml"
    opened.refused(both, "sheet-compare-card")
    assert "2 entries, all the same" in opened.yes(f"swap check {WHERE} --new-card-serial P9")
    opened.write("p2.toml", '[card]\ntype = "TC-1"\nsoftware = "3.20"\n')
    opened.yes("card record grebe/card:P2 p2.toml")
    assert "type: needs TC-2, has TC-1" in opened.no(f"swap check {WHERE}")


def test_what_is_accepted_is_on_record_and_counts_while_it_is_the_same(opened: Laptop) -> None:
    """In every command by the same words, with name, reason and hour, first on every page."""
    answered(opened)
    opened.yes(f"swap answer {WHERE} 'permit=no: nobody to sign' --by 'B. Chief'")
    assert refused(opened, f"{LOAD} LOAD.BIN") == ["permit"]
    words = "--accept permit --reason drifting"
    opened.refused(f"swap check {WHERE} {words}", "swap-accept-words")
    page = opened.yes(f"{LOAD} LOAD.BIN {words}")
    assert page.startswith("ACCEPTED DEVIATIONS in this swap: - permit (nobody to sign (B. Chief, ")
    assert f"): drifting (A. Fitter, {opened.now:%Y-%m-%d %H:%M})" in page
    opened.yes(f"{LOAD} LOAD.BIN")
    read_back(opened, MEMORY, MEMORY)
    opened.yes(f"swap answer {WHERE} 'permit=no: refused by the harbour' --by 'B. Chief'")
    card = opened.dump("c.bin", MEMORY)
    assert refused(opened, f"swap read-back {WHERE} {card}") == ["permit"]
    again = opened.json(f"swap read-back {WHERE} {card} {words} --by 'A. Fitter'")
    assert [text.split(" (")[0] for text in again["deviations"]] == ["permit", "permit"]
    counts = [entry["counts"] for entry in opened.json(f"swap check {WHERE}")["deviations"]]
    assert counts == [False, True]
    opened.refused(
        f"{LOAD} LOAD.BIN --accept authorised --reason sure --by 'A. Fitter'", "swap-accept-met"
    )
    error = opened.refused(f"{LOAD} LOAD.BIN {words} --accept authorised", "swap-accept-one")
    assert "each with its own reason" in error["text"]
    opened.refused(f"{LOAD} LOAD.BIN --reason drifting", "swap-accept-none")


def test_closing_needs_a_read_back_before_and_one_after_power(opened: Laptop) -> None:
    """The same file is not both; two reads of one stage alone are not enough."""
    answered(opened)
    first = opened.dump("c1.bin", MEMORY)
    opened.yes(f"swap read-back {WHERE} {first} {opened.dump('c2.bin', MEMORY)}")
    assert stays_open(opened, f"{CLOSE} {TESTS}") == ["read-back-after-power"]
    opened.yes(f"swap read-back {WHERE} {first} --stage after-power")
    assert stays_open(opened, f"{CLOSE} {TESTS}") == ["read-back-after-power"]
    read_back(opened, POWERED, stage="after-power")
    assert "is CLOSED." in opened.yes(f"{CLOSE} {TESTS}")


def test_a_card_that_cannot_be_read_with_power_off_is_accepted_as_that(opened: Laptop) -> None:
    """By name and reason, and that is first on the page."""
    answered(opened)
    read_back(opened, POWERED, POWERED, stage="after-power")
    assert stays_open(opened, f"{CLOSE} {TESTS}") == ["read-back-before-power"]
    words = "--accept read-back-before-power --reason 'the chip is soldered in'"
    opened.refused(f"{LOAD} LOAD.BIN {words}", "swap-accept-condition")
    page = opened.yes(f"{CLOSE} {TESTS} {words}")
    assert page.startswith("ACCEPTED DEVIATIONS in this swap: - read-back-before-power (")
    assert "the chip is soldered in" in page


def test_a_card_read_back_wrong_stays_wrong_until_it_is_read_back_right(opened: Laptop) -> None:
    """It is on record though the swap is not ready; nobody can accept it, in no emergency."""
    proven(opened)
    opened.yes(f"swap answer {WHERE} 'permit=no: withdrawn' --by 'B. Chief'")
    opened.no(f"swap read-back {WHERE} {opened.dump('w.bin', WRONG)}")
    opened.yes(f"swap answer {WHERE} 'permit=yes: 15' --by 'B. Chief'")
    assert stays_open(opened, f"{CLOSE} {TESTS}")[0] == "contents-proven"
    error = opened.json(f"{CLOSE} {TESTS} --emergency --reason 'at sea'", 1)["error"]
    assert (error["code"], missing(error)) == ("swap-no-emergency", ["contents-proven"])
    words = "--accept contents-proven --reason x"
    assert opened.json(f"{CLOSE} {TESTS} {words}", 2)["error"]["code"] == "swap-accept-condition"


def test_a_failed_test_keeps_the_swap_open_until_the_same_test_passes(opened: Laptop) -> None:
    """Another test that passes settles nothing; what passed is not typed again."""
    proven(opened)
    failed = f"{CLOSE} --test 'Emergency  Stop=failed: slow' --test 'ramp up=passed'"
    assert stays_open(opened, failed) == ["function-tests", "listed-tests"]
    assert stays_open(opened, f"{CLOSE} --test 'horn=passed'")[0] == "function-tests"
    error = opened.json(f"{CLOSE} --emergency --reason 'at sea'", 1)["error"]
    assert (error["code"], missing(error)) == ("swap-no-emergency", ["function-tests"])
    assert "did not pass since: Emergency Stop" in error["found"].replace("  ", " ")
    twice = "--test 'horn=failed' --test 'Horn=passed'"
    opened.refused(f"{CLOSE} {twice}", "swap-test-twice")
    closed = opened.json(f"{CLOSE} --test 'emergency stop=passed'")
    assert closed["functions"] == "passed: ramp up, horn, emergency stop"


def test_the_tests_of_rules_and_sheet_are_all_done(opened: Laptop) -> None:
    """What is left out is named; a card that was read back again is tested again."""
    opened.write(
        "rules.toml",
        '[rules]\ntitle = "owner"\nsource = "invented"\n[[function-tests]]\ntests = ["lamp"]\n'
        '[[function-tests]]\nunit = "winch"\ntests = ["brake"]\n',
    )
    opened.yes("rules record grebe rules.toml")
    proven(opened)
    assert stays_open(opened, f"{CLOSE} --test 'ramp up=passed'") == ["listed-tests"]
    shown = opened.json(f"swap check {WHERE}")["to_close"]
    listed = next(entry for entry in shown if entry["condition"] == "listed-tests")
    assert listed["text"].endswith(": lamp, emergency stop")
    read_back(opened, MEMORY)
    assert stays_open(opened, f"{CLOSE} --test 'lamp=passed' --test 'emergency stop=passed'") == [
        "read-back-after-power",
        "listed-tests",
    ]
    read_back(opened, POWERED, stage="after-power")
    opened.yes(f"{CLOSE} --test 'ramp up=passed'")


def test_where_the_old_card_goes_is_stated_or_asked(opened: Laptop) -> None:
    """Nothing is assumed; on a terminal it is a question."""
    proven(opened)
    close = f"swap close {WHERE} --by 'A. Fitter' {TESTS}"
    assert stays_open(opened, close) == ["old-card-state"]
    words = "--accept old-card-state --reason x"
    assert opened.json(f"{close} {words}", 2)["error"]["code"] == "swap-accept-condition"
    asked = opened.run(close, typed="somewhere\nspare aboard\n")
    assert asked.code == 0, asked
    assert "Where does the old card go?" in asked.err
    cards = {card["serial"]: card for card in opened.json("card list")["cards"]}
    assert cards["P1"]["location"] == "spare aboard"
    assert cards["P2"]["unit"] == "grebe/thruster"


def test_a_new_cards_read_is_no_final_read_of_the_old_card(opened: Laptop) -> None:
    """A read before loading is; one after a file was released may be of the new card."""
    at = "--vessel grebe --unit thruster --position U12 --position-confirmed --by 'A. Fitter'"
    answers = " ".join(f"'{name}=yes: seen to'" for name in ASKED if name != "final-read")
    opened.yes(f"swap answer {WHERE} {answers} --by 'B. Chief'")
    opened.yes(f"{LOAD} LOAD.BIN --accept final-read --reason 'the card is burnt'")
    opened.yes(f"archive {opened.dump('new.bin', MEMORY)} {at}")
    check = opened.json(f"swap check {WHERE}")
    assert next(c["met"] for c in check["conditions"] if c["condition"] == "final-read") is None
    opened.refused(f"swap read-back {WHERE} new.bin", "read-back-archived")
    read_back(opened, MEMORY, MEMORY)
    read_back(opened, POWERED, stage="after-power")
    opened.yes(f"{CLOSE} {TESTS}")
    page = report(opened)
    assert "not answered: " in page[page.index("final-read") :][:400]


def test_a_read_of_the_old_card_before_loading_is_its_final_read(opened: Laptop) -> None:
    """No answer is needed then."""
    at = "--vessel grebe --unit thruster --position U12 --by 'A. Fitter'"
    opened.yes(f"archive {opened.dump('old.bin', MEMORY)} {at}")
    assert "final-read" not in opened.json(f"swap check {WHERE}", 1)["missing"]


def test_an_emergency_is_due_until_it_is_done(opened: Laptop) -> None:
    """What is missing is on record and first on the page; the swap goes on until it is closed."""
    answered(opened)
    opened.yes(f"{LOAD} LOAD.BIN")
    read_back(opened, MEMORY, MEMORY)
    emergency = f"{CLOSE} --test 'emergency stop=passed' --emergency"
    opened.refused(emergency, "swap-emergency-why")
    opened.refused(f"{emergency} --abandoned --reason x", "swap-close-one-way")
    done = opened.json(f"{emergency} --reason 'pilot station in an hour'")
    assert done["outcome"] == "emergency"
    still = ["read-back-after-power", "listed-tests"]
    assert [entry["condition"] for entry in done["missing"]] == still
    assert done["reads_taken_in"] == 2
    (due,) = [p for p in opened.json("due")["due"] if p["where"] == WHERE]
    assert due["reasons"][0]["code"] == "unfinished-swap"
    assert due["reasons"][0]["text"].endswith(f"still missing: {', '.join(still)}")
    page = opened.yes(f"swap check {WHERE}")
    assert "CLOSED IN EMERGENCY: pilot station in an hour (A. Fitter, " in page
    assert page.index("CLOSED IN EMERGENCY") < page.index("condition met")
    read_back(opened, POWERED, stage="after-power")
    (due,) = [p for p in opened.json("due")["due"] if p["where"] == WHERE]
    assert due["reasons"][0]["text"].endswith("still missing: listed-tests")
    final = f"swap close {WHERE} --by 'A. Fitter' --test 'ramp up=passed'"
    assert opened.json(final)["outcome"] == "closed"
    assert "unfinished-swap" not in opened.run("--json due").out
    opened.refused(f"swap answer {WHERE} 'permit=yes: 15' --by B", "swap-none-open")


def test_a_later_swap_that_is_closed_finishes_an_emergency(opened: Laptop) -> None:
    """A new one may be opened over it; abandoned, it finishes nothing."""
    answered(opened)
    read_back(opened, MEMORY, MEMORY)
    opened.yes(f"{CLOSE} --emergency --reason 'at sea'")
    again = f"swap open {WHERE} --by 'A. Fitter' --reason 'dead again' --old-card P2"
    opened.yes(again)
    opened.yes(f"swap close {WHERE} --by 'A. Fitter' --abandoned --reason 'no spare'")
    assert "unfinished-swap" in opened.run("--json due").out
    opened.yes(again)
    answered(opened)
    read_back(opened, MEMORY, MEMORY)
    read_back(opened, POWERED, stage="after-power")
    opened.yes(f"{CLOSE} {TESTS}")
    assert "unfinished-swap" not in opened.run("--json due").out


def report(laptop: Laptop) -> str:
    """Return the page of the last swap, without its marks."""
    from tests.reports.page import Page

    laptop.yes(f"report swap {WHERE} --out page.html --replace")
    return Page((laptop.folder / "page.html").read_bytes()).text


def conditions_of(page: str) -> str:
    """Return what a page prints of the conditions."""
    return page[page.index("condition opened") : page.index("Card sheets of the unit")]


def test_the_page_prints_the_conditions_as_they_were(opened: Laptop) -> None:
    """At the opening, at loading and at the end, whatever was recorded since."""
    proven(opened)
    opened.yes(f"{CLOSE} {TESTS}")
    before = report(opened)
    for moment in ("opened", "loaded", "closed"):
        assert f"{moment}: A. Fitter, 2026-03-02 08:" in before
    assert "Missing at the end" not in before
    rules = '[rules]\ntitle = "owner"\nsource = "x"\n[swap]\nrequired = ["second-location"]\n'
    opened.write("rules.toml", rules)
    opened.yes("rules record grebe rules.toml")
    opened.write("unit.toml", SHEET.replace("TC-2", "TC-9"))
    opened.yes("card record grebe/thruster unit.toml")
    after = report(opened)
    assert conditions_of(after) == conditions_of(before)


def test_two_laptops_that_tested_one_card_agree_after_the_merge(
    opened: Laptop, laptops: Callable[[str], Laptop]
) -> None:
    """A test that failed on one is not settled by a pass that did not know of it."""
    proven(opened)
    office = laptops("office")
    opened.yes(f"pack grebe --out {office.folder}/grebe.pack")
    office.yes("unpack grebe.pack")
    office.now = opened.now
    stays_open(office, f"{CLOSE} --test 'ramp up=failed: stalls'")
    stays_open(opened, f"swap close {WHERE} --by A {TESTS}")
    office.yes(f"pack grebe --out {opened.folder}/back.pack")
    opened.yes("unpack back.pack")
    assert stays_open(opened, CLOSE) == ["function-tests", "listed-tests"]
    opened.yes(f"{CLOSE} --test 'ramp up=passed'")


def test_no_load_file_is_written_without_an_open_swap(opened: Laptop) -> None:
    """Nobody would be asked, and nothing kept: `export` gives a copy for other uses."""
    opened.yes(f"swap close {WHERE} --abandoned --reason later --by 'A. Fitter'")
    opened.refused(f"{LOAD} LOAD.BIN", "swap-none-open")
    assert not (opened.folder / "LOAD.BIN").exists()
    opened.yes(f"export {WHERE} --as raw --out COPY.BIN")


def test_the_load_files_are_no_reads_of_the_card(opened: Laptop) -> None:
    """Raw and Intel HEX, as they were written; the same bytes of a later time are a read."""
    answered(opened)
    for name, how in (("LOAD.BIN", "raw"), ("LOAD.HEX", "intel-hex")):
        opened.yes(f"{LOAD.replace('raw', how)} {name}")
        moment = opened.now.timestamp()
        os.utime(opened.folder / name, (moment, moment))
        opened.refused(f"swap read-back {WHERE} {name}", "read-back-load-file")
    read_back(opened, MEMORY, MEMORY)
    assert opened.json(f"swap check {WHERE}")["ready"]


def test_a_function_test_before_the_card_was_read_back_does_not_count(opened: Laptop) -> None:
    """It was of another card, or of one that nobody loaded."""
    answered(opened)
    stays_open(opened, f"{CLOSE} {TESTS}")
    proven_since = "--test 'emergency stop=passed'"
    opened.yes(f"{LOAD} LOAD.BIN")
    read_back(opened, MEMORY, MEMORY)
    read_back(opened, POWERED, stage="after-power")
    assert stays_open(opened, CLOSE) == ["function-tests", "listed-tests"]
    assert stays_open(opened, f"{CLOSE} {proven_since}") == ["listed-tests"]
    opened.yes(f"{CLOSE} --test 'ramp up=passed'")


@pytest.mark.parametrize("end", ["", f"swap close {WHERE} --abandoned --reason no --by 'B. Chief'"])
def test_an_emergency_stays_due_while_a_later_swap_closes_nothing(opened: Laptop, end: str) -> None:
    """One that is open, or was abandoned, finishes nothing."""
    answered(opened)
    opened.yes(f"{LOAD} LOAD.BIN")
    opened.yes(f"{CLOSE} --emergency --reason 'at sea'")
    opened.yes(f"swap open {WHERE} --by 'B. Chief' --reason 'worse again'")
    if end:
        opened.yes(end)
    (entry,) = opened.json("due")["due"]
    assert "the swap was closed in emergency on 2026-03-02" in str(entry)


def test_a_closed_swap_is_due_again_if_a_read_that_proved_it_is_withdrawn(opened: Laptop) -> None:
    """It is never shown as proven; reading the card back again finishes it."""
    proven(opened)
    opened.yes(f"{CLOSE} {TESTS}")
    assert "its proof was withdrawn" not in opened.run("due").text
    withdrawn = opened.yes(f"withdraw {WHERE}@latest --reason 'wrong file' --by 'A. Fitter'")
    assert WHERE in withdrawn
    assert "the swap was closed (its proof was withdrawn since)" in opened.run("due").text
    read_back(opened, MEMORY, MEMORY)
    read_back(opened, POWERED, stage="after-power")
    opened.yes(f"{CLOSE} {TESTS}")
    assert "its proof was withdrawn" not in opened.run("due").text


def test_a_swap_that_was_closed_again_rests_on_all_that_proved_it(opened: Laptop) -> None:
    """Also on the read-backs that its first end took in."""
    proven(opened)
    opened.yes(f"{CLOSE} {TESTS}")
    withdraw = f"withdraw {WHERE}@latest --reason 'wrong file' --by 'A. Fitter'"
    opened.yes(withdraw)
    words = "--accept read-back-after-power --reason 'no power at sea'"
    opened.yes(f"{CLOSE} {TESTS} {words}")
    assert "its proof was withdrawn" not in opened.run("due").text
    opened.yes(withdraw)
    assert "the swap was closed (its proof was withdrawn since)" in opened.run("due").text


def test_an_abandoned_swap_keeps_its_conditions(opened: Laptop) -> None:
    """As they were at that moment, also after the answers are there."""
    opened.yes(f"swap close {WHERE} --abandoned --reason later --by 'A. Fitter'")
    opened.yes(f"report swap {WHERE} --out page.html")
    page = (opened.folder / "page.html").read_text("utf-8")
    for name in ASKED:
        assert name in page


def test_what_came_on_record_meanwhile_is_looked_at_first(
    opened: Laptop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another terminal answers no between the decision and the writing: nothing is released."""
    answered(opened)
    decided = guard.require

    def meanwhile(step: guard.Cleared) -> None:
        decided(step)
        monkeypatch.setattr(load_file, "require", decided)
        opened.yes(f"swap answer {WHERE} 'permit=no: not signed' --by 'B. Chief'")

    monkeypatch.setattr(load_file, "require", meanwhile)
    assert opened.json(f"{LOAD} LOAD.BIN", 2)["error"]["code"] == "swap-changed-meanwhile"
    assert not (opened.folder / "LOAD.BIN").exists()
    assert refused(opened, f"{LOAD} LOAD.BIN") == ["permit"]
