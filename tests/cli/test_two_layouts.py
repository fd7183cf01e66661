"""`diff` and `swap read-back` by two layouts: the upgrade case, values and no bytes."""

from __future__ import annotations

import hashlib
import json
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from tests.cli.conftest import Ship

WHERE = ("--vessel", "grebe", "--unit", "port-thruster", "--position", "U12")
OLD = b"""
[layout]
title = "invented, software 3"
memory = 64
byte-order = "big"
[[field]]
name = "ramp_up_time"
at = 0
type = "u16"
scale = 0.1
unit = "s"
[[field]]
name = "version"
at = 4
type = "text"
length = 4
[[field]]
name = "run_hours"
at = 8
type = "u32"
running = true
[[check]]
name = "sum"
method = "sum-16"
over = [[0, 61]]
at = 62
"""
NEW = b"""
[layout]
title = "invented, software 4"
memory = 128
byte-order = "little"
[[field]]
name = "ramp_up"
at = 0x20
type = "u32"
scale = 0.001
unit = "s"
high = 20.000
[[field]]
name = "version"
at = 4
type = "text"
length = 4
[[field]]
name = "run_hours"
at = 8
type = "u32"
running = true
[[field]]
name = "soft_start"
at = 14
type = "u8"
[[check]]
name = "sum"
method = "sum-16"
over = [[0, 0x7D]]
at = 0x7E
"""
RENAMES = b'ramp_up_time = "ramp_up"\nversion = false\n'
BOTH = ("--old-layout", "old.toml", "--layout", "new.toml", "--renames", "renames.toml")


def old_memory(ramp: int = 125) -> bytes:
    """Return a memory of the old software."""
    data = bytearray(64)
    data[0:2] = ramp.to_bytes(2, "big")
    data[4:8] = b"3.1 "
    data[8:12] = (7000).to_bytes(4, "big")
    data[62:] = sum(data[:62]).to_bytes(2, "big")
    return bytes(data)


def new_memory(ramp: int = 12500, hours: int = 7000, *, check: int = 0) -> bytes:
    """Return a memory of the new software; `check` makes its sum wrong."""
    data = bytearray(128)
    data[0x20:0x24] = ramp.to_bytes(4, "little")
    data[4:8] = b"4.0 "
    data[8:12] = hours.to_bytes(4, "little")
    data[126:] = (sum(data[:126]) + check).to_bytes(2, "little")
    return bytes(data)


@pytest.fixture
def upgrade(ship: Ship) -> Ship:
    """Return a ship with a verified copy of the old software, and both layouts."""
    ship.write("old.toml", OLD)
    ship.write("new.toml", NEW)
    ship.write("renames.toml", RENAMES)
    ship.write("a.bin", old_memory())
    ship.write("b.bin", old_memory(), second=1)
    ship.write("new.bin", new_memory())
    return ship


def archived(ship: Ship) -> Ship:
    """Archive two reads of the old memory."""
    assert ship.run("archive", "a.bin", "b.bin", *WHERE, "--layout", "old.toml").code == 0
    return ship


def test_diff_by_two_layouts_tells_values_and_no_bytes(upgrade: Ship) -> None:
    """The ramp time is the same though every byte moved; what has no counterpart is listed."""
    upgrade.write("late.bin", new_memory(hours=7001))
    result = upgrade.answer("diff", "a.bin", "late.bin", *BOTH)
    found = result.document
    assert result.code == 1
    assert (found["same"], found["bytes_compared"], found["changed_bytes"]) == (False, False, None)
    assert found["same_values"] == 1
    (hours,) = found["fields"]
    assert (hours["field"], hours["old"], hours["new"]) == ("run_hours", "7000", "7001")
    assert hours["running"] is True
    lost = {each["old_field"]: each for each in found["not_carried"] if each["old_field"]}
    assert lost["version"]["excused"] is True
    alone = [each for each in found["not_carried"] if each["old_field"] is None]
    assert [each["field"] for each in alone] == ["version", "soft_start"]
    assert {each["why"] for each in alone} == {"the old layout has no such field"}
    page = upgrade.run("diff", "a.bin", "late.bin", *BOTH).out
    assert "NOT BYTES" in page
    assert "Ask the maker what changed" in page
    assert max(map(len, page.splitlines())) <= 80


def test_a_value_that_does_not_fit_is_said_with_the_reason(upgrade: Ship) -> None:
    """25.0 s lies outside what the new layout allows."""
    upgrade.write("slow.bin", old_memory(ramp=250))
    found = upgrade.answer("diff", "slow.bin", "new.bin", *BOTH).document
    (lost,) = [each for each in found["not_carried"] if each["old_field"] == "ramp_up_time"]
    assert lost["why"] == "outside the new limits, … to 20.000"
    assert (lost["old"], lost["new"], lost["old_unit"]) == ("25.0", "12.500", "s")


