"""Slips are put right: `withdraw`, `correct` and `undo`, and every list reads as if there was none.

Each story runs twice, with the slip and without it, and both vaults must answer the same.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from parambak.answers.undo import UndoQuestion, to_undo
from parambak.api import ask, open_vault
from parambak.errors import ParambakError
from tests.stories.conftest import MINUTE, START, Laptop
from tests.stories.slips import answers
from tests.stories.small_unit import OLD_LAYOUT, memory

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

BACK = START + 600 * MINUTE
RULES = """
[rules]
title = "Technical instruction 12"
source = "the technical office"
reads = 3
"""
BY = "--by 'A. Fitter'"
WHERE = "grebe/winch/U12"
AT = "--vessel grebe --unit winch --position U12"
WITHDRAW = f"withdraw {{}} {BY} --reason 'typed wrong'"
UNDO = "--json undo"
SPARE = f"archive S1.BIN S2.BIN {{}} {BY}"
LONE = ["--vessel wader", "--unit crane", "--position U7"]


def files(laptop: Laptop) -> None:
    """Write the dumps: two reads each of a chip, of its next state, and of a spare's."""
    laptop.write("winch.toml", OLD_LAYOUT)
    laptop.write("rules.toml", RULES)
    for name, data in (("R", memory(1)), ("N", memory(1, ramp=160)), ("S", memory(2))):
        laptop.dump(f"{name}1.BIN", data)
        laptop.dump(f"{name}2.BIN", data)


BEFORE = [
    f"visit open grebe --on 2026-03-02 {BY} --new-vessel",
    f"archive R1.BIN R2.BIN {AT} --layout winch.toml",
    f"measure grebe/winch core_rail=3.31V {BY}",
]
AFTER = [
    f"archive N1.BIN N2.BIN {AT} --position-confirmed",
    f"diff {WHERE}@previous {WHERE} --remark 'ramp made longer' {BY}",
    "visit close --remark 'all read'",
]


def tell(laptop: Laptop, lines: Sequence[str | None]) -> None:
    """Run lines that must succeed or find a difference; in place of None a minute passes."""
    for line in lines:
        if line is None:
            laptop.now += MINUTE
        else:
            result = laptop.run(line)
            assert result.code in {0, 1}, (line, result)


U13, U7 = "--vessel grebe --unit winch --position U13", "--vessel grebe --unit crane --position U7"
WRONG = f"measure grebe/winch core_rail=33.1V {BY}"
LATEST = WITHDRAW.format(f"{WHERE}@latest")
SWAP = f"swap open {WHERE} --old-card OLD-1 --new-card-serial NEW-1 --reason x {BY}"
SLIPS: dict[str, tuple[list[str], list[str]]] = {
    "a call at the right position": ([SPARE.format(f"{AT} --position-confirmed")], [LATEST]),
    "a call that brings in a position": (
        [SPARE.format(U13)],
        [WITHDRAW.format("grebe/winch/U13@latest")],
    ),
    "a position": (
        [SPARE.format(U13), f"measure grebe/winch/U13 core_rail=3.31V {BY}"],
        [WITHDRAW.format("grebe/winch/U13")],
    ),
    "a unit": (
        [SPARE.format(U7), f"measure grebe/crane core_rail=3.31V {BY}"],
        [WITHDRAW.format("grebe/crane")],
    ),
    "a vessel that one call brought in": (
        [SPARE.format(f"{' '.join(LONE)} --new-vessel")],
        [WITHDRAW.format("wader/crane/U7@latest")],
    ),
    "a read of two": (
        [SPARE.format(f"{AT} --position-confirmed")],
        [f"{LATEST} --read S1.BIN", f"{LATEST} --read S2.BIN"],
    ),
    "a measurement": (
        [f"{WRONG} --on 2026-03-01"],
        [f"{WITHDRAW.format('grebe/winch')} --measured 2026-03-01"],
    ),
    "undo of an archive": ([SPARE.format(f"{' '.join(LONE)} --new-vessel")], [UNDO]),
    "undo of a correction": (["correct grebe --imo 1234567"], [UNDO]),
    "undo of a chip": ([f"correct {WHERE} --chip 28C16"], [UNDO]),
    "undo of a name": (["correct grebe/winch --short-name crane"], [UNDO]),
    "undo of a withdrawal": ([LATEST], [UNDO]),
    "undo of a measurement": ([WRONG], [UNDO]),
    "undo of a closing": (["visit close"], [UNDO]),
    "undo of an opening elsewhere": ([f"visit open wader --new-vessel {BY}"], [UNDO]),
    "undo of a swap opened": ([SWAP], [UNDO]),
    "undo of a card": ([f"card add grebe CARD-1 {BY}"], [UNDO]),
    "undo of a backup location": (["backup add stick stick"], [UNDO]),
    "undo of rules": ([f"rules record grebe rules.toml {BY}"], [UNDO]),
    "undo of a swap answered": (
        [SWAP, f"swap answer {WHERE} 'permit=yes: 14' {BY}"],
        [UNDO, UNDO],
    ),
    "undo of a swap abandoned": (
        [SWAP, f"swap close {WHERE} --abandoned --reason x {BY}"],
        [UNDO, UNDO],
    ),
    "undo of a unit": ([f"unit add grebe/crane {BY}"], [UNDO]),
    "undo of a position": ([f"position add grebe/winch/U13 {BY}"], [UNDO]),
    "undo twice": ([WRONG, "correct grebe --imo 1234567"], [UNDO, UNDO]),
    "undo, redo and undo": ([WRONG], [UNDO, f"{UNDO} --redo", UNDO]),
}


