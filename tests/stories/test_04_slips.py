"""Slips are put right: `withdraw`, `correct` and `undo`, and every list reads as if there was none.

Each story is told twice, with the slip and without it, and both vaults must answer the same.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from parambak.answers.undo import UndoQuestion, to_undo
from parambak.api import ask, open_vault
from parambak.errors import ParambakError
from tests.stories.conftest import MINUTE, START
from tests.stories.slips import answers
from tests.stories.small_unit import OLD_LAYOUT, memory

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from tests.stories.conftest import Laptop

BACK = START + 600 * MINUTE
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
    for name, data in (("R", memory(1)), ("N", memory(1, ramp=160)), ("S", memory(2))):
        laptop.dump(f"{name}1.BIN", data)
        laptop.dump(f"{name}2.BIN", data)


BEFORE = [
    f"visit open grebe --on 2026-03-02 {BY} --new-vessel",
    f"archive R1.BIN R2.BIN {AT} --layout winch.toml",
    f"measure grebe/winch core_rail=3.31V {BY}",
]
AFTER = [
    f"archive N1.BIN N2.BIN {AT}",
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
    "undo twice": ([WRONG, "correct grebe --imo 1234567"], [UNDO, UNDO]),
    "undo, redo and undo": ([WRONG], [UNDO, f"{UNDO} --redo", UNDO]),
}


@pytest.mark.parametrize("slip", SLIPS)
def test_every_list_reads_as_if_the_slip_had_not_been_made(
    slip: str, laptops: Callable[[str], Laptop]
) -> None:
    """Answers, tables and pages are those of a vault that never had it."""
    made, corrected = SLIPS[slip]
    mine, never = laptops("mine"), laptops("never")
    for laptop in (mine, never):
        files(laptop)
    tell(mine, [*BEFORE, *made])
    tell(never, [*BEFORE, *([None] * len(made))])
    assert answers(mine) != answers(never), "the slip shows nowhere: the test could not fail"
    mine.now = never.now = BACK
    tell(mine, corrected)
    tell(never, [None] * len(corrected))
    assert answers(mine) == answers(never)
    mine.now = never.now = BACK + 10 * MINUTE
    tell(mine, AFTER)
    tell(never, AFTER)
    assert answers(mine) == answers(never)


@pytest.fixture
def told(laptop: Laptop) -> Laptop:
    """Return a laptop on which one position was read twice, and measured."""
    files(laptop)
    tell(laptop, BEFORE)
    return laptop


def test_what_is_withdrawn_stays_on_record_struck_through(told: Laptop) -> None:
    """`history --withdrawn` shows it, by whom and why, also if nothing is left there."""
    told.yes(SPARE.format(U13))
    answer = told.json(WITHDRAW.format("grebe/winch/U13@latest"))
    assert [(w["kind"], w["where"]) for w in answer["withdrawn"]] == [
        ("read", "grebe/winch/U13")
    ] * 2
    assert answer["left"] == [{"where": "grebe/winch/U13", "copies": 0, "reads": 0}]
    told.json("history grebe/winch/U13", 2)
    text = told.yes("history grebe/winch/U13 --withdrawn")
    assert "~~read S1.BIN, put on record on 2026-03-02~~" in text
    assert "withdrawn on 2026-03-02 by A. Fitter: typed wrong" in text
    shown = told.json("history grebe --withdrawn")["withdrawn"]
    assert [w["record"] for w in shown] == [w["record"] for w in answer["withdrawn"]]
    assert told.json(f"history {WHERE} --withdrawn")["withdrawn"] == []
    assert "withdrawn" not in told.json(f"history {WHERE}")
    assert len(told.json(f"history {WHERE} --withdrawn")["copies"]) == 1


def test_the_person_of_the_open_visit_withdraws(told: Laptop) -> None:
    """Without --by; without a visit, a name is required."""
    told.yes(f"withdraw {WHERE}@latest --reason 'typed wrong'")
    shown = told.json("history grebe --withdrawn")["withdrawn"]
    assert {w["withdrawn_by"] for w in shown} == {"A. Fitter"}
    told.yes("undo")
    told.yes("visit close")
    told.refused(f"withdraw {WHERE}@latest --reason 'typed wrong'", "withdraw-by")


def test_a_remark_is_withdrawn_by_its_first_words(told: Laptop) -> None:
    """Or by its record; two that begin alike are refused with what tells them apart."""
    told.yes(f"archive N1.BIN N2.BIN {AT}")
    told.run(f"diff {WHERE}@previous {WHERE} --remark 'ramp made longer' {BY}")
    told.run(f"diff {WHERE}@previous {WHERE} --remark 'ramp was wrong' {BY}")
    error = told.refused(f"{WITHDRAW.format(WHERE)} --remark ramp", "withdraw-two")
    assert "ramp made longer" in error["expected"]
    assert "ramp was wrong" in error["expected"]
    told.refused(f"{WITHDRAW.format(WHERE)} --remark brake", "withdraw-none")
    told.refused(f"{WITHDRAW.format(WHERE)} --measured 2020-01-01", "withdraw-none")
    told.yes(f"{WITHDRAW.format(WHERE)} --remark 'RAMP WAS'")
    assert told.json(f"history {WHERE}")["copies"][-1]["remarks"] == ["ramp made longer"]


def test_a_read_is_named_by_its_file_or_its_record(told: Laptop) -> None:
    """A name of several, or of none, is refused with the reads that there are."""
    told.yes(f"archive R1.BIN {AT}")
    error = told.refused(f"{WITHDRAW.format(WHERE)} --read R1.BIN", "read-two")
    assert error["expected"].count("read R1.BIN of 2026-03-02 (") == 2
    told.refused(f"{WITHDRAW.format(WHERE)} --read R9.BIN", "read-none")
    digits = error["expected"].partition("(")[2][:8]
    told.yes(f"{WITHDRAW.format(WHERE)} --read {digits}")
    assert told.json("catalogue")["positions"][0]["copies"] == 1


def test_what_cannot_be_withdrawn_is_refused(told: Laptop) -> None:
    """And nothing changes."""
    told.refused(WITHDRAW.format("grebe"), "withdraw-where")
    told.refused(WITHDRAW.format("grebe/crane"), "where-unit")
    told.refused(f"{WITHDRAW.format(WHERE)} --read R1.BIN --remark x", "withdraw-several")
    told.refused(f"withdraw {WHERE}@latest --by X --reason {'x' * 5000}", "text-length")


@pytest.mark.parametrize("line", [WITHDRAW.format(f"{WHERE}@latest"), "undo"])
@pytest.mark.parametrize("folder", ["records", "objects"])
def test_what_relies_on_damage_is_refused(folder: str, line: str, told: Laptop) -> None:
    """With the damaged file's name, exit 3; nothing changes."""
    told.yes(f"archive N1.BIN {AT}")
    read = told.json(f"history {WHERE}")["copies"][-1]
    digest = read["sha256"]
    if folder == "records":
        digest = told.json(f"history {WHERE}")["copies"][-1]["reads"][0]["record"]
    told.run("--json rebuild")
    path = next(p for p in told.vault.rglob(f"{digest[:64]}*") if p.is_file())
    path.chmod(0o644)
    path.write_bytes(path.read_bytes()[:-1] + b"?")
    code = "vault-damaged-object" if folder == "objects" else "vault-damaged-record"
    error = told.refused(line, code, 3)
    assert digest in error["file"]


