"""Card sheets: the shapes of the page, hostile files refused, two compared entry by entry."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from parambak.errors import SheetRefused
from parambak.keeping.state.conditions import SheetEntry
from parambak.layouts.toml_text import MAX_BYTES
from parambak.swap.card_sheet import (
    FREE,
    FUNCTION_TESTS,
    NOT_STATED,
    REQUIRED,
    ROWS,
    TABLES,
    UNKNOWN,
    Sheet,
    compare_sheets,
    meaning,
    mistyped,
    read_sheet,
)

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "formats" / "card-sheet.md").read_text("utf-8")
BLANK = (ROOT / "shared" / "cards" / "blank.toml").read_bytes()

SHEET = b"""
card-type = "TC-2"
clock-mhz = 7.3728
terminated = true
fitted = 2026-03-01
"node address" = 0x11

[links]
J1 = "1-2"
J2 = false

[[program]]
position = "U7"
version = "3.1"

[[program]]
position = "U 8"
switches = [1, 0]

[rack]
switches = [[1, 0], []]

[[rack.slot]]
type = "AI"
"""


def load_sheet(data: bytes, name: str = "card sheet") -> dict[str, str]:
    """Return a sheet's entries by dotted name."""
    return read_sheet(data, name).entries


def refusal(data: bytes) -> SheetRefused:
    """Return how a sheet is refused."""
    with pytest.raises(SheetRefused) as refused:
        load_sheet(data, "s.toml")
    return refused.value


def test_entries_are_joined_to_dotted_names() -> None:
    """Tables and lists of any depth; program memories by their position; every value as a text."""
    assert load_sheet(SHEET) == {
        "card-type": "TC-2",
        "clock-mhz": "7.3728",
        "terminated": "yes",
        "fitted": "2026-03-01",
        '"node address"': "17",
        "links.J1": "1-2",
        "links.J2": "no",
        "program.U7.position": "U7",
        "program.U7.version": "3.1",
        'program."U 8".position': "U 8",
        'program."U 8".switches.1': "1",
        'program."U 8".switches.2': "0",
        "rack.switches.1.1": "1",
        "rack.switches.1.2": "0",
        "rack.slot.1.type": "AI",
    }


def test_the_example_of_the_page_gives_the_entries_of_the_page() -> None:
    """Both as they stand there, and what it is for."""
    example, listed = (
        re.search(rf"```{tag}\n(.*?)```", PAGE, re.DOTALL) for tag in ("toml", "text")
    )
    assert example is not None
    assert listed is not None
    sheet = read_sheet(example[1].encode())
    told = [re.split(r" {2,}", line) for line in listed[1].splitlines()]
    assert sorted(sheet.entries.items()) == [(name, text) for name, text in told]
    assert sheet.target == {"vessel": "grebe", "unit": "port-thruster"}


def test_the_page_names_every_known_table_and_key() -> None:
    """What the program knows is what the page says."""
    rows = {
        name: set(re.findall(r"`([a-z0-9-]+)`", keys))
        for name, keys in re.findall(r"^\| `\[+([a-z-]+)\]+` \| ([^|]+) \|", PAGE, re.MULTILINE)
    }
    known = {name: set(keys) for name, keys in (*TABLES.items(), *ROWS.items())}
    assert rows == {**known, FUNCTION_TESTS: {REQUIRED}}


def test_the_blank_sheet_states_nothing_and_all_of_its_lines_are_sound() -> None:
    """As it is shipped; and with every # taken away, it states each known key there is."""
    assert read_sheet(BLANK) == Sheet({}, {})
    filled = read_sheet(re.sub(rb'(?m)^#(?=[\["a-z])', b"", re.sub(rb"#(?=[A-Z]+\d)", b"", BLANK)))
    stated = {name.partition(".")[0] for name in filled.entries}
    assert stated == {"card", "program", "node", "battery", "interface", *FREE}
    assert set(filled.target) == {"vessel", "unit", "card"}


