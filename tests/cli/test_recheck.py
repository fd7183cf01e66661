"""`recheck` and `seal` as a user calls them."""

from __future__ import annotations

import json
import shutil
from typing import TYPE_CHECKING, Any

import pytest

from parambak.cli.main import run
from parambak.vault import faults
from parambak.vault.vault import Vault
from tests.cli.invented import WHERE, archive_two, changed, dump

if TYPE_CHECKING:
    from pathlib import Path

    from tests.cli.conftest import Ship


def spoil(path: Path) -> bytes:
    """Flip a bit in a file; return what it was."""
    whole = path.read_bytes()
    path.chmod(0o644)
    path.write_bytes(bytes([whole[0] ^ 1]) + whole[1:])
    return whole


def records_of(ship: Ship, kind: str) -> list[Path]:
    """Return the files of the records of one kind, the newest last."""
    found = []
    for path in (ship.vault / "records").rglob("*.json"):
        record = json.loads(path.read_bytes())
        if record["kind"] == kind:
            found.append((len(record["after"]), record["clock"]["utc"], path))
    return [path for _, _, path in sorted(found)]


def seal_of(ship: Ship) -> str:
    """Return the seal of the one vessel."""
    (shown,) = ship.answer("seal").document["seals"]
    text: str = shown["seal"]
    return text


def known(ship: Ship, *lines: str) -> tuple[int, list[dict[str, Any]]]:
    """Recheck with seals; return the exit code and what is said of each."""
    words = [word for line in lines for word in ("--seal", line)]
    result = ship.answer("recheck", *words)
    found: list[dict[str, Any]] = result.document["seals"]
    return result.code, found


def a_copy_elsewhere(ship: Ship) -> Ship:
    """Return the vault copied to another user's computer, without its index."""
    other = type(ship)(ship.folder / "elsewhere")
    other.folder.mkdir()
    shutil.copytree(ship.vault, other.vault)
    for index in other.vault.glob("index*"):
        index.unlink()
    return other


def test_a_sound_vault_says_all_that_was_read(ship: Ship) -> None:
    """Totals, read and unread, and since when everything has been read."""
    archive_two(ship)
    result = ship.answer("recheck")
    found = result.document
    assert (result.code, found["damaged"], found["unread"], found["next"]) == (0, [], 0, None)
    assert found["total"] == found["read"] == found["objects"] + found["records"]
    assert found["complete"] is True
    assert found["oldest_full_read"] == found["began"][:10]


def test_damage_is_told_by_position_with_one_next_step(ship: Ship) -> None:
    """Which copy of which position, and that the same dump repairs it; which it then does."""
    archive_two(ship)
    copy = ship.answer("catalogue").document["positions"][0]["sha256"]
    spoil(ship.vault / "objects" / copy[:2] / copy)
    result = ship.answer("recheck")
    (damage,) = result.document["damaged"]
    assert result.code == 3
    assert damage["lost"][0]["where"] == "grebe/port-thruster/U12"
    assert "copy 1 of grebe/port-thruster/U12" in damage["lost"][0]["text"]
    assert "archive the same dumps again" in result.document["next"]
    page = ship.run("recheck").out
    assert "Lost with it: the bytes of copy 1" in " ".join(page.split())
    assert page.count("Do next") == 1
    assert ship.run("archive", "a.hex", *WHERE).code == 0
    assert ship.answer("recheck").code == 0


def test_a_damaged_layout_is_not_brought_back_by_a_dump(ship: Ship) -> None:
    """The next step names another copy of the vault alone."""
    archive_two(ship)
    layout = next(
        path
        for path in (ship.vault / "objects").rglob("*")
        if path.is_file() and b"invented, for the tests" in path.read_bytes()
    )
    spoil(layout)
    result = ship.answer("recheck")
    (damage,) = result.document["damaged"]
    assert "the layout layout.toml of grebe/port-thruster/U12" in damage["lost"][0]["text"]
    assert "another copy" in result.document["next"]
    assert "archive" not in result.document["next"]


