from __future__ import annotations

from typing import TYPE_CHECKING

from tests.find.test_search import VALUES, memories

if TYPE_CHECKING:
    from tests.cli.conftest import Ship


def prepared(ship: Ship) -> tuple[str, ...]:
    """Write two visits and the list of values; return the call."""
    old, new = memories()
    ship.write("a.bin", bytes(old))
    ship.write("b.bin", bytes(new))
    ship.write("panel.txt", VALUES.encode().replace(b"12.5", b"12,5"))
    return "layout", "find", "a.bin", "b.bin", "--values", "panel.txt"


def test_values_are_found_and_written_as_a_layout(ship: Ship) -> None:
    """`layout find` answers 0 with candidates and evidence, and its layout has no mistakes."""
    result = ship.answer(*prepared(ship), "--out", "draft.toml")
    first = result.document["values"][1]
    assert result.code == 0
    assert (first["name"], first["confident"]) == ("t1", True)
    candidate = first["candidates"][0]
    assert (candidate["at"], candidate["type"], candidate["byte_order"]) == (0x0242, "u16", "big")
    assert candidate["scale"] == "0.1"
    assert candidate["odds"] >= 200
    assert "30.0 s is stored as 012C" in candidate["evidence"][0]
    assert result.document["checks"] == []
    assert "line 1: 12,5 taken as 12.5" in result.document["notes"]
    assert ship.answer("layout", "check", "draft.toml").code == 0
    assert not ship.vault.exists()


def test_nothing_certain_is_a_negative_answer(ship: Ship) -> None:
    """Exit 1 where nothing is found with confidence; the page says what would help."""
    prepared(ship)
    ship.write("one.txt", b"ghost = 7123 rpm\n")
    result = ship.run("layout", "find", "a.bin", "--values", "one.txt")
    assert result.code == 1
    assert "Give more values" in result.out


def test_the_page_shows_each_value_and_does_not_overwrite(ship: Ship) -> None:
    """The page is a table; a file that exists is kept unless --replace is given."""
    call = (*prepared(ship), "--out", "draft.toml")
    result = ship.run(*call)
    assert "0x0240" in result.out
    assert "u16 big x 0.1" in result.out
    assert all(len(line) <= 80 for line in result.out.splitlines())
    assert ship.run(*call).code == 2
    assert ship.run(*call, "--replace").code == 0


def test_a_wrong_list_names_its_file_and_line(ship: Ship) -> None:
    """The refusal is the list's own, with the file."""
    prepared(ship)
    ship.write("bad.txt", b"a = 1\nb = 1 | 2 | 3\n")
    result = ship.answer("layout", "find", "a.bin", "b.bin", "--values", "bad.txt")
    error = result.document["error"]
    assert result.code == 2
    assert (error["code"], error["file"], error["line"]) == ("layout-find-count", "bad.txt", 2)