def test_a_number_with_a_point_is_kept_as_it_is_typed() -> None:
    """Software 3.20 is another than 3.2: a swap must not pass for want of a nought."""
    unit, card = load_sheet(b"software = 3.20\n"), load_sheet(b"software = 3.2\n")
    assert compare_sheets(unit, card) == (SheetEntry("software", "3.20", "3.2", same=False),)


def test_a_quoted_name_with_a_dot_is_not_a_table() -> None:
    """Neither hides the other."""
    sheet = load_sheet(b'"a.b" = 1\n[a]\nb = 2\n')
    assert sheet == {'"a.b"': "1", "a.b": "2"}


def test_program_memories_are_told_apart_by_their_places_not_their_order() -> None:
    """The same two, listed the other way round, are the same."""
    one = b'[[program]]\nposition = "U7"\nversion = 1\n[[program]]\nposition = "U8"\nversion = 2\n'
    other = (
        b'[[program]]\nposition = "u8"\nversion = 2\n[[program]]\nposition = "U7"\nversion = 1\n'
    )
    found = {e.name: e.same for e in compare_sheets(load_sheet(one), load_sheet(other))}
    assert found["program.U7.version"] is True
    assert found["program.U8.version"] is True


def test_sums_are_compared_without_regard_to_case() -> None:
    """And a digest too; a label is not."""
    one = load_sheet(
        b"[[program]]\nposition = 1\nsum-16 = '9c41'\nsha-256 = '" + b"AB" * 32 + b"'\n"
    )
    assert one["program.1.sum-16"] == "9C41"
    assert one["program.1.sha-256"] == "ab" * 32
    assert load_sheet(b"[card]\ntype = 'tc-2'\n") != load_sheet(b"[card]\ntype = 'TC-2'\n")


@pytest.mark.parametrize("text", ["2026-03-01", '"2026-03-01"', '"2026-03"', '"2026"', "2026"])
def test_a_batterys_date_is_a_day_a_month_or_a_year(text: str) -> None:
    """As it stands on the battery."""
    data = f"[battery]\nfitted = {text}\n".encode()
    assert load_sheet(data) == {"battery.fitted": text.strip('"')}


def test_what_is_empty_or_a_note_states_nothing() -> None:
    """Empty texts, empty tables, and what is for people alone."""
    data = (
        b'note = "a"\n[card]\ntype = " "\nnote = "b"\n[links]\n[[program]]\nposition=1\nnote="c"\n'
    )
    assert load_sheet(data) == {"program.1.position": "1"}


