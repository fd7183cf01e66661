"""What scripts may rely on: exit codes, one JSON document, the keys of each answer."""

from __future__ import annotations

import random
from typing import TYPE_CHECKING

import pytest

from tests.cli.invented import LAYOUT, MEMORY, WHERE, archive_two, changed, dump
from tests.cli.test_swap_course import ready

if TYPE_CHECKING:
    from tests.cli.conftest import Ship


def test_inspect_gives_the_keys_of_the_contract(ship: Ship) -> None:
    """`inspect` answers 0 with the digests and sums of the bytes present."""
    ship.write("a.hex", dump(bytes(range(256)) * 8))
    result = ship.answer("inspect", "a.hex")
    found = result.document["dumps"][0]
    assert result.code == 0
    assert found["file"] == "a.hex"
    assert found["format"] == "intel-hex"
    assert found["size"] == 2048
    assert found["ranges"] == [{"start": 0, "length": 2048}]
    assert found["sum8"] == "00"
    assert found["sum16"] == f"{sum(range(256)) * 8 & 0xFFFF:04X}"
    assert {finding["code"] for finding in found["findings"]} == {"read-address-line"}


def test_a_first_read_is_on_record_and_not_verified(ship: Ship) -> None:
    """`archive` answers 0 once the read is on record; one read is not verified."""
    ship.write("a.hex", dump())
    result = ship.answer("archive", "a.hex", *WHERE)
    assert result.code == 0
    assert result.document["where"] == "grebe/port-thruster/U12"
    assert result.document["copy"] == f"grebe/port-thruster/U12@{result.document['sha256'][:8]}"
    assert result.document["verified"] is False
    assert [each["condition"] for each in result.document["unmet"]] == ["read-twice"]


def test_the_same_dump_given_twice_is_one_read(ship: Ship) -> None:
    """One file under two names, or given twice, does not verify, and the answer says so."""
    ship.write("a.hex", dump())
    result = ship.answer("archive", "a.hex", "a.hex", *WHERE)
    assert result.document["verified"] is False
    assert result.document["already"] == ["a.hex"]
    assert "1 read only" in result.document["unmet"][0]["text"]
    (ship.folder / "link.hex").hardlink_to(ship.folder / "a.hex")
    assert ship.answer("archive", "link.hex", *WHERE).document["verified"] is False


def test_equal_file_times_count_as_one_read_unless_the_reader_has_no_clock(ship: Ship) -> None:
    """--no-file-times is the engineer's word that two files of one time are two reads."""
    ship.write("a.hex", dump())
    ship.write("b.hex", dump())
    assert ship.answer("archive", "a.hex", "b.hex", *WHERE).document["verified"] is False
    answer = ship.answer("archive", "a.hex", "b.hex", *WHERE, "--no-file-times")
    assert answer.document["verified"] is True


def test_catalogue_lists_every_position(ship: Ship) -> None:
    """`catalogue` answers 0 with copies, state and the day of the last hash."""
    archive_two(ship)
    result = ship.answer("catalogue", "grebe")
    (position,) = result.document["positions"]
    assert result.code == 0
    assert position["copies"] == 1
    assert position["verified"] is True
    assert position["unmet"] == []
    assert len(position["hashed_on"]) == 10


def test_diff_tells_expected_changes_from_unmapped_bytes(ship: Ship) -> None:
    """A counter is expected, a parameter is not, and a byte outside every field is named."""
    ship.write("old.hex", dump())
    ship.write("new.hex", dump(changed(0x0300, changed(0x0023, changed(0x0010)))))
    ship.write("layout.toml", LAYOUT)
    result = ship.answer("diff", "old.hex", "new.hex", "--layout", "layout.toml")
    assert result.code == 1
    assert result.document["same"] is False
    assert result.document["changed_bytes"] == 3
    assert [run["start"] for run in result.document["runs"]] == [0x0010, 0x0023, 0x0300]
    fields = {each["field"]: each for each in result.document["fields"]}
    assert fields["level"]["running"] is False
    assert fields["level"]["old"] == str(MEMORY[0x10])
    assert fields["run_hours"]["running"] is True
    assert result.document["unmapped"] == [{"start": 0x0300, "length": 1}]
    assert ship.answer("diff", "old.hex", "old.hex").code == 0