def test_a_terminal_shows_what_is_taken_back_and_asks(told: Laptop) -> None:
    """Only a yes takes it back."""
    before = told.files()
    result = told.run("undo", typed="n\n")
    assert result.code == 1
    assert "1 record of kind `measured`, about grebe/winch, of 2026-03-02" in result.text
    assert told.files() == before
    assert "Taken back" in told.run("undo", typed="y\n").text
    assert told.json("undo")["undone"].startswith("2 records of kind `read`, about grebe/winch/U12")
    assert told.json("undo")["undone"].startswith("1 record of kind `visit-opened`, about grebe")
    told.refused("undo", "undo-nothing")
    for _ in range(3):
        told.yes("undo --redo")
        told.json("undo")
    told.refused("undo", "undo-nothing")


def test_what_a_person_was_shown_is_taken_back_and_nothing_else(told: Laptop) -> None:
    """Another command between the question and the yes: undo-other."""
    session = open_vault(told.vault, own=told.own)
    shown = to_undo(session, redo=False)
    told.yes("correct grebe --imo 1234567")
    with pytest.raises(ParambakError) as refusal:
        ask(open_vault(told.vault, own=told.own), UndoQuestion(command=shown.command))
    assert refusal.value.code == "undo-other"


def test_undo_takes_back_nothing_of_another_person(
    told: Laptop, laptops: Callable[[str], Laptop]
) -> None:
    """A laptop's own commands alone; what came with a pack stays."""
    told.yes("pack grebe --out grebe.zip")
    office = laptops("office")
    office.write("grebe.zip", (told.folder / "grebe.zip").read_bytes())
    office.yes("unpack grebe.zip")
    office.refused("undo", "undo-nothing")
    office.yes("correct grebe --imo 1234567")
    assert "about grebe" in office.json("undo")["undone"]
    office.refused("undo", "undo-nothing")