def test_a_recheck_in_another_copy_counts_only_there(ship: Ship) -> None:
    """What was read on a stick was not read on the disk, though its record comes home."""
    archive_two(ship)
    stick = a_copy_elsewhere(ship)
    assert stick.answer("recheck").code == 0
    shutil.copytree(stick.vault / "records", ship.vault / "records", dirs_exist_ok=True)
    (record,) = records_of(ship, "recheck")
    assert json.loads(record.read_bytes())["body"]["damaged"] == 0
    later = a_copy_elsewhere(stick)
    assert later.answer("recheck", "--minutes", "1").code == 0
    marks = {json.loads(p.read_bytes())["body"]["folder"] for p in records_of(later, "recheck")}
    assert len(marks) == 2


def test_a_seal_is_whole_and_says_what_came_since(ship: Ship) -> None:
    """Typed in capitals and without spaces, after one more read."""
    archive_two(ship)
    line = seal_of(ship)
    assert line.startswith("grebe, 2 records, ends ")
    page = ship.run("seal", "grebe")
    assert page.out.replace("\n", " ").strip() == line
    assert "`parambak recheck --seal" in page.err
    ship.write("c.hex", dump(changed(0x0023)), second=5)
    assert ship.run("archive", "c.hex", *WHERE).code == 0
    code, found = known(ship, line.upper().replace(" ", ""))
    assert (code, found[0]["state"], found[0]["since"]) == (0, "whole", 1)


def test_a_mistyped_line_is_no_answer(ship: Ship) -> None:
    """Exit 2, before anything is read."""
    archive_two(ship)
    line = seal_of(ship)
    wrong = line.replace("2 records", "3 records")
    result = ship.answer("recheck", "--seal", wrong)
    assert (result.code, result.document["error"]["code"]) == (2, "seal-mistyped")
    assert records_of(ship, "recheck") == []


def test_newest_records_removed_from_a_copy_are_found(ship: Ship) -> None:
    """On another computer, where nothing but the line knows of them."""
    archive_two(ship)
    line = seal_of(ship)
    other = a_copy_elsewhere(ship)
    records_of(other, "read")[-1].unlink()
    assert other.answer("recheck").code == 0
    code, found = known(other, line)
    assert (code, found[0]["state"]) == (3, "cut")
    assert "the history of grebe was cut" in found[0]["text"]
    assert found[0]["next"]
    page = " ".join(other.run("recheck", "--seal", line).out.split())
    assert "history of grebe was cut: its newest record" in page
    assert "Do next: Fetch the missing files" in page


def test_a_whole_vessel_removed_is_found(ship: Ship) -> None:
    """Though not one file of it is left."""
    archive_two(ship)
    line = seal_of(ship)
    other = a_copy_elsewhere(ship)
    for path in records_of(other, "read"):
        path.unlink()
    assert other.answer("seal").document["seals"] == []
    code, found = known(other, line)
    assert (code, found[0]["state"]) == (3, "cut")
    assert "none is left" in found[0]["text"]


def test_a_record_gone_from_the_middle_fails_the_number(ship: Ship) -> None:
    """The end is there, and not all that stood before it."""
    archive_two(ship)
    line = seal_of(ship)
    other = a_copy_elsewhere(ship)
    records_of(other, "read")[0].unlink()
    code, found = known(other, line)
    assert (code, found[0]["state"]) == (3, "cut")
    assert "the seal is of 2 records" in found[0]["text"]