MOVE = f"correct {{}}@latest --position {{}} {BY}"
LAYOUT = "--layout winch.toml --chip 24C02"
OFF = "--vessel wader --unit crane --position U7 --new-vessel"
# What was done, how it was put right, and what should have been done.
MOVES: dict[str, tuple[list[str], list[str], list[str]]] = {
    "to a new position": (
        [SPARE.format(f"{U13} --chip 24C02")],
        [MOVE.format("grebe/winch/U13", "grebe/winch/U14")],
        [SPARE.format("--vessel grebe --unit winch --position U14 --chip 24C02")],
    ),
    "to another unit that is new": (
        [SPARE.format(U13)],
        [MOVE.format("grebe/winch/U13", "grebe/crane/U7")],
        [SPARE.format(U7)],
    ),
    "to a position on record": (
        [SPARE.format(U13)],
        [MOVE.format("grebe/winch/U13", WHERE)],
        [SPARE.format(f"{AT} --position-confirmed")],
    ),
    "to a card": (
        [SPARE.format(f"{AT} --position-confirmed")],
        [MOVE.format(WHERE, "grebe/card:PC-1/U12")],
        [SPARE.format("--vessel grebe --card PC-1 --position U12")],
    ),
    "to a new vessel": (
        [SPARE.format(U13)],
        [MOVE.format("grebe/winch/U13", "wader/crane/U7")],
        [SPARE.format("--vessel wader --unit crane --position U7")],
    ),
    "from a vessel that is none": (
        [SPARE.format(f"{OFF} {LAYOUT}")],
        [MOVE.format("wader/crane/U7", "grebe/crane/U7")],
        [SPARE.format(f"{U7} {LAYOUT}")],
    ),
    "to another vessel and back": (
        [SPARE.format(U13)],
        [
            MOVE.format("grebe/winch/U13", "wader/crane/U7"),
            MOVE.format("wader/crane/U7", "grebe/winch/U13"),
        ],
        [SPARE.format(U13)],
    ),
    "undo of a move to another vessel": (
        [SPARE.format(U13)],
        [MOVE.format("grebe/winch/U13", "wader/crane/U7"), UNDO],
        [SPARE.format(U13)],
    ),
    "a call dated at once": (
        [SPARE.format(U13)],
        [f"correct grebe/winch/U13@latest --read-on 2026-02-20 {BY}"],
        [SPARE.format(f"{U13} --read-on 2026-02-20")],
    ),
    "one read of a call": (
        [SPARE.format(U13)],
        [
            f"{MOVE.format('grebe/winch/U13', 'grebe/winch/U14')} --read S1.BIN",
            f"{MOVE.format('grebe/winch/U13', 'grebe/winch/U14')} --read S2.BIN",
        ],
        [SPARE.format("--vessel grebe --unit winch --position U14")],
    ),
}