MISTAKES = [
    (b"links = 'none'", 1, "links: it is a separate table"),
    (b"[program]\nposition = 'U7'", 1, "program: it is a list of tables"),
    (b"program = [1]", 1, "program: it is a list of tables"),
    (b"[[program]]\nversion = 1", 1, "program[1]: the position on the card is missing"),
    (b"[[program]]\nposition = ''", 1, "program[1]: the position on the card is missing"),
    (
        b"[[program]]\nposition = 'U7'\n[[program]]\nposition = 'u7'",
        4,
        "two rows with the same position",
    ),
    (
        b"[[program]]\nposition = 'u7'\n[[program]]\nposition = 'U7'",
        4,
        "two rows with the same position",
    ),
    (b"[[programs]]\nposition = 'U7'", 1, "programs: did you mean program?"),
    (b"[link]\nJ1 = 1", 1, "link: did you mean links?"),
    (b"[Card]\ntype = 1", 1, "Card: did you mean card?"),
    (b"[card]\n\ntyp = 'TC-2'", 3, "card.typ: did you mean type?"),
    (b"[[program]]\nposition = 1\nverison = 1", 3, "program[1].verison: did you mean version?"),
    (b"[[program]]\nposition = 1\nsha256 = 'ab'", 3, "did you mean sha-256?"),
    (b"[for]\nboat = 'grebe'", 2, "for.boat: [for] has no such key"),
    (b"[for]\nship = 'grebe'", 2, "for.ship: did you mean vessel?"),
    (b"[[program]]\nplace = 'U7'", 2, "program[1].place: did you mean position?"),
    (b"[[interface]]\nSlot = 3", 2, "interface[1].Slot: did you mean position?"),
    (b"[[program]]\nposition = 1\nfirmware = 1", 3, "program[1].firmware: did you mean version?"),
    (b"[card]\nfirmware = 1", 2, "card.firmware: did you mean software?"),
    (b"[jumpers]\nJ1 = 1", 1, "jumpers: did you mean links?"),
    (b"[node]\nbaud_rate = 1\nbaudrate = 2", 3, "node.baudrate: did you mean speed?"),
    (b"[for]\nnote = 'grebe'", 2, "for.note: [for] has no such key"),
    (b"[for]\nvessel = 3", 2, "for.vessel: the name must be a text"),
    (b"[[program]]\nposition = 1\nsum-16 = 9", 3, "program[1].sum-16: a value"),
    (b"[[program]]\nposition = 1\nsum-16 = '0x9C41'", 3, "program[1].sum-16: a value"),
    (b"[[program]]\nposition = 1\ncrc-32 = '9C41'", 3, "program[1].crc-32: a value"),
    (b"[[program]]\nposition = 1\nversion = true", 3, "program[1].version: a value"),
    (b"[battery]\nfitted = '1 March'", 2, "battery.fitted: a value"),
    (b"[battery]\nfitted = '2026-13'", 2, "battery.fitted: a value"),
    (b"[battery]\nfitted = true", 2, "battery.fitted: a value"),
    (b"[battery]\nfitted = 2026.03", 2, "battery.fitted: a value"),
    (b"[battery]\nfitted = 2026-03-01T08:00:00Z", 2, "battery.fitted: a value"),
    (b"[links]\nJ1 = 1\nj1 = 2", 3, "links.j1: the same name twice"),
    ('[links]\nJ1 = 1\n"\uff2a1" = 2'.encode(), 3, "the same name twice"),
    (b"[links.x]\na = 1", 1, "links.x: a table where a value belongs"),
    (b"[card]\nclock = nan", 2, "card.clock: a value"),
    (b"x = -inf", 1, "x: a value"),
    (b"x = 9999999999999999999", 1, "x: a value"),
    (b'x = "a\\u001b[2J"', 1, "x: a value"),
    ('x = "a\u202eb"'.encode(), 1, "x: a value"),
    (b'x = """a\nb"""', 1, "x: a value"),
    (b'"a\\u0007" = 1', 1, "that is not a name"),
    (b'"" = 1', 1, "that is not a name"),
    (b'"' + b"n" * 81 + b'" = 1', 1, "that is not a name"),
    (b"x = '" + b"x" * 401 + b"'", 1, "x: a value"),
    (b'x = """' + b"<b>x</b>\n" * 1200 + b'"""', 1, "x: a value"),
    (b"x = " + b"[" * 9 + b"1" + b"]" * 9, 1, "too many tables within tables"),
    (b"x = [\n" + b"1,\n" * 2001 + b"]", 1, "the sheet has too many entries"),
]


@pytest.mark.parametrize(("data", "line", "why"), MISTAKES)
def test_a_mistake_is_refused_with_its_line(data: bytes, line: int, why: str) -> None:
    """sheet-entry: where, what is wrong, what was expected and found."""
    refused = refusal(data)
    assert (refused.code, refused.file) == ("sheet-entry", "s.toml")
    assert f": {why}" in refused.text
    assert refused.line == line
    assert refused.expected
    assert refused.found
    assert len(refused.text) < 400
    assert all(part.isprintable() for part in (refused.text, refused.expected, refused.found))


@pytest.mark.parametrize(
    ("data", "expected", "found"),
    [
        (b"[[program]]\nposition = 'U7'\n[[program]]\nposition = 'u7'", "another", "u7"),
        (b"[[program]]\nversion = 1", "position = ", '""'),
        (b"[[program]]\nposition = true", "position = ", "true"),
        (b"[card]\ntyp = 'TC-2'", "type", "typ"),
        (b"[links]\nJ1 = 1\nj1 = 2", "not J1", "j1"),
        (b"[for]\nyard = 'x'", "vessel, unit, card", "yard"),
        (b"[card]\nclock = nan", "a number", "nan"),
        (b"links = 'none'", "[links]", "none"),
        (b"x = [\n" + b"1,\n" * 2001 + b"]", "at most 2000 entries", "2001"),
    ],
)
def test_a_mistake_shows_what_was_expected_and_what_stands_there(
    data: bytes, expected: str, found: str
) -> None:
    """So that the line is corrected without a look at the page."""
    refused = refusal(data)
    assert expected in (refused.expected or "")
    assert found in (refused.found or "")


