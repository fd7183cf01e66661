"""What the command line itself refuses, each with its code."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, Any

import pytest

from parambak.answers import given_files, written_files
from parambak.cli import main
from parambak.cli.settings import Settings
from parambak.dumps.dump import Style
from parambak.errors import ParambakError
from parambak.memory.image import Image
from parambak.vault.files.given import read_given, shipped
from tests.cli.invented import WHERE, archive_two, dump
from tests.cli.test_swap_course import ready

if TYPE_CHECKING:
    from pathlib import Path

    from tests.cli.conftest import Ship


def code_of(ship: Ship, *words: str) -> tuple[int, str]:
    result = ship.answer(*words)
    return result.code, result.document["error"]["code"]


def test_an_allowance_that_does_not_exist(ship: Ship) -> None:
    """--accept names one of the allowances, or is refused with their names."""
    ship.write("a.hex", dump())
    assert code_of(ship, "inspect", "a.hex", "--accept", "anything") == (2, "accept-name")


def test_a_chip_that_is_not_in_the_table(ship: Ship) -> None:
    """--chip is looked up, and the nearest parts are named."""
    ship.write("a.hex", dump())
    result = ship.answer("archive", "a.hex", *WHERE, "--chip", "28C160")
    assert (result.code, result.document["error"]["code"]) == (2, "chip-unknown")
    assert "28C16" in result.document["error"]["expected"]


def test_an_export_into_the_vault(ship: Ship) -> None:
    """No command puts a file for a reader inside the vault."""
    archive_two(ship)
    words = ("export", "grebe/port-thruster/U12", "--as", "raw", "--out", "vault/x.bin")
    before = ship.tree()
    assert code_of(ship, *words) == (2, "export-into-vault")
    assert ship.tree() == before


def test_decoding_without_a_layout(ship: Ship) -> None:
    """A file alone has no layout; the answer says what to give."""
    ship.write("a.hex", dump())
    assert code_of(ship, "decode", "a.hex") == (2, "layout-needed")


@pytest.mark.parametrize("text", ["read-data-line", "=reason", "read-data-line="])
def test_declaring_normal_needs_a_code_and_a_reason(ship: Ship, text: str) -> None:
    """And a name: without --by nobody has said it."""
    ship.write("a.hex", dump())
    words = ("archive", "a.hex", *WHERE, "--normal", text)
    assert code_of(ship, *words, "--by", "A. Person") == (2, "normal-shape")
    named = ("archive", "a.hex", *WHERE, "--normal", "read-data-line=seven bits")
    assert code_of(ship, *named) == (2, "normal-shape")


def test_a_card_sheet_that_is_too_large_or_no_toml(ship: Ship) -> None:
    """A sheet is a page of TOML, and nothing else is taken for one."""
    archive_two(ship)
    ship.write("large.toml", b"# " + b"x" * 300_000)
    ship.write("broken.toml", b"links = [")
    words = ("card", "record", "grebe/port-thruster")
    assert code_of(ship, *words, "large.toml") == (2, "sheet-size")
    assert code_of(ship, *words, "broken.toml") == (2, "sheet-text")


def test_a_file_over_the_limit_is_not_read(ship: Ship) -> None:
    """64 MiB is the most; a longer one is refused by its size alone."""
    with (ship.folder / "long.bin").open("wb") as file:
        file.truncate(given_files.DUMP_BYTES + 1)
    assert code_of(ship, "inspect", "long.bin") == (2, "file-size")


def test_a_file_that_grows_while_it_is_read(tmp_path: Path, monkeypatch: Any) -> None:
    """A dump that the reader is still writing is refused."""
    path = tmp_path / "a.hex"
    path.write_bytes(dump())
    real = os.stat

    def earlier(name: Any, **rest: Any) -> os.stat_result:
        state = real(name, **rest)
        path.write_bytes(dump() + b"more")
        return state

    monkeypatch.setattr(os, "stat", earlier)
    with pytest.raises(ParambakError) as caught:
        read_given(str(path), given_files.DUMP_BYTES)
    assert caught.value.code == "file-changed"


def test_a_file_that_does_not_read_back_as_written(tmp_path: Path, monkeypatch: Any) -> None:
    """What the disk gives back is compared with the image, not trusted."""

    def lying(path: Path, data: bytes, *, replace: bool = False) -> None:
        del replace
        path.write_bytes(data[:-1] + b"\x00")

    monkeypatch.setattr("parambak.vault.files.disk.write_export", lying)
    with pytest.raises(ParambakError) as caught:
        written_files.write_dump_file(
            Image.of(b"\x01\x02\x03"),
            str(tmp_path / "x.bin"),
            "raw",
            Style(),
            vault=tmp_path / "vault",
            replace=False,
        )
    assert caught.value.code == "export-not-the-same"


def test_an_installation_that_lacks_a_shared_file() -> None:
    """It says so, and what to do."""
    with pytest.raises(ParambakError) as caught:
        shipped("nothing.toml")
    assert caught.value.code == "shipped-absent"


@pytest.mark.parametrize(
    ("error", "code"),
    [(MemoryError(), "memory"), (OSError(5, "Input/output error", "stick"), "system")],
)
def test_what_the_machine_refuses_is_a_message_too(
    error: Exception, code: str, monkeypatch: Any, capsys: Any
) -> None:
    """No traceback reaches a user, whatever the operating system does."""

    def fail(**_: Any) -> None:
        raise error

    monkeypatch.setattr(main.root, "main", fail)
    assert main.answered(["inspect"], Settings(json=True)) == 2
    assert f'"{code}"' in capsys.readouterr().out


def test_an_interruption_is_130(monkeypatch: Any, capsys: Any) -> None:
    """Ctrl-C is distinguished from a negative answer."""

    def stop(**_: Any) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(main.root, "main", stop)
    assert main.answered(["recheck"], Settings()) == 130
    assert "interrupted" in capsys.readouterr().err


def test_a_read_back_needs_a_verified_copy_to_compare_with(ship: Ship) -> None:
    """One read is not what a card could have been loaded with: no answer, and what to do."""
    ship.write("a.hex", dump())
    ship.run("archive", "a.hex", *WHERE)
    words = ("swap", "read-back", "grebe/port-thruster/U12", "a.hex")
    assert code_of(ship, *words) == (2, "read-back-no-copy")


def test_a_chip_put_on_record_later_is_one_of_the_table(ship: Ship) -> None:
    """`correct --chip` knows the same parts as `archive --chip`."""
    archive_two(ship)
    words = ("correct", "grebe/port-thruster/U12", "--chip")
    assert code_of(ship, *words, "99Z99") == (2, "chip-unknown")
    same = ship.run(*words, "28C16")
    assert (same.code, same.err) == (0, "")


def test_a_chip_of_another_size_is_put_on_record_with_a_warning(ship: Ship) -> None:
    """It may be the right one: the copy and the layout that it contradicts are named."""
    archive_two(ship)
    result = ship.run("correct", "grebe/port-thruster/U12", "--chip", "28C64")
    assert result.code == 0
    assert "28C64 has 8192 bytes, and the latest copy" in " ".join(result.err.split())
    answer = ship.answer("correct", "grebe/port-thruster/U12", "--chip", "28C64")
    assert answer.code == 0
    assert "28C64 has 8192 bytes" in answer.err


def test_a_damaged_name_of_a_person_stops_no_read(ship: Ship) -> None:
    """The read goes on record under a new object of that name, and the damage is stated."""
    ship.write("a.hex", dump())
    ship.run("archive", "a.hex", *WHERE, "--by", "A. Person")
    for path in (ship.vault / "objects").rglob("*"):
        if path.is_file() and b"A. Person" in path.read_bytes():
            path.chmod(0o644)
            path.write_bytes(b"rotten")
    ship.write("b.hex", dump(), second=1)
    assert ship.run("archive", "b.hex", *WHERE, "--by", "A. Person").code == 0
    assert ship.answer("recheck").code == 3


def test_a_day_that_is_still_to_come_is_no_day_of_a_read(ship: Ship) -> None:
    """A read of 2099 would be the latest permanently."""
    ship.write("a.hex", dump())
    for day in ("2099-01-01", "0001-01-01"):
        assert code_of(ship, "archive", "a.hex", *WHERE, "--read-on", day) == (2, "day-to-come")
    assert not ship.vault.exists()


def test_an_old_file_read_back_proves_nothing_and_that_is_said(ship: Ship) -> None:
    """The file archived before the swap, and the file released for loading, are refused."""
    archive_two(ship)
    where = "grebe/port-thruster/U12"
    assert code_of(ship, "swap", "read-back", where, "a.hex") == (2, "read-back-archived")
    ready(ship)
    ship.run("swap", "load-file", where, "--as", "raw", "--out", "LOAD.BIN")
    assert code_of(ship, "swap", "read-back", where, "LOAD.BIN") == (2, "read-back-load-file")
    ship.write("card.hex", dump(), second=9)
    ship.write("again.hex", dump(), second=10)
    twice = ship.answer("swap", "read-back", where, "card.hex", "again.hex")
    assert twice.document["doubts"] == []


def test_what_is_declared_normal_is_one_thing_and_no_other(ship: Ship) -> None:
    """D7 that stays low, declared so, does not excuse D0 stuck high at the next visit."""
    from tests.cli.invented import MEMORY

    low = bytes(byte & 0x7F for byte in MEMORY)
    ship.write("a.bin", low)
    ship.write("b.bin", low, second=1)
    named = ("--by", "A. Person", "--normal", "read-data-line=seven bits")
    first = ship.answer("archive", "a.bin", "b.bin", *WHERE, "--chip", "28C16", *named)
    assert first.document["verified"] is True
    stuck = bytes(byte | 0x01 for byte in low)
    ship.write("c.bin", stuck, second=2)
    ship.write("d.bin", stuck, second=3)
    later = ship.answer("archive", "c.bin", "d.bin", *WHERE)
    assert later.document["verified"] is False
    assert "D0" in later.document["unmet"][0]["text"]
    wrong = ("archive", "a.bin", *WHERE, "--by", "A. Person", "--normal", "nonsense=x")
    assert code_of(ship, *wrong) == (2, "normal-shape")


def test_a_chip_that_gives_now_this_and_now_that_is_not_verified(ship: Ship) -> None:
    """C, A, A, C on one day; and one that read differently only once."""
    from tests.cli.invented import MEMORY, changed

    for number, memory in enumerate((MEMORY, changed(9), changed(9), MEMORY)):
        ship.write(f"r{number}.bin", memory, second=number)
    dumps = tuple(f"r{number}.bin" for number in range(4))
    result = ship.answer("archive", *dumps, *WHERE, "--chip", "28C16")
    assert [unmet["condition"] for unmet in result.document["unmet"]] == ["stable"]
    assert "disagree 2 times in 1 byte: 0x0009" in result.document["unmet"][0]["text"]
    there = (*WHERE[:-1], "U13", "--position-confirmed")
    pair = ship.answer("archive", "r0.bin", "r1.bin", "r2.bin", *there)
    assert pair.document["state"] == "unstable"


def test_two_units_with_the_very_same_bytes_are_told(ship: Ship) -> None:
    """One chip read twice, filed as port and as starboard."""
    archive_two(ship)
    ship.write("c.hex", dump(), second=5)
    other = ("--vessel", "grebe", "--unit", "stbd-thruster", "--position", "U12")
    refused = " ".join(ship.run("archive", "c.hex", *other).err.split())
    assert "found the bytes of grebe/port-thruster" in refused
    confirmed = ship.run("archive", "c.hex", *other, "--position-confirmed").err
    assert "the same bytes as grebe/port-thruster" in confirmed


def test_a_record_that_tells_nothing_is_left_out_and_named(ship: Ship) -> None:
    """A well-formed record with an empty body stops no command; recheck names it."""
    import hashlib
    import json

    archive_two(ship)
    path = next(p for p in (ship.vault / "records").rglob("*.json") if '"read"' in p.read_text())
    record = json.loads(path.read_text())
    record |= {"body": {}, "after": [path.stem], "objects": []}
    data = json.dumps(record, sort_keys=True, separators=(",", ":")).encode() + b"\n"
    digest = hashlib.sha256(data).hexdigest()
    folder = ship.vault / "records" / digest[:2]
    folder.mkdir(exist_ok=True)
    (folder / f"{digest}.json").write_bytes(data)
    listed = ship.run("catalogue")
    assert listed.code == 0
    assert digest in listed.err.replace("\n", "").replace(" ", "")
    recheck = ship.answer("recheck")
    assert recheck.code == 3
    assert digest in recheck.document["damaged"][0]["file"]


def test_a_history_cut_at_its_end_goes_on_being_said(ship: Ship) -> None:
    """The newest record taken away: the note outlasts what is written afterwards."""
    archive_two(ship)
    before = set((ship.vault / "records").rglob("*.json"))
    assert ship.run("correct", "grebe", "--display-name", "Grebe").code == 0
    (newest,) = set((ship.vault / "records").rglob("*.json")) - before
    newest.chmod(0o644)
    newest.unlink()
    assert "history was cut short" in ship.run("catalogue").err.replace("\n", " ")
    assert ship.run("correct", "grebe", "--other-number", "77").code == 0
    assert "history was cut short" in ship.run("catalogue").err.replace("\n", " ")
    recheck = ship.run("recheck")
    assert "Every file is unchanged." not in recheck.out


def test_a_mistake_in_the_program_is_no_answer(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Python's own exit code for it is 1, which would be taken for a "no"."""

    def mistaken(*_: object) -> int:
        raise ZeroDivisionError

    monkeypatch.setattr(main, "_answered", mistaken)
    assert main.answered(["catalogue"], Settings()) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert "ZeroDivisionError" in said.err
    assert "no answer" in said.err
