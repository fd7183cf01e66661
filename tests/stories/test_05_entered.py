"""Units, positions and layouts are put on record by themselves, and slips in names are asked about.

A person's name is asked for once.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.stories.small_unit import NEW_LAYOUT, OLD_LAYOUT, memory

if TYPE_CHECKING:
    from tests.stories.conftest import Laptop

BY = "--by 'A. Fitter'"
WHERE = "grebe/winch/U12"
AT = "--vessel grebe --unit winch --position U12"


def records(laptop: Laptop) -> int:
    """Return how many records the vault holds."""
    return sum(name.startswith("records") for name in laptop.files())


def test_a_ship_is_entered_before_any_chip_is_read(laptop: Laptop) -> None:
    """Unit and position come first, the read finds them; nothing is made twice."""
    laptop.refused(f"unit add grebe/winch {BY}", "vault-absent")
    assert "new vessel grebe, new unit winch" in laptop.yes(
        f"unit add grebe/winch --maker-type TC-4 --installed-in 'fore deck' --new-vessel {BY}"
    )
    assert "chip 28C16" in laptop.yes(f"position add {WHERE} --chip 28c16 {BY}")
    position = laptop.json("catalogue")["positions"][0]
    assert (position["where"], position["copies"], position["verified"]) == (WHERE, 0, False)
    laptop.dump("R1.BIN", memory(1) * 8)
    answer = laptop.json(f"archive R1.BIN {AT} {BY}")
    assert (answer["where"], answer["made"]) == (WHERE, [])
    assert records(laptop) == 4  # the vault, the unit, the position, the read


def test_what_is_on_record_or_names_nothing_is_refused(laptop: Laptop) -> None:
    """Each refusal leaves the vault as it was."""
    laptop.yes(f"unit add grebe/winch --new-vessel {BY}")
    laptop.yes(f"position add {WHERE} {BY}")
    error = laptop.refused(f"unit add grebe/WINCH {BY}", "add-on-record")
    assert "parambak correct grebe/winch" in error["next"]
    laptop.refused(f"position add grebe/winch/u12 {BY}", "add-on-record")
    laptop.refused(f"position add grebe/crane/U12 {BY}", "where-unit")
    laptop.refused(f"position add grebe/winch {BY}", "where-shape")
    laptop.refused(f"unit add grebe {BY}", "unit-where")
    laptop.refused(f"unit add grebe/card:PC-1 {BY}", "unit-where")
    laptop.refused(f"unit add grebe/winch/U12 {BY}", "unit-where")
    laptop.refused(f"position add grebe/winch/U13 --chip 28C1600 {BY}", "chip-unknown")
    laptop.refused(f"unit add knot/winch {BY}", "name-vessel-new")
    laptop.refused(f"unit add 'grebe/two winches' {BY}", "name-shape")


@pytest.mark.parametrize(
    ("recorded", "typed", "asked"),
    [
        ("port-thruster", "prot-thruster", True),
        ("port-thruster", "port-thrusters", True),
        ("U10", "U1O", True),
        ("winch", "w1nch", True),
        ("U12", "U13", False),
        ("pump-a", "pump-b", False),
        ("port", "aft", False),
        ("ME1", "AE1", False),
    ],
)
def test_a_name_that_is_almost_another_is_asked_about(
    laptop: Laptop, recorded: str, typed: str, asked: bool
) -> None:
    """The same for a unit and a position; names that only number their things are not asked about.

    With `--new-unit` or `--new-position` the call goes through.
    """
    laptop.yes(f"unit add grebe/{recorded} --new-vessel {BY}")
    laptop.yes(f"position add grebe/{recorded}/{recorded} {BY}")
    laptop.dump("R1.BIN", memory())
    in_unit = f"archive R1.BIN --vessel grebe --unit {recorded} --position {typed} {BY}"
    in_other = f"archive R1.BIN --vessel grebe --unit {typed} --position U1 {BY}"
    if asked:
        error = laptop.refused(in_unit, "name-almost")
        assert (error["expected"], error["found"]) == (recorded, typed)
        assert "--new-position" in error["next"]
        assert "--new-unit" in laptop.refused(in_other, "name-almost")["next"]
        laptop.refused(f"unit add grebe/{typed} {BY}", "name-almost")
        laptop.refused(f"position add grebe/{recorded}/{typed} {BY}", "name-almost")
        in_unit, in_other = f"{in_unit} --new-position", f"{in_other} --new-unit"
    laptop.yes(in_unit)
    laptop.yes(f"{in_other} --position-confirmed")


def test_a_layout_is_attached_without_a_read(laptop: Laptop) -> None:
    """The newest attached counts, however it came; one that is there already is not kept again."""
    laptop.write("OLD.toml", OLD_LAYOUT)
    laptop.write("NEW.toml", NEW_LAYOUT)
    laptop.dump("R1.BIN", memory())
    laptop.dump("R2.BIN", memory())
    laptop.yes(f"archive R1.BIN R2.BIN {AT} {BY}")
    laptop.refused(f"decode {WHERE}", "layout-needed")
    text = laptop.yes(f"layout attach {WHERE} OLD.toml {BY}")
    assert f"OLD.toml is the layout of {WHERE}" in text
    assert "is verified with it" in text
    assert "ramp_up_time" in laptop.yes(f"decode {WHERE}")
    assert laptop.json(f"layout attach {WHERE} NEW.toml {BY}")["before"] == "OLD.toml"
    before = records(laptop)
    again = laptop.json(f"layout attach {WHERE} NEW.toml {BY}")
    assert (again["attached"], records(laptop)) == (False, before)
    laptop.dump("R3.BIN", memory(ramp=160))
    laptop.yes(f"archive R3.BIN {AT} --layout OLD.toml {BY}")
    assert "ramp_up_time" in laptop.yes(f"decode {WHERE}")
    laptop.yes("recheck")


def test_a_layout_that_does_not_fit_is_refused(laptop: Laptop) -> None:
    """It is for another size of memory than the chip, or than the latest copy."""
    laptop.write("SMALL.toml", OLD_LAYOUT.replace("256", "255"))
    laptop.write("BAD.toml", OLD_LAYOUT.replace("u16", "u17"))
    laptop.yes(f"unit add grebe/winch --new-vessel {BY}")
    laptop.yes(f"position add {WHERE} --chip 28C16 {BY}")
    laptop.refused(f"layout attach {WHERE} SMALL.toml {BY}", "layout-chip-differs")
    laptop.yes(f"position add grebe/winch/U20 {BY}")
    laptop.dump("R1.BIN", memory())
    laptop.yes(f"archive R1.BIN --vessel grebe --unit winch --position U20 {BY}")
    assert (
        laptop.refused(f"layout attach grebe/winch/U20 SMALL.toml {BY}", "layout-other-memory")[
            "file"
        ]
        == "SMALL.toml"
    )
    error = laptop.refused(f"layout attach grebe/winch/U20 BAD.toml {BY}", "layout-unknown-word")
    assert error["file"] == "BAD.toml"
    laptop.refused(f"layout attach grebe/winch/U21 SMALL.toml {BY}", "where-position")


def test_a_lost_layout_is_named_by_what_it_is(laptop: Laptop) -> None:
    """The copy is not verified any more, and `recheck` says which layout is lost."""
    laptop.write("OLD.toml", OLD_LAYOUT)
    laptop.dump("R1.BIN", memory())
    laptop.yes(f"archive R1.BIN {AT} {BY}")
    sha256 = laptop.json(f"layout attach {WHERE} OLD.toml {BY}")["sha256"]
    (laptop.vault / "objects" / sha256[:2] / sha256).unlink()
    (damaged,) = laptop.json("recheck", 3)["damaged"]
    assert f"the layout OLD.toml of {WHERE}" in str(damaged)
    unmet = laptop.json("catalogue")["positions"][0]["unmet"]
    assert "unchanged-on-disk" in {condition["condition"] for condition in unmet}


def test_a_person_is_asked_once_for_the_name(laptop: Laptop) -> None:
    """On a terminal; it is remembered in the user's own folder, and the answers say so."""
    laptop.dump("R1.BIN", memory())
    asked = laptop.run(f"archive R1.BIN {AT}", typed="A. Fitter\n")
    assert asked.code == 0
    assert "Your name" in asked.text
    assert f"Remembered in {laptop.own / 'person'}" in asked.text
    laptop.dump("R2.BIN", memory(ramp=160))
    again = laptop.run(f"archive R2.BIN {AT} --position-confirmed", typed="")
    assert again.code == 0
    assert "Your name" not in again.text
    assert "by A. Fitter, as remembered on this laptop" in again.text
    laptop.dump("R3.BIN", memory(ramp=170))
    named = laptop.yes(f"archive R3.BIN {AT} --by 'B. Mate'")
    assert "as remembered" not in named
    reads = [r for copy in laptop.json(f"history {WHERE}")["copies"] for r in copy["reads"]]
    assert [read["read_by"] for read in reads] == ["A. Fitter", "A. Fitter", "B. Mate"]