Right = tuple[str | None, ...]


@pytest.fixture(scope="module")
def never(tmp_path_factory: pytest.TempPathFactory) -> Callable[[Right], tuple[Any, Any]]:
    """Return what gives a vault's answers without the slip, before and after what comes later.

    What was done in place of the slip is told once for each way; in place of None a minute passes.
    """
    given: dict[Right, tuple[Any, Any]] = {}

    def told(right: Right) -> tuple[Any, Any]:
        if right not in given:
            laptop = Laptop(tmp_path_factory.mktemp("never"))
            files(laptop)
            tell(laptop, [*BEFORE, *right])
            before = answers(laptop)
            laptop.now = BACK + 10 * MINUTE
            tell(laptop, AFTER)
            given[right] = before, answers(laptop)
        return given[right]

    return told


def told_with_slip(
    laptops: Callable[[str], Laptop],
    never: Callable[[Right], tuple[Any, Any]],
    made: Sequence[str],
    corrected: Sequence[str],
    right: Right,
) -> None:
    """Tell a story with a slip; its vault must answer as one without it, now and later."""
    mine = laptops("mine")
    files(mine)
    tell(mine, [*BEFORE, *made])
    before, later = never(right)
    if tuple(made) != right:
        assert answers(mine) != before, "the slip shows nowhere: the test could not fail"
    mine.now = BACK
    tell(mine, corrected)
    assert answers(mine) == before
    mine.now = BACK + 10 * MINUTE
    tell(mine, AFTER)
    assert answers(mine) == later


@pytest.mark.parametrize("slip", SLIPS)
def test_every_list_reads_as_if_the_slip_had_not_been_made(
    slip: str, laptops: Callable[[str], Laptop], never: Callable[[Right], tuple[Any, Any]]
) -> None:
    """Answers, tables and pages are those of a vault that never had it."""
    made, corrected = SLIPS[slip]
    told_with_slip(laptops, never, made, corrected, (None,) * len(made))


@pytest.mark.parametrize("slip", MOVES)
def test_what_was_moved_reads_as_if_it_had_been_archived_there(
    slip: str, laptops: Callable[[str], Laptop], never: Callable[[Right], tuple[Any, Any]]
) -> None:
    """With its day, its chip, its layout and its order among the other reads."""
    made, corrected, right = MOVES[slip]
    told_with_slip(laptops, never, made, corrected, tuple(right))


@pytest.fixture
def aboard(laptop: Laptop) -> Laptop:
    """Return a laptop on which one position was read twice, and measured."""
    files(laptop)
    tell(laptop, BEFORE)
    return laptop


def test_what_is_withdrawn_stays_on_record_struck_through(aboard: Laptop) -> None:
    """`history --withdrawn` shows it, by whom and why, also if nothing is left there."""
    aboard.yes(SPARE.format(U13))
    answer = aboard.json(WITHDRAW.format("grebe/winch/U13@latest"))
    assert [(w["kind"], w["where"]) for w in answer["withdrawn"]] == [
        ("read", "grebe/winch/U13")
    ] * 2
    assert answer["left"] == [
        {"where": "grebe/winch/U13", "copies": 0, "reads": 0, "verified": False, "unmet": []}
    ]
    aboard.json("history grebe/winch/U13", 2)
    text = aboard.yes("history grebe/winch/U13 --withdrawn")
    assert "~~read S1.BIN, put on record on 2026-03-02~~" in text
    assert "withdrawn on 2026-03-02 by A. Fitter: typed wrong" in text
    shown = aboard.json("history grebe --withdrawn")["withdrawn"]
    assert [w["record"] for w in shown] == [w["record"] for w in answer["withdrawn"]]
    assert aboard.json(f"history {WHERE} --withdrawn")["withdrawn"] == []
    assert "withdrawn" not in aboard.json(f"history {WHERE}")
    assert len(aboard.json(f"history {WHERE} --withdrawn")["copies"]) == 1


