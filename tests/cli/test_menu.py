"""`parambak --help`: a newcomer finds the command by what there is to do."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from parambak.cli.main import COMMANDS, GROUP_HELP
from parambak.cli.menu import SECTIONS
from tests.cli.invented import WHERE, archive_two, changed, dump

if TYPE_CHECKING:
    from tests.cli.conftest import Ship

AT = "grebe/port-thruster/U12"


def test_every_command_stands_in_one_section_in_the_order_of_the_work() -> None:
    """None is left out of the help, and none is shown twice."""
    assert [name for lines in SECTIONS.values() for name in lines] == list(COMMANDS)


def test_each_command_has_one_whole_line(ship: Ship) -> None:
    """Nothing is cut off or goes on below."""
    shown = ship.run("--help").out
    for title, lines in SECTIONS.items():
        assert f"\n{title}:\n" in shown
        for name, line in lines.items():
            assert f"\n  {name:<13}  {line}\n" in shown
    assert all(len(line) <= 80 for line in shown.splitlines())


@pytest.mark.parametrize("group", [name for name in COMMANDS if name in GROUP_HELP])
def test_nothing_is_cut_off_in_the_help_of_a_group(ship: Ship, group: str) -> None:
    """It goes on in the next line instead."""
    shown = ship.run(group, "--help").out
    assert "..." not in shown.replace("[ARGS]...", "")
    assert all(len(line) <= 80 for line in shown.splitlines())


def test_a_part_of_a_where_is_answered_with_the_positions_there(ship: Ship) -> None:
    """So that the next call can be right."""
    archive_two(ship)
    for part in ("grebe", "grebe/port-thruster"):
        error = ship.answer("history", part).document["error"]
        assert (error["code"], error["expected"]) == ("where-shape", AT)
    error = ship.answer("history", "grebe/none").document["error"]
    assert error["expected"] == "VESSEL/UNIT/POSITION"
    for number in range(1, 6):
        ship.write(f"{number}.hex", dump(changed(number)), second=number)
        words = ("--vessel", "grebe", "--unit", f"u{number}", "--position", "U1")
        ship.run("archive", f"{number}.hex", *words, "--position-confirmed")
    expected = ship.answer("history", "grebe").document["error"]["expected"]
    assert expected.endswith("or another of 6")
    assert expected.count(" or ") == 3 + 1


def test_the_catalogue_leads_to_what_changed(ship: Ship) -> None:
    """Once there is more than one copy: at one position, or over several."""
    archive_two(ship)
    assert "parambak history" not in ship.run("catalogue").out
    ship.write("c.hex", dump(changed(0x10)), second=3)
    ship.run("archive", "c.hex", *WHERE, "--position-confirmed")
    assert f"`parambak history {AT}`" in ship.run("catalogue").out
    words = ("--vessel", "grebe", "--unit", "stbd", "--position", "U1", "--position-confirmed")
    ship.write("d.hex", dump(changed(0x200)), second=4)
    ship.run("archive", "d.hex", *words)
    assert "`parambak history WHERE`" in ship.run("catalogue").out