def test_nobody_is_asked_with_json_or_without_a_terminal(laptop: Laptop) -> None:
    """The read is on record without a name, as before; an empty line asks again the next time."""
    laptop.dump("R1.BIN", memory())
    assert "Your name" not in laptop.yes(f"archive R1.BIN {AT}")
    result = laptop.run(f"--json archive R1.BIN {AT} --no-file-times", typed="A. Fitter\n")
    assert (result.code, "Your name" in result.err) == (0, False)
    empty = laptop.run(f"archive R1.BIN {AT} --no-file-times", typed="\n")
    assert (empty.code, "No name is recorded" in empty.text) == (0, True)
    assert not (laptop.own / "person").exists()
    laptop.run(f"archive R1.BIN {AT} --no-file-times", typed="\x1b[2J\n")
    assert not (laptop.own / "person").exists()
    (laptop.own / "person").write_bytes(b"\xff\n")
    assert "as remembered" not in laptop.yes(f"archive R1.BIN {AT} --no-file-times")


def test_the_person_of_an_open_visit_is_not_asked_for(laptop: Laptop) -> None:
    """The visit names one, and needs one: no visit makes a vessel or is opened silently."""
    laptop.refused("visit open nope --new-vessel", "visit-person")
    laptop.refused(f"visit open nope {BY}", "name-vessel-new")
    asked = laptop.run("visit open grebe --new-vessel", typed="A. Fitter\n")
    assert (asked.code, "Your name" in asked.text) == (0, True)
    (laptop.own / "person").unlink()
    laptop.refused("visit open nope", "visit-person")
    laptop.refused(f"visit open grebes {BY}", "name-vessel-near")
    laptop.dump("R1.BIN", memory())
    quiet = laptop.run("archive R1.BIN --unit winch --position U12", typed="")
    assert (quiet.code, "Your name" in quiet.text) == (0, False)
    assert len(laptop.json("catalogue")["positions"]) == 1
