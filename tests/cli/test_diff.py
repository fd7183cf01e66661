"""`diff` between two copies and more, what it asks for, and the remark that answers it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from parambak.cli.parts.kinds import MEANINGS
from parambak.memory import relations
from tests.cli.invented import LAYOUT, MEMORY, WHERE, changed, dump

if TYPE_CHECKING:
    from tests.cli.conftest import Ship

AT = "grebe/port-thruster/U12"
STEPS = (MEMORY, changed(0x0010), changed(0x0300, changed(0x0023, changed(0x0010))))
LIMITED = LAYOUT.replace(b"high = 255", b"high = 100")


@pytest.fixture
def three(ship: Ship) -> Ship:
    """Three copies of one position, a year apart, read by name."""
    ship.write("layout.toml", LAYOUT)
    for number, memory in enumerate(STEPS):
        name = ship.write(f"{number}.hex", dump(memory), second=number)
        day = f"202{number}-03-01"
        words = (*WHERE, "--layout", "layout.toml", "--read-on", day, "--by", "A. Fitter")
        assert ship.run("archive", name, *words).code == 0
    return ship


def test_bytes_stand_side_by_side_with_lines_around(three: Ship) -> None:
    """Addresses, both sides, the new one where it differs; 80 columns, and no colour in a pipe."""
    page = three.run("diff", f"{AT}@1", f"{AT}@3").out
    row = next(line for line in page.splitlines() if line.startswith("0x0010"))
    old, new = MEMORY[0x10:0x18], STEPS[2][0x10:0x18]
    assert old.hex(" ").upper() in row
    assert f"{new[0]:02X} .. .. .. .. .. .. .." in row
    assert {"0x0008", "0x0018"} <= {line[:6] for line in page.splitlines()}
    assert max(len(line) for line in page.splitlines()) <= 80
    assert "\x1b" not in page
    assert "UNMAPPED at 0x0300" in page


def test_more_than_two_are_compared_each_with_the_one_before(three: Ship) -> None:
    """`pairs`, and on top the first against the last; a file may stand among copies."""
    document = three.answer("diff", f"{AT}@1", f"{AT}@2", "2.hex").document
    assert [pair["changed_bytes"] for pair in document["pairs"]] == [1, 2]
    assert (document["same"], document["changed_bytes"]) == (False, 3)
    assert document["pairs"][1]["unmapped"] == [{"start": 0x0300, "length": 1}]


def test_since_a_date_is_the_copy_of_then_against_the_latest(three: Ship) -> None:
    """The copy that stood at that date."""
    document = three.answer("diff", AT, "--since", "2021-06-01").document
    assert document["changed_bytes"] == 2
    assert [each["field"] for each in document["fields"]] == ["run_hours"]


@pytest.mark.parametrize(
    ("words", "code"),
    [
        ((AT,), "diff-what"),
        ((), "diff-what"),
        ((AT, AT, "--since", "2021-06-01"), "diff-what"),
        ((f"{AT}@1", "--since", "2021-06-01"), "diff-what"),
        ((AT, "--since", "2019-01-01"), "copy-none"),
        ((AT, "2.hex", "--remark", "x", "--by", "B"), "diff-remark"),
        ((AT, AT, "--remark", "x", "--by", "B"), "diff-remark"),
        ((f"{AT}@1", AT, "--remark", "x"), "remark-by"),
    ],
)
def test_a_call_that_cannot_be_answered_is_refused(
    three: Ship, words: tuple[str, ...], code: str
) -> None:
    """With what to do, exit 2."""
    result = three.answer("diff", *words)
    assert (result.code, result.document["error"]["code"]) == (2, code)


def test_a_remark_is_asked_for_kept_with_the_visit_and_shown(three: Ship) -> None:
    """By `diff` until there is one; then by `diff` and `history`, with its name."""
    sides = (f"{AT}@1", f"{AT}@2")
    assert three.answer("diff", *sides).document["remark_wanted"] is True
    assert "--remark" in three.run("diff", *sides).out
    assert three.run("visit", "open", "grebe", "--by", "B. Mate").code == 0
    kept = three.answer("diff", *sides, "--remark", "the master asked for it")
    (remark,) = kept.document["remarks"]
    assert (kept.code, remark["text"], remark["by"]) == (1, "the master asked for it", "B. Mate")
    assert kept.document["remark_wanted"] is False
    assert "Remark by B. Mate" in three.run("diff", *sides).out
    changes = three.answer("history", AT).document["changes"]
    assert changes[0]["remarks"] == ["the master asked for it"]
    assert three.answer("diff", f"{AT}@2", f"{AT}@3").document["remarks"] == []


def test_by_how_much_and_past_which_limit(ship: Ship) -> None:
    """The difference with its sign, and the limit in capitals."""
    old, new = bytearray(MEMORY), bytearray(MEMORY)
    old[0x10], new[0x10] = 90, 120
    ship.write("old.hex", dump(bytes(old)))
    ship.write("new.hex", dump(bytes(new)))
    ship.write("layout.toml", LIMITED)
    words = ("diff", "old.hex", "new.hex", "--layout", "layout.toml")
    (change,) = ship.answer(*words).document["fields"]
    assert (change["change"], change["crossed"], change["within_limits"]) == (
        "+30",
        "above 100",
        False,
    )
    assert "parameter, ABOVE 100" in ship.run(*words).out


def test_what_was_moved_is_said_once(ship: Ship) -> None:
    """Swapped bytes are one line, not two thousand; fields are marked as moved."""
    ship.write("old.hex", dump())
    ship.write("new.hex", dump(relations.swapped(MEMORY, 2)))
    ship.write("layout.toml", LAYOUT)
    words = ("diff", "old.hex", "new.hex", "--layout", "layout.toml")
    document = ship.answer(*words).document
    (moved,) = document["moved"]
    assert (moved["kind"], moved["start"], moved["length"]) == ("swapped-16", 0, 2048)
    assert {each["kind"] for each in document["fields"]} == {"moved"}
    assert document["unmapped"] == []
    page = ship.run(*words).out
    assert "MOVED 0x0000-0x07FF: the two bytes of every 16-bit word are swapped" in page
    assert len(page.splitlines()) < 15


def test_two_files_have_no_order_and_no_layout(ship: Ship) -> None:
    """Nothing shows which is newer; every unmapped byte stands in one line, not in one each."""
    ship.write("a.bin", MEMORY)
    changed_bytes = bytearray(MEMORY)
    for at in range(0x100, 0x300, 0x10):
        changed_bytes[at] ^= 0x55
    ship.write("b.bin", bytes(changed_bytes), second=1)
    result = ship.answer("diff", "a.bin", "b.bin")
    assert (result.document["ordered"], len(result.document["unmapped"])) == (False, 32)
    lines = ship.run("diff", "a.bin", "b.bin").out.splitlines()
    assert lines[:2] == ["first   a.bin", "second  b.bin"]
    assert [line.strip() for line in lines if "UNMAPPED" in line] == [
        "UNMAPPED: 32 bytes. There is no layout, so no field explains them."
    ]


def test_each_kind_on_the_page_is_explained_under_its_table(three: Ship) -> None:
    """And no other kind is; the copies have an order."""
    page = three.run("diff", f"{AT}@1", f"{AT}@3").out
    assert page.startswith("old  ")
    kinds = {line.rsplit("  ", 1)[-1].strip() for line in page.splitlines() if "0x" in line[:2]}
    shown = {kind for kind in MEANINGS if f" - {kind}: " in page}
    assert shown
    assert shown == kinds & set(MEANINGS)