def test_all_mistakes_are_told_at_once_each_with_its_line() -> None:
    """The first by itself, the others behind it; no more than 20."""
    refused = refusal(b"[link]\nJ1 = 1\n[card]\ntyp = 'a'\nclock = nan\n")
    assert refused.line == 1
    assert "; also line 4: card.typ: did you mean type?; line 5: card.clock" in refused.text
    many = b"".join(b"x%d = nan\n" % row for row in range(500))
    assert refusal(many).text.count("a value") == 20


def test_a_name_is_no_slip_where_it_may_be_another_word() -> None:
    """`side` next to `size`, `label2` next to `label`: unknown names are allowed, and kept."""
    data = b"[[program]]\nposition = 'U7'\nside = 'solder'\nlabel2 = 'x'\ndate = 'y'\n"
    assert load_sheet(data)["program.U7.side"] == "solder"
    assert load_sheet(b"[card]\nclock-source = 'x'\nnote2 = 'y'\n")["card.note2"] == "y"
    assert load_sheet(b"[node]\nbu = 'x'\n")["node.bu"] == "x"
    both = b"[card]\nsoftware = '3'\nfirmware = '1'\n[unit]\nplace = 'bow'\n"
    assert load_sheet(both)["card.firmware"] == "1"
    assert load_sheet(both)["unit.place"] == "bow"
    assert mistyped("LABLE", ["label"]) == "label"
    assert mistyped("label", ["label"]) is None


@pytest.mark.parametrize(
    "data",
    [
        b"a = ",
        b"a = 1\na = 2\n",
        b"\xff\xfe",
        b"a = '\x00'",
        b"\xef\xbb\xbfa = 1",
        b"a = " + b"[" * 50_000,
        b"a = " + b"{a = " * 50_000,
        b".".join([b"a"] * 50_000) + b" = 1",
        b"[" + b".".join([b"a"] * 50_000) + b"]\nb = 1",
        b"a = 0x" + b"F" * 100_000,
        b"a = " + b"9" * 100_000,
        b"a = '" + b"x" * 10_000 + b"'",
        b"%PDF-1.4",
        b"PK\x03\x04",
    ],
)
def test_a_hostile_sheet_is_refused_at_once(data: bytes) -> None:
    """sheet-text, whatever breaks: syntax, encoding, nesting, numbers without end."""
    refused = refusal(data)
    assert (refused.code, refused.file) == ("sheet-text", "s.toml")
    assert len(refused.found or "") <= 200


def test_deep_tables_are_refused_whichever_way_they_are_written() -> None:
    """By brackets or by long dotted names; neither takes long."""
    data = b"".join(b"[x%d." % n + b".".join([b"a"] * 990) + b"]\n" for n in range(120))
    assert refusal(data).code in {"sheet-entry", "sheet-text"}
    assert refusal(b"a = " + b"[" * 40 + b"1" + b"]" * 40).code == "sheet-entry"


def test_a_line_that_is_no_toml_is_named() -> None:
    """The parser's own line, not only its words."""
    assert refusal(b"[card]\n\ntype = TC-2\n").line == 3