@pytest.mark.parametrize("name", ["intel-hex", "s-record", "raw"])
def test_export_and_load_file_read_back_as_the_same_image(ship: Ship, name: str) -> None:
    """What is written in each format holds the copy's bytes."""
    archive_two(ship)
    result = ship.answer("export", "grebe/port-thruster/U12", "--as", name, "--out", "x.out")
    assert result.code == 0
    again = ship.answer("inspect", "x.out", "--format", name).document["dumps"][0]
    copy = ship.answer("catalogue").document["positions"][0]
    assert again["sha256"] == copy["sha256"]
    ready(ship)
    loaded = ship.answer(
        "swap", "load-file", "grebe/port-thruster/U12", "--as", name, "--out", "y.out"
    )
    assert loaded.code == 0
    assert loaded.document["sum16"] == again["sum16"]


def test_an_export_never_writes_over_a_file_unasked(ship: Ship) -> None:
    """A file that stands there is left as it is, unless --replace is given."""
    archive_two(ship)
    ship.write("x.hex", b"something else")
    words = ("export", "grebe/port-thruster/U12", "--as", "intel-hex", "--out", "x.hex")
    assert ship.answer(*words).code == 2
    assert (ship.folder / "x.hex").read_bytes() == b"something else"
    assert ship.answer(*words, "--replace").code == 0


def test_swap_check_says_which_condition_is_not_met(ship: Ship) -> None:
    """One read is not enough: exit 1, `read-twice` not met, the others distinguished."""
    ship.write("a.hex", dump())
    ship.run("archive", "a.hex", *WHERE)
    result = ship.answer("swap", "check", "grebe/port-thruster/U12")
    conditions = {each["condition"]: each["met"] for each in result.document["conditions"]}
    assert result.code == 1
    assert result.document["ready"] is False
    assert conditions["copy"] is True
    assert conditions["read-twice"] is False
    assert conditions["within-limits"] is None
    ship.write("b.hex", dump(), second=1)
    ship.run("archive", "b.hex", *WHERE)
    assert ship.answer("swap", "check", "grebe/port-thruster/U12").code == 0


def test_no_load_file_is_released_from_a_copy_that_is_not_verified(ship: Ship) -> None:
    """`swap load-file` exits 1 and writes nothing."""
    ship.write("a.hex", dump())
    ship.run("archive", "a.hex", *WHERE)
    ready(ship)
    result = ship.answer(
        "swap", "load-file", "grebe/port-thruster/U12", "--as", "raw", "--out", "x.bin"
    )
    assert result.code == 1
    assert result.document["error"]["code"] == "swap-not-ready"
    assert not (ship.folder / "x.bin").exists()


def test_a_load_file_that_cannot_go_on_record_is_not_left_behind(ship: Ship) -> None:
    """Refused is refused: no file lies ready to be loaded that the vault knows nothing of."""
    archive_two(ship)
    ready(ship)
    before = ship.tree()
    own = str(ship.folder / ship.write("no-folder", b"a file where the user's folder should be"))
    words = ("swap", "load-file", "grebe/port-thruster/U12", "--as", "raw", "--out", "x.bin")
    assert ship.run(*words, PARAMBAK_OWN=own).code == 2
    assert not (ship.folder / "x.bin").exists()
    assert ship.tree() == before


def test_a_load_file_from_an_edited_vault_says_so(ship: Ship) -> None:
    """Nothing proves the vault: no file is released, and the answer names what is damaged."""
    archive_two(ship)
    ready(ship)
    marker = ship.vault / "vault.toml"
    marker.chmod(0o600)
    marker.write_bytes(marker.read_bytes() + b"# edited\n")
    words = ("swap", "load-file", "grebe/port-thruster/U12", "--as", "raw", "--out", "x.bin")
    result = ship.answer(*words)
    assert (result.code, "note: vault.toml" in result.err) == (3, True)
    assert not (ship.folder / "x.bin").exists()


def test_a_new_card_of_no_name_is_no_leave_to_skip_it(ship: Ship) -> None:
    """A script whose variable is empty asked for the comparison all the same."""
    archive_two(ship)
    result = ship.answer("swap", "check", "grebe/port-thruster/U12", "--new-card", "")
    assert result.code == 2


def test_read_back_knows_a_counter_after_power_and_only_then(ship: Ship) -> None:
    """Before power a moved counter fails the load; after it, it is distinguished."""
    archive_two(ship)
    ship.write("card.hex", dump(changed(0x0023)), second=2)
    words = ("swap", "read-back", "grebe/port-thruster/U12", "card.hex")
    before = ship.answer(*words)
    assert (before.code, before.document["loaded_correctly"]) == (1, False)
    after = ship.answer(*words, "--stage", "after-power")
    assert (after.code, after.document["loaded_correctly"]) == (0, True)
    assert [run["start"] for run in after.document["running_differences"]] == [0x0023]
    ship.write("wrong.hex", dump(changed(0x0400)), second=3)
    wrong = ship.answer(*words[:3], "wrong.hex", "--stage", "after-power")
    assert (wrong.code, wrong.document["loaded_correctly"]) == (1, False)


