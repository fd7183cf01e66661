"""A small TOML file of a user's: the line of each key, and what is refused."""

from __future__ import annotations

from decimal import Decimal

import pytest
from msgspec import Struct

from parambak.errors import CallRefused, Fault, ParambakError
from parambak.layouts.toml_text import MAX_LINE, as_model, lines_of, mistake, read_toml

FAULT = Fault("limit-file", CallRefused, "The file cannot be used.", "Mend it.")
WHY = Fault("limit-file", CallRefused, "The file cannot be used: {why}", "Mend it.")


def refused(data: bytes) -> ParambakError:
    """Return what reading the file raises."""
    with pytest.raises(ParambakError) as error:
        read_toml(data, FAULT)
    return error.value


def test_the_line_of_each_entry_of_a_list_over_several_lines() -> None:
    """Of lists in lists and of tables in lists too; an entry on its list's own line has none."""
    lines = lines_of("a = [\n  1,\n  [2,\n   3],\n  {b = 4},\n  5, 6,\n]\nc = [7, 8]\nd.e = 9\n")
    assert lines["a",] == 1
    assert lines["a", 0] == 2
    assert lines["a", 1] == 3
    assert lines["a", 1, 1] == 4
    assert lines["a", 2] == lines["a", 2, "b"] == 5
    assert lines["a", 3] == lines["a", 4] == 6
    assert lines["c",] == 8
    assert ("c", 0) not in lines
    assert lines["d", "e"] == 9


def test_the_line_of_each_table() -> None:
    """Rows of a list of tables are counted, and the entries of a row belong to it."""
    lines = lines_of("[[f]]\nx = 1\n[[f]]\nx = 2\n[f.g]\ny = 3\n[[f.h]]\n[[f.h]]\nz = 4\n")
    assert [lines[path] for path in (("f", 0), ("f", 0, "x"), ("f", 1), ("f", 1, "x"))] == [
        1,
        2,
        3,
        4,
    ]
    assert (lines["f", 1, "g"], lines["f", 1, "g", "y"]) == (5, 6)
    assert (lines["f", 1, "h", 0], lines["f", 1, "h", 1, "z"]) == (7, 9)


def test_a_good_file_is_read_exactly() -> None:
    """A number with a point is a decimal, and each key has its line."""
    file = read_toml("# ähnlich\na = 0.1\n".encode(), FAULT)
    assert file.tree == {"a": Decimal("0.1")}
    assert file.line(("a", "b")) == 2
    assert file.line(("c",)) is None


def test_what_is_no_toml_names_its_line() -> None:
    """Bytes that are no UTF-8 have no line; the message of the parser is kept, its line apart."""
    error = refused(b"a = 1\nb = = 2\n")
    assert (error.line, error.expected) == (2, "TOML text in UTF-8")
    assert error.found == "Invalid value"
    assert refused(b"a = '\xff'").line is None
    number = refused(b"a = 1e99999999999999999999")
    assert (number.expected, number.found) == ("numbers of a few digits", "a larger one")


def test_size_and_line_are_bounded() -> None:
    """At the limit it passes, one more is refused, with the line that is too long."""
    read_toml(b"#" * MAX_LINE, FAULT)
    error = refused(b"a = 1\n" + b"#" * (MAX_LINE + 1))
    assert (error.line, error.found) == (2, f"{MAX_LINE + 1} bytes")
    assert error.expected == f"lines of at most {MAX_LINE} bytes"
    filled = (b"#" * 1023 + b"\n") * 256
    read_toml(filled, FAULT)
    error = refused(filled + b"\n")
    assert (error.expected, error.found) == ("at most 262144 bytes", "262145 bytes")


class Row(Struct, forbid_unknown_fields=True):
    """One row of an invented file."""

    low: int


class Page(Struct, forbid_unknown_fields=True):
    """An invented file."""

    row: list[Row]


@pytest.mark.parametrize(
    ("text", "line", "text_of_it"),
    [
        ('[[row]]\nlow = 1\n[[row]]\nlow = "2"\n', 4, "row.2.low: Expected `int`, got `str`"),
        ("[[row]]\nlow = 1\nhigh = 2\n", 3, "row.1.high: unknown key"),
        ("x = 1\n", 1, "x: unknown key"),
    ],
)
def test_a_mistake_has_its_key_and_line(text: str, line: int, text_of_it: str) -> None:
    """Rows counted from 1; what the keys are is on the page named."""
    with pytest.raises(CallRefused) as error:
        as_model(read_toml(text.encode(), WHY), Page, WHY, "formats/limits.md", {})
    assert (error.value.line, error.value.expected) == (line, "the keys of formats/limits.md")
    assert error.value.text.endswith(text_of_it)
    assert error.value.found == text_of_it.partition(": ")[2]


def test_a_message_cannot_fill_in_the_text_of_another() -> None:
    """Braces of a user's file are no names to be filled in, and a long text is cut."""
    error = mistake(read_toml(b"a = 1\n", WHY), ("a",), "{why}" + "x" * 300, WHY, "p.md")
    assert isinstance(error, ParambakError)
    assert error.found == "(why)" + "x" * 195
    assert error.line == 1