def test_a_sheet_larger_than_a_page_is_refused() -> None:
    """sheet-size, before it is read."""
    assert refusal(b"#" * (MAX_BYTES + 1)).code == "sheet-size"
    assert load_sheet(b"# a\n" * (MAX_BYTES // 4)) == {}
    assert load_sheet(b"a = '" + b"x" * 400 + b"'") == {"a": "x" * 400}


@given(st.binary(max_size=200) | st.text(max_size=200).map(lambda text: text.encode("utf-8")))
def test_no_bytes_escape_as_another_error(data: bytes) -> None:
    """Entries, or SheetRefused."""
    try:
        sheet = load_sheet(data)
    except SheetRefused:
        return
    assert all(isinstance(value, str) for value in sheet.values())


VALUES = st.sampled_from(
    ["nan", "1", "-1.50", "true", "''", "'a'", "[1, []]", "{a = 1}", "1979-05-27"]
)
WORDS = st.sampled_from(
    ["card", "links", "program", "for", "x", "note", "position", "type", "sum-8"]
)


@given(st.lists(st.tuples(st.sampled_from(["", "[", "[["]), WORDS, WORDS, VALUES), max_size=6))
def test_no_tables_escape_as_another_error(parts: list[tuple[str, str, str, str]]) -> None:
    """Known words in wrong places: entries, or SheetRefused."""
    lines = [
        f"{mark}{table}{mark.replace('[', ']')}\n{key} = {value}" if mark else f"{key} = {value}"
        for mark, table, key, value in parts
    ]
    try:
        read_sheet("\n".join(lines).encode())
    except SheetRefused as refused:
        assert refused.line is None or 1 <= refused.line <= len(lines) * 2  # noqa: PT017 - both are right


def test_two_sheets_are_compared_entry_by_entry() -> None:
    """The same, another, and not stated on one of them: three answers."""
    unit = {"type": "TC-2", "links.J1": "1-2", "version": "3.1"}
    card = {"type": "TC-2", "links.j1": "2-3", "battery": "2026"}
    assert compare_sheets(unit, card) == (
        SheetEntry("battery", NOT_STATED, "2026", None),
        SheetEntry("links.J1", "1-2", "2-3", same=False),
        SheetEntry("type", "TC-2", "TC-2", same=True),
        SheetEntry("version", "3.1", NOT_STATED, None),
    )


NAMES = st.text(st.sampled_from("ab.[]'\"\\ \n0"), min_size=1, max_size=4)
SHEETS = st.dictionaries(NAMES, st.sampled_from(["1", "2", ""]), max_size=6)


@given(SHEETS, SHEETS)
def test_the_comparison_is_that_of_a_plain_loop(unit: dict[str, str], card: dict[str, str]) -> None:
    """Names of any characters, brackets and quotation marks among them."""
    found = {entry.name: entry.same for entry in compare_sheets(unit, card)}
    assert found == {
        name: unit[name] == card[name] if name in unit and name in card else None
        for name in {*unit, *card}
    }


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("program.U7.version", "parameters"),
        ("program.U7.sha-256", "parameters"),
        ('program."U.7".label', "checksum of a dump"),
        ("card.software", "parameters"),
        ("links.J1", "mode"),
        ("dip-switches.S1", "address"),
        ("node.address", "two stations with one address"),
        ("battery.fitted", "may be lost"),
        ('terminations."CAN 1"', "termination"),
        ("interface.slot.signal", "signal"),
    ],
)
def test_a_difference_is_given_its_meaning(name: str, words: str) -> None:
    """By table and key; the words stay careful."""
    assert words in meaning(name)


def test_every_known_table_has_a_meaning_and_none_is_called_harmless() -> None:
    """An unknown name defers to the maker."""
    for table, keys in (*TABLES.items(), *ROWS.items()):
        for key in ("x", *keys):
            assert table == "for" or meaning(f"{table}.{key}") != UNKNOWN
            assert "harmless" not in meaning(f"{table}.{key}")
    assert meaning("rack.slot") == UNKNOWN


@pytest.mark.parametrize(
    ("data", "why", "expected", "found"),
    [
        (b"function-tests = 3", "it is a table with one list", "[function-tests] with", "3"),
        (
            b"[function-tests]\nrequired = 'stop'",
            "it is a table with one list",
            "[function-tests] with",
            "a table",
        ),
        (b"[function-tests]\ntests = ['a']", "the table has no such key", "required", '"tests"'),
    ],
)
def test_a_list_of_function_tests_that_is_none_is_refused(
    data: bytes, why: str, expected: str, found: str
) -> None:
    """What belongs there, and what stands there, are both stated."""
    sheet = refusal(data)
    assert why in sheet.text
    assert expected in (sheet.expected or "")
    assert found in (sheet.found or "")