def test_read_back_after_power_holds_the_checks_of_what_was_read(ship: Ship) -> None:
    """A stored sum that may move with its counter may not be wrong: the block is not sound."""
    check = b"""
[[check]]
name = "block sum"
method = "sum-8"
over = [[0x0020, 0x0023]]
at = 0x0024
running = true
"""
    memory = bytearray(MEMORY)
    memory[0x24] = sum(memory[0x20:0x24]) % 256
    for second, name in enumerate(("a.hex", "b.hex")):
        ship.write(name, dump(bytes(memory)), second=second)
    ship.write("layout.toml", LAYOUT + check)
    assert ship.run("archive", "a.hex", "b.hex", *WHERE, "--layout", "layout.toml").code == 0
    words = ("swap", "read-back", "grebe/port-thruster/U12", "card.hex", "--stage", "after-power")
    memory[0x23] = (memory[0x23] + 1) % 256
    ship.write("card.hex", dump(bytes(memory)), second=2)
    wrong = ship.answer(*words)
    assert (wrong.code, wrong.document["loaded_correctly"]) == (1, False)
    assert wrong.document["failing_checks"] == ["block sum"]
    assert "stored check block sum holds: NO" in ship.run(*words).out
    memory[0x24] = (memory[0x24] + 1) % 256
    ship.write("card.hex", dump(bytes(memory)), second=3)
    assert ship.answer(*words).document["loaded_correctly"] is True


def test_recheck_finds_one_flipped_bit(ship: Ship) -> None:
    """A sound vault answers 0; one bit wrong on disk answers 3 and names the file."""
    archive_two(ship)
    sound = ship.answer("recheck")
    assert (sound.code, sound.document["damaged"]) == (0, [])
    victim = next(path for path in (ship.vault / "objects").rglob("*") if path.is_file())
    data = bytearray(victim.read_bytes())
    data[0] ^= 0x01
    victim.chmod(0o644)
    victim.write_bytes(data)
    damaged = ship.answer("recheck")
    assert damaged.code == 3
    assert damaged.document["damaged"][0]["file"].endswith(victim.name)


def test_a_damaged_vault_still_takes_reads_in(ship: Ship) -> None:
    """`archive` goes on where the latest copy is damaged, and warns."""
    archive_two(ship)
    copy = ship.answer("catalogue").document["positions"][0]["sha256"]
    victim = ship.vault / "objects" / copy[:2] / copy
    victim.chmod(0o644)
    victim.write_bytes(b"rotten")
    ship.write("c.hex", dump(changed(0x0023)), second=5)
    result = ship.run("archive", "c.hex", *WHERE)
    assert result.code == 0
    assert "note:" in result.err
    checked = ship.answer("catalogue")
    assert checked.code == 0


def test_layout_check_lists_every_mistake_at_once(ship: Ship) -> None:
    """Two mistakes are two problems with their lines, and exit 1."""
    bad = LAYOUT.replace(b'type = "u8"', b'type = "u9"').replace(b"0x0020", b"0x9000")
    ship.write("bad.toml", bad)
    result = ship.answer("layout", "check", "bad.toml")
    assert result.code == 1
    assert len(result.document["problems"]) == 2
    assert all(each["line"] for each in result.document["problems"])
    ship.write("good.toml", LAYOUT)
    good = ship.answer("layout", "check", "good.toml")
    assert good.code == 0
    assert good.document["covered_bytes"] == 5


def test_an_open_visit_remembers_vessel_and_person(ship: Ship) -> None:
    """Between `visit open` and `visit close` the vessel need not be typed."""
    assert ship.answer("visit", "open", "grebe", "--by", "A. Person", "--new-vessel").code == 0
    ship.write("a.hex", dump())
    answer = ship.answer("archive", "a.hex", "--unit", "port-thruster", "--position", "U12")
    assert answer.document["where"] == "grebe/port-thruster/U12"
    closed = ship.answer("visit", "close")
    assert closed.document["reads"] == 1
    ship.write("b.hex", dump(), second=1)
    late = ship.answer("archive", "b.hex", "--unit", "port-thruster", "--position", "U12")
    assert (late.code, late.document["error"]["code"]) == (2, "visit-none-open")