def test_the_person_of_the_open_visit_withdraws(aboard: Laptop) -> None:
    """Without --by; without a visit, a name is required."""
    aboard.yes(f"withdraw {WHERE}@latest --reason 'typed wrong'")
    shown = aboard.json("history grebe --withdrawn")["withdrawn"]
    assert {w["withdrawn_by"] for w in shown} == {"A. Fitter"}
    aboard.yes("undo")
    aboard.yes("visit close")
    aboard.refused(f"withdraw {WHERE}@latest --reason 'typed wrong'", "withdraw-by")


def test_a_remark_is_withdrawn_by_its_first_words(aboard: Laptop) -> None:
    """Or by its record; two that begin alike are refused with what tells them apart."""
    aboard.yes(f"archive N1.BIN N2.BIN {AT} --position-confirmed")
    aboard.run(f"diff {WHERE}@previous {WHERE} --remark 'ramp made longer' {BY}")
    aboard.run(f"diff {WHERE}@previous {WHERE} --remark 'ramp was wrong' {BY}")
    error = aboard.refused(f"{WITHDRAW.format(WHERE)} --remark ramp", "withdraw-two")
    assert "ramp made longer" in error["expected"]
    assert "ramp was wrong" in error["expected"]
    aboard.refused(f"{WITHDRAW.format(WHERE)} --remark brake", "withdraw-none")
    aboard.refused(f"{WITHDRAW.format(WHERE)} --measured 2020-01-01", "withdraw-none")
    aboard.yes(f"{WITHDRAW.format(WHERE)} --remark 'RAMP WAS'")
    assert aboard.json(f"history {WHERE}")["copies"][-1]["remarks"] == ["ramp made longer"]


def test_a_read_is_named_by_its_file_or_its_record(aboard: Laptop) -> None:
    """A name of several, or of none, is refused with the reads that there are."""
    aboard.dump("R1.BIN", memory(1))  # read again, and saved under the same name
    aboard.yes(f"archive R1.BIN {AT}")
    error = aboard.refused(f"{WITHDRAW.format(WHERE)} --read R1.BIN", "read-two")
    assert error["expected"].count("read R1.BIN of 2026-03-02 (") == 2
    aboard.refused(f"{WITHDRAW.format(WHERE)} --read R9.BIN", "read-none")
    digits = error["expected"].partition("(")[2][:8]
    aboard.yes(f"{WITHDRAW.format(WHERE)} --read {digits}")
    assert aboard.json("catalogue")["positions"][0]["copies"] == 1


def test_what_cannot_be_withdrawn_is_refused(aboard: Laptop) -> None:
    """And nothing changes."""
    aboard.refused(WITHDRAW.format("grebe"), "withdraw-where")
    aboard.refused(WITHDRAW.format("grebe/crane"), "where-unit")
    aboard.refused(f"{WITHDRAW.format(WHERE)} --read R1.BIN --remark x", "withdraw-several")
    aboard.refused(f"withdraw {WHERE}@latest --by X --reason {'x' * 5000}", "text-length")


@pytest.mark.parametrize("line", [WITHDRAW.format(f"{WHERE}@latest"), "undo"])
@pytest.mark.parametrize("folder", ["records", "objects"])
def test_what_relies_on_damage_is_refused(folder: str, line: str, aboard: Laptop) -> None:
    """With the damaged file's name, exit 3; nothing changes."""
    aboard.yes(f"archive N1.BIN {AT} --position-confirmed")
    read = aboard.json(f"history {WHERE}")["copies"][-1]
    digest = read["sha256"]
    if folder == "records":
        digest = aboard.json(f"history {WHERE}")["copies"][-1]["reads"][0]["record"]
    aboard.run("--json rebuild")
    path = next(p for p in aboard.vault.rglob(f"{digest[:64]}*") if p.is_file())
    path.chmod(0o644)
    path.write_bytes(path.read_bytes()[:-1] + b"?")
    code = "vault-damaged-object" if folder == "objects" else "vault-damaged-record"
    error = aboard.refused(line, code, 3)
    assert digest in error["file"]