def test_a_limited_recheck_goes_on_where_it_stopped(ship: Ship) -> None:
    """What was read before is not read again, and the whole is as old as its first part."""
    archive_two(ship)
    assert ship.answer("recheck").code == 0
    body = json.loads(records_of(ship, "recheck")[0].read_bytes())["body"]
    read = {
        path.relative_to(ship.vault).as_posix(): len(list(path.iterdir()))
        for path in (ship.vault / "objects").iterdir()
    }
    began = "2026-01-01T00:00:00Z"
    notes = ship.folder / "own" / "rechecks"
    notes.mkdir()
    note = notes / f"{body['folder']}.json"
    note.write_text(json.dumps({"began": began, "folders": read}))
    found = ship.answer("recheck", "--minutes", "1").document
    assert (found["began"], found["complete"]) == (began, True)
    assert found["oldest_full_read"] == body["since"][:10]
    sinces = {json.loads(p.read_bytes())["body"]["since"] for p in records_of(ship, "recheck")}
    assert sinces == {began, body["since"]}
    assert not note.exists()


def test_a_location_that_holds_it_is_the_next_step(ship: Ship) -> None:
    """Named, with the day on which it last proved that; and it repairs the vault."""
    archive_two(ship)
    assert ship.run("backup", "add", "red-stick", "stick").code == 0
    assert ship.run("backup", "send", "red-stick").code == 0
    copy = ship.answer("catalogue").document["positions"][0]["sha256"]
    spoil(ship.vault / "objects" / copy[:2] / copy)
    records_of(ship, "read")[0].unlink()
    result = ship.answer("recheck")
    assert result.code == 3
    assert len(result.document["damaged"]) == 2
    (location,) = result.document["locations"]
    assert (location["location"], location["files"]) == ("red-stick", 2)
    assert result.document["next"].startswith("Run `parambak backup send red-stick`. On 2")
    assert ship.run("backup", "send", "red-stick").code == 0
    assert ship.answer("recheck").code == 0


def test_a_last_record_that_nobody_else_has_leaves_a_way_out(ship: Ship) -> None:
    """Said once, as damage; no location has it, so a person accepts the loss."""
    archive_two(ship)
    assert ship.run("backup", "add", "red-stick", "red").code == 0
    assert ship.run("backup", "send", "red-stick").code == 0
    before = set(ship.vault.rglob("*.json"))
    assert ship.run("recheck").code == 0
    (last,) = set(ship.vault.rglob("*.json")) - before  # the record of the recheck itself
    spoil(last)
    page = ship.run("recheck")
    assert (page.code, page.err) == (3, "")
    found = ship.answer("recheck").document
    assert "`parambak backup send red-stick`" in found["next"]
    assert "`parambak accept-loss VESSEL" in found["next"]
    assert ship.run("backup", "send", "red-stick").code == 3
    words = ("--by", "A. Invented", "--reason", "no location has it")
    assert ship.run("accept-loss", "grebe", *words).code == 0
    result = ship.answer("recheck")
    assert (result.code, result.document["next"], result.err) == (0, None, "")
    (remark,) = (r["text"] for r in result.document["remarks"] if last.name in r["file"])
    assert "ACCEPTED by A. Invented" in remark
    assert ship.run("recover", "vault", "--vault", "new").code == 1  # what it was may be found yet
    result = ship.answer("recheck", "--vault", "new")
    assert (result.code, result.document["next"]) == (0, None)


def test_what_was_read_on_a_medium_that_is_only_read_was_read(
    ship: Ship, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The recheck is not on record there, and the answer still tells since when all was read."""
    archive_two(ship)

    def refused(*_: object, **__: object) -> None:
        raise faults.UNWRITABLE.error(file="lock")

    monkeypatch.setattr(Vault, "writing", refused)
    monkeypatch.setenv("PARAMBAK_OWN", str(ship.folder / "own"))
    with pytest.raises(SystemExit) as end:
        run(["--json", "--vault", str(ship.vault), "recheck"])
    said = capsys.readouterr()
    found = json.loads(said.out)
    assert end.value.code == 0
    assert "not on record" in said.err
    assert found["oldest_full_read"] == found["began"][:10]