def test_a_sister_dump_is_stopped_until_confirmed(ship: Ship) -> None:
    """Port and starboard mixed up: exit 2 with the figures; --position-confirmed passes it."""
    archive_two(ship)
    starboard = random.Random(8).randbytes(2048)
    ship.write("s.hex", dump(starboard), second=3)
    other = ("--vessel", "grebe", "--unit", "stbd-thruster", "--position", "U12")
    assert ship.run("archive", "s.hex", *other).code == 0
    ship.write("mixed.hex", dump(starboard), second=4)
    before = ship.tree()
    stopped = ship.answer("archive", "mixed.hex", *WHERE)
    assert stopped.code == 2
    assert stopped.document["error"]["code"] == "position-fits-elsewhere"
    assert "differs in 0 bytes" in stopped.document["error"]["found"]
    assert ship.tree() == before
    assert ship.answer("archive", "mixed.hex", *WHERE, "--position-confirmed").code == 0


def test_a_spare_card_has_its_own_dump(ship: Ship) -> None:
    """A card in the locker is filed by its serial number, never under a unit."""
    archive_two(ship)
    assert ship.answer("card", "add", "grebe", "PC-4471").code == 0
    ship.write("spare.hex", dump(b"\xff" * 2047 + b"\x00"), second=9)
    spare = ("--vessel", "grebe", "--card", "PC-4471", "--position", "U12")
    answer = ship.answer("archive", "spare.hex", *spare)
    assert answer.document["where"] == "grebe/card:PC-4471/U12"
    units = {each["where"] for each in ship.answer("catalogue").document["positions"]}
    assert units == {"grebe/port-thruster/U12", "grebe/card:PC-4471/U12"}


def test_amend_is_a_new_record_and_the_old_name_still_finds(ship: Ship) -> None:
    """After a rename the former name and the IMO number name the vessel too."""
    archive_two(ship)
    before = ship.tree()
    assert ship.answer("correct", "grebe", "--short-name", "heron", "--imo", "1234567").code == 0
    after = ship.tree()
    kept = {name: digest for name, digest in before.items() if "index" not in name}
    assert kept.items() <= {**after}.items()
    for name in ("heron", "grebe", "1234567", "IMO 1234567"):
        answer = ship.answer("catalogue", name)
        assert answer.document["positions"][0]["where"] == "heron/port-thruster/U12"


def test_the_new_cards_sheet_is_compared_entry_by_entry(ship: Ship) -> None:
    """A link that is set otherwise is named, and the swap is not ready."""
    archive_two(ship)
    ship.write("unit.toml", b'software = "2.3"\n[links]\nJ4 = "1-2"\n')
    ship.write("card.toml", b'software = "2.3"\n[links]\nJ4 = "2-3"\n')
    assert ship.answer("card", "record", "grebe/port-thruster", "unit.toml").code == 0
    words = ("swap", "check", "grebe/port-thruster/U12", "--new-card")
    wrong = ship.answer(*words, "card.toml")
    condition = next(
        each for each in wrong.document["conditions"] if each["condition"] == "new-card"
    )
    assert wrong.code == 1
    assert condition["met"] is False
    assert "links.J4" in condition["text"]
    ship.write("same.toml", b'links.J4 = "1-2"\nsoftware = "2.3"\n')
    assert ship.answer(*words, "same.toml").code == 0


def test_the_catalogue_tells_the_fleet_at_a_glance(ship: Ship) -> None:
    """How many, the oldest, what is not verified, what one backup location alone holds."""
    archive_two(ship)
    ship.write("old.hex", dump(changed(0x0100)), second=9)
    other = ("--vessel", "avocet", "--unit", "winch", "--position", "U3", "--read-on", "2020-02-01")
    assert ship.run("archive", "old.hex", *other).code == 0
    summary = ship.answer("catalogue").document["summary"]
    assert summary == {
        "vessels": 2,
        "positions": 2,
        "copies": 2,
        "verified": 1,
        "not_verified": ["avocet/winch/U3"],
        "in_no_backup_location": ["avocet/winch/U3", "grebe/port-thruster/U12"],
        "oldest": {"where": "avocet/winch/U3", "read_on": "2020-02-01"},
    }
    page = " ".join(ship.run("catalogue").out.split())
    assert "2 vessels, 2 positions, 2 copies" in page
    assert "avocet/winch/U3, read on 2020-02-01" in page