def test_read_back_of_other_software_is_judged_by_values(upgrade: Ship) -> None:
    """Loaded correctly: every old value stands in the new layout, and its check holds."""
    archived(upgrade)
    words = ("swap", "read-back", "grebe/port-thruster/U12")
    rest = ("--layout", "new.toml", "--renames", "renames.toml")
    result = upgrade.answer(*words, "new.bin", *rest)
    assert result.code == 0
    assert result.document["loaded_correctly"] is True
    assert result.document["bytes_compared"] is False
    page = upgrade.run(*words, "new.bin", *rest).out
    assert "LOADED CORRECTLY, BY VALUES" in page
    assert "Ask the maker what changed" in page

    upgrade.write("bad.bin", new_memory(ramp=12400, check=1))
    result = upgrade.answer(*words, "bad.bin", *rest)
    assert result.code == 1
    (change,) = result.document["differences"]
    assert (change["old_field"], change["field"]) == ("ramp_up_time", "ramp_up")
    assert (change["old"], change["new"]) == ("12.5", "12.400")
    assert result.document["failing_checks"] == ["sum"]
    assert "stored check sum holds: NO" in upgrade.run(*words, "bad.bin", *rest).out

    # Without the table of renames, what is not matched was not carried over.
    result = upgrade.answer(*words, "new.bin", "--layout", "new.toml")
    assert (result.code, result.document["loaded_correctly"]) == (1, False)
    names = [each["old_field"] for each in result.document["not_carried"]]
    assert "ramp_up_time" in names


def test_what_told_the_values_apart_is_in_the_vault(upgrade: Ship) -> None:
    """Both layouts, the file that one includes, the renames: as given, and named in the record."""
    archived(upgrade)
    part = NEW[NEW.index(b"[[field]]") :]
    whole = NEW[: NEW.index(b"[[field]]")] + b'include = ["part.toml"]\n'
    upgrade.write("part.toml", part)
    upgrade.write("new.toml", whole)
    upgrade.write("same.toml", OLD + b"# the maker's\n")
    words = ("swap", "read-back", "grebe/port-thruster/U12", "new.bin", "--layout", "new.toml")
    rest = ("--renames", "renames.toml", "--old-layout", "same.toml")
    for more, old in (((), OLD), (rest, OLD + b"# the maker's\n")):
        before = upgrade.tree()
        assert upgrade.answer(*words, *more).code in {0, 1}
        (name,) = [
            n for n in upgrade.tree().keys() - before.keys() if n.startswith("vault/records")
        ]
        record = json.loads((upgrade.folder / name).read_bytes())
        kept = [old, whole, part, *([RENAMES] if more else [])]
        for data in kept:
            digest = hashlib.sha256(data).hexdigest()
            assert digest in record["objects"]
            assert upgrade.tree()[f"vault/objects/{digest[:2]}/{digest}"] == digest
        assert ("renames" in record["body"]) == bool(more)
        assert record["body"]["layout"]["parts"][0]["name"] == "part.toml"
    assert upgrade.run("recheck").code == 0


def test_a_counter_may_move_after_power_and_not_before(upgrade: Ship) -> None:
    """The stages mean for values what they mean for bytes."""
    archived(upgrade)
    upgrade.write("late.bin", new_memory(hours=7001))
    words = ("swap", "read-back", "grebe/port-thruster/U12", "late.bin", "--layout", "new.toml")
    before = upgrade.answer(*words, "--renames", "renames.toml")
    assert [each["field"] for each in before.document["differences"]] == ["run_hours"]
    after = upgrade.answer(*words, "--renames", "renames.toml", "--stage", "after-power")
    assert after.document["loaded_correctly"] is True
    assert [each["field"] for each in after.document["running_differences"]] == ["run_hours"]


def test_one_layout_alone_and_a_bad_table_are_refused(upgrade: Ship) -> None:
    """With code, file and line."""
    refused = upgrade.answer("diff", "a.bin", "new.bin", "--renames", "renames.toml")
    assert (refused.code, refused.document["error"]["code"]) == (2, "two-layouts-needed")
    refused = upgrade.answer("diff", "a.bin", "new.bin", "--old-layout", "old.toml")
    assert refused.document["error"]["code"] == "two-layouts-needed"
    upgrade.write("renames.toml", b'\nramp_up_tim = "ramp_up"\n')
    error = upgrade.answer("diff", "a.bin", "new.bin", *BOTH).document["error"]
    assert (error["code"], error["file"], error["line"]) == ("renames-unknown", "renames.toml", 2)
    assert "ramp_up_time" in error["next"]
    upgrade.write("renames.toml", b"= 1\n")
    error = upgrade.answer("diff", "a.bin", "new.bin", *BOTH).document["error"]
    assert (error["code"], error["file"]) == ("layout-syntax", "renames.toml")
    archived(upgrade)
    words = ("swap", "read-back", "grebe/port-thruster/U12", "new.bin")
    refused = upgrade.answer(*words, "--old-layout", "old.toml")
    assert refused.document["error"]["code"] == "two-layouts-needed"