def test_a_terminal_shows_what_is_taken_back_and_asks(aboard: Laptop) -> None:
    """Only a yes takes it back."""
    before = aboard.files()
    result = aboard.run("undo", typed="n\n")
    assert result.code == 1
    assert "1 record of kind `measured`, about grebe/winch, of 2026-03-02" in result.text
    assert aboard.files() == before
    assert "Taken back" in aboard.run("undo", typed="y\n").text
    assert aboard.json("undo")["undone"].startswith(
        "2 records of kind `read`, about grebe/winch/U12"
    )
    assert aboard.json("undo")["undone"].startswith("1 record of kind `visit-opened`, about grebe")
    aboard.refused("undo", "undo-nothing")
    for _ in range(3):
        aboard.yes("undo --redo")
        aboard.json("undo")
    aboard.refused("undo", "undo-nothing")


def test_what_a_person_was_shown_is_taken_back_and_nothing_else(aboard: Laptop) -> None:
    """Another command between the question and the yes: undo-other."""
    session = open_vault(aboard.vault, own=aboard.own)
    shown = to_undo(session, redo=False)
    aboard.yes("correct grebe --imo 1234567")
    with pytest.raises(ParambakError) as refusal:
        ask(open_vault(aboard.vault, own=aboard.own), UndoQuestion(command=shown.command))
    assert refusal.value.code == "undo-other"


def test_undo_takes_back_nothing_of_another_person(
    aboard: Laptop, laptops: Callable[[str], Laptop]
) -> None:
    """A laptop's own commands alone; what came with a pack stays."""
    aboard.yes("pack grebe --out grebe.zip")
    office = laptops("office")
    office.write("grebe.zip", (aboard.folder / "grebe.zip").read_bytes())
    office.yes("unpack grebe.zip")
    office.refused("undo", "undo-nothing")
    office.yes("correct grebe --imo 1234567")
    assert "about grebe" in office.json("undo")["undone"]
    office.refused("undo", "undo-nothing")


def test_correct_states_what_moved_and_what_is_left(aboard: Laptop) -> None:
    """The reads with their records now, the position that is new, and what is left."""
    aboard.yes(f"archive S1.BIN {AT} --position-confirmed")
    answer = aboard.json(
        f"correct {WHERE}@1 --position wader/crane/U7 {BY} --reason 'side mixed up'"
    )
    assert [c["where"] for c in answer["corrected"]] == ["wader/crane/U7"] * 2
    assert answer["made"] == ["new vessel wader", "new unit crane", "new position U7"]
    assert [(a["where"], a["copies"], a["reads"], a["verified"]) for a in answer["left"]] == [
        (WHERE, 1, 1, False)
    ]
    struck = aboard.json(f"history {WHERE} --withdrawn")["withdrawn"]
    assert [w["moved_to"] for w in struck] == ["wader/crane/U7"] * 2
    assert "it is at wader/crane/U7 now" in aboard.yes(f"history {WHERE} --withdrawn")
    text = aboard.yes(f"correct {WHERE}@latest --position grebe/winch/U13 {BY}")
    assert f"Left at {WHERE}: nothing." in text


def test_a_moved_read_is_in_the_other_vessels_pack(
    aboard: Laptop, laptops: Callable[[str], Laptop]
) -> None:
    """The pack of that vessel alone has it, with its dump and its layout."""
    aboard.yes(f"correct {WHERE}@latest --position wader/crane/U7 {BY}")
    aboard.yes("pack wader --out wader.zip")
    office = laptops("office")
    office.write("wader.zip", (aboard.folder / "wader.zip").read_bytes())
    office.yes("unpack wader.zip")
    position = office.json("catalogue")["positions"][0]
    assert (position["where"], position["verified"]) == ("wader/crane/U7", True)
    assert office.json("recheck")["damaged"] == []


