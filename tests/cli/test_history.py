"""`history`: every value, who read it and when, and what the reads together tell."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.cli.invented import LAYOUT, MEMORY, WHERE, dump

if TYPE_CHECKING:
    from tests.cli.conftest import Ship

AT = "grebe/port-thruster/U12"
LEVELS = (20, 80, 20, 80)


def memory(level: int, hours: int, more: int) -> bytes:
    """Return the invented memory with these values, and a byte that no field covers."""
    data = bytearray(MEMORY)
    data[0x10], data[0x300] = level, more
    data[0x20:0x24] = hours.to_bytes(4, "big")
    return bytes(data)


@pytest.fixture
def years(ship: Ship) -> Ship:
    """Four years: a level that goes back and forth, hours that count, a byte that loses bits."""
    ship.write("layout.toml", LAYOUT)
    for year, level in enumerate(LEVELS):
        data = memory(level, 100 * year, (0x10, 0x10, 0x11, 0x13)[year])
        name = ship.write(f"{year}.hex", dump(data), second=year)
        words = (*WHERE, "--layout", "layout.toml", "--read-on", f"202{year}-03-01")
        assert ship.run("archive", name, *words, "--by", f"Reader {year}").code == 0
    return ship


def test_every_change_has_its_day_its_reader_and_its_sort(years: Ship) -> None:
    """`copies` and `changes`, exit 0."""
    result = years.answer("history", AT)
    assert result.code == 0
    copies = result.document["copies"]
    assert [copy["reads"][0]["read_by"] for copy in copies] == [f"Reader {n}" for n in range(4)]
    told = [(each["field"], each["kind"], each["read_on"]) for each in result.document["changes"]]
    assert told[:2] == [
        ("level", "alternates", "2021-03-01"),
        ("run_hours", "running", "2021-03-01"),
    ]
    fading = [each for each in result.document["changes"] if each["kind"] == "fading"]
    assert [(each["field"], each["at"]) for each in fading] == [(None, 0x300), (None, 0x300)]


def test_the_page_has_the_last_change_of_every_field(years: Ship) -> None:
    """One table; what goes back and forth and what fades is said at the end."""
    page = years.run("history", AT).out
    assert "2023-03-01   level      20 to 80    alternates (3)" in page
    assert "▁█▁█" in page
    assert "Alternates: level." in page
    assert "Cells may be fading: 0x0300." in page
    assert max(len(line) for line in page.splitlines()) <= 80


def test_it_goes_on_where_new_software_has_a_larger_memory(years: Ship) -> None:
    """What the present layout does not tell is named, and told by the old one."""
    assert b"memory = 2048" in LAYOUT
    years.write("new.toml", LAYOUT.replace(b"memory = 2048", b"memory = 4096"))
    for year, level in ((4, 30), (5, 40)):
        data = memory(level, 100 * year, 0x10)
        name = years.write(f"{year}.hex", dump(data + data), second=year)
        words = (*WHERE, "--layout", "new.toml", "--read-on", f"202{year}-03-01")
        done = years.run("archive", name, *words, "--by", "A. Person")
        assert done.code == 0, done.err
    now = years.answer("history", AT)
    assert [len(now.document[key]) for key in ("copies", "other_layout")] == [2, 4]
    assert [(c["field"], c["new"]) for c in now.document["changes"][:1]] == [("level", "40")]
    page = " ".join(years.run("history", AT).out.split())
    assert "Left out, because another layout is needed" in page
    before = years.answer("history", AT, "--layout", "layout.toml")
    assert [len(before.document[key]) for key in ("copies", "other_layout")] == [4, 2]
    years.write("third.toml", LAYOUT.replace(b"memory = 2048", b"memory = 8192"))
    assert years.answer("history", AT, "--layout", "third.toml").code == 2


def test_one_field_shows_every_value(years: Ship) -> None:
    """With by how much, and who read it."""
    page = years.run("history", AT, "--field", "run_hours").out
    assert "2021-03-01 100 +100 running Reader 1" in " ".join(page.split())
    document = years.answer("history", AT, "--field", "run_hours").document
    assert document["field"]["values"] == ["0", "100", "200", "300"]
    assert {each["field"] for each in document["changes"]} == {"run_hours"}


def test_an_output_without_blocks_gets_a_plain_line(years: Ship) -> None:
    """Nothing that the terminal cannot write."""
    page = years.run("history", AT, "--field", "level", PYTHONIOENCODING="ascii").out
    assert "_#_#" in page
    assert page.isascii()


def test_what_cannot_be_shown_is_refused(years: Ship) -> None:
    """A name that the layout has not, and a position without any read."""
    wrong = years.answer("history", AT, "--field", "levle").document["error"]
    assert (wrong["code"], wrong["expected"]) == ("history-field", "level")
    assert years.answer("history", "grebe/none/U1").code == 2


def test_without_a_layout_bytes_are_told(ship: Ship) -> None:
    """Stretches, as unmapped; a field cannot be asked for."""
    for year in range(2):
        name = ship.write(f"{year}.hex", dump(memory(20 + year, 0, 0)), second=year)
        ship.run("archive", name, *WHERE, "--read-on", f"202{year}-03-01")
    (change,) = ship.answer("history", AT).document["changes"]
    assert (change["field"], change["kind"], change["at"]) == (None, "unmapped", 0x10)
    assert "There is no layout" in ship.run("history", AT).out
    error = ship.answer("history", AT, "--field", "level").document["error"]
    assert error["code"] == "layout-needed"


def test_what_nobody_wrote_down_is_named_until_somebody_does(years: Ship) -> None:
    """Each change that asks for an answer, with its days; counters do not ask."""

    def unwritten() -> list[tuple[str, str]]:
        found = years.answer("history", AT).document["not_written_down"]
        return [(each["what"], each["read_on"]) for each in found]

    assert unwritten() == [
        ("level", "2021-03-01"),
        ("level", "2022-03-01"),
        ("level", "2023-03-01"),
        ("0x0300", "2022-03-01"),
        ("0x0300", "2023-03-01"),
    ]
    page = " ".join(years.run("history", AT).out.split())
    assert "Without a remark: level (2021-03-01, 2022-03-01, 2023-03-01); 0x0300" in page
    years.run("diff", f"{AT}@1", f"{AT}@2", "--remark", "as agreed", "--by", "A. Fitter")
    assert ("level", "2021-03-01") not in unwritten()
    assert ("level", "2022-03-01") in unwritten()