def test_reads_that_cannot_be_corrected_are_refused(aboard: Laptop) -> None:
    """And nothing changes."""
    aboard.refused(f"correct {WHERE}@latest", "correct-nothing")
    aboard.refused(f"correct {WHERE}@latest --chip 24C02", "correct-fact")
    aboard.refused(f"correct {WHERE}@latest --position {WHERE}", "correct-there-already")
    aboard.refused(f"correct {WHERE}@latest --position grebe/winch", "where-shape")
    aboard.refused(f"correct {WHERE}@latest --position grbe/winch/U12", "name-vessel-near")
    aboard.refused(f"correct {WHERE}@latest --position grebe/wnich/U12", "name-almost")
    aboard.refused(f"correct {WHERE}@latest --read R9.BIN --remark x", "read-none")
    aboard.refused(f"correct {WHERE}@latest --read-on 2026-02-30", "correct-date")


def test_a_correction_that_relies_on_damage_is_refused(aboard: Laptop) -> None:
    """A move to another vessel copies nothing that is not sound; the file is named."""
    sha256 = aboard.json(f"history {WHERE}")["copies"][-1]["sha256"]
    path = aboard.vault / "objects" / sha256[:2] / sha256
    path.chmod(0o644)
    path.write_bytes(b"?")
    line = f"correct {WHERE}@latest --position wader/crane/U7 {BY}"
    assert sha256 in aboard.refused(line, "vault-damaged-object", 3)["file"]


def test_undo_passes_over_backups_and_checks(aboard: Laptop) -> None:
    """They state what was on a disk: the last act of a person is taken back, and a note says so."""
    aboard.yes("backup add stick stick")
    aboard.yes("backup send stick")
    aboard.yes("correct grebe --imo 1234567")
    aboard.yes("backup send stick")
    aboard.yes("recheck")
    answer = aboard.run("undo")
    assert "1 record of kind `correct`" in answer.text
    assert "later records of kind `held`, `recheck` stay" in answer.text
    assert [w["kind"] for w in aboard.json("history grebe --withdrawn")["withdrawn"]] == ["correct"]


def test_a_position_with_an_open_swap_is_not_withdrawn(aboard: Laptop) -> None:
    """Nor its unit: the swap is ended first, and then both go."""
    aboard.run(SWAP)
    for where in (WHERE, "grebe/winch", "GREBE/WINCH/u12"):
        error = aboard.refused(WITHDRAW.format(where), "withdraw-open-swap")
        assert WHERE in error["found"]
        assert f"swap close {WHERE} --abandoned" in error["next"]
    aboard.yes(f"swap close {WHERE} --abandoned --reason 'wrong unit' {BY}")
    aboard.yes(WITHDRAW.format(WHERE))
    aboard.json(f"history {WHERE}", 2)


def test_a_read_is_not_dated_to_a_day_to_come(aboard: Laptop) -> None:
    """As with `archive`."""
    aboard.refused(f"correct {WHERE}@latest --read-on 2027-01-01 {BY}", "day-to-come")
    aboard.refused(f"archive N1.BIN {AT} --position-confirmed --read-on 2027-01-01", "day-to-come")


def test_the_answer_states_that_what_is_left_is_not_verified(aboard: Laptop) -> None:
    """One read of two withdrawn: the copy was verified, and is so no longer."""
    assert aboard.json("catalogue")["positions"][0]["verified"]
    text = aboard.yes(f"{LATEST} --read R1.BIN")
    assert f"Left at {WHERE}: 1 read in 1 copy. The newest copy there is not verified: " in text
    assert "The newest copy there is verified." in aboard.yes("undo")


def test_what_was_withdrawn_is_archived_again(aboard: Laptop) -> None:
    """It is no file on record; withdrawn twice, nothing is there to withdraw."""
    aboard.yes(LATEST)
    aboard.json(LATEST, 2)
    aboard.yes(f"archive R1.BIN R2.BIN {AT} --layout winch.toml")
    assert aboard.json("catalogue")["positions"][0]["verified"]
