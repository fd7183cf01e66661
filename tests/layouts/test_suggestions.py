"""What a person who knows controllers, not TOML, must write in place of a typing mistake."""

from __future__ import annotations

import pytest

from parambak.layouts.load import check

HEAD = '[layout]\ntitle = "T"\nmemory = 256\nbyte-order = "big"\n'
FIELD = '[[field]]\nname = "a"\nat = 0x10\ntype = "u16"\n'
QUOTES = 'Write text in quotes: "…".'
WORDS = '{ 0 = "local", 1 = "remote" }.'
ALONE = 'Write the number alone. Write the unit on a separate line: unit = "s".'
POINT = "Write a point in a number, not a comma: 0.1."
ELSE = "Correct the line; formats/writing-a-layout.md shows how to write each part."

NO_TOML = (
    ("unit = bar", QUOTES),
    ("unit = bar  # of the panel", QUOTES),
    ("unit = f32", QUOTES),
    ('unit = "bar', "Close the quotes in the line where they begin."),
    (
        "unit = \u201cbar\u201d",
        'Write straight quotes, "…", not the curved quotes of a word processor.',
    ),
    ('unit: "bar"', "Write = between a name and its value, not a colon."),
    ('unit = "bar" // gauge', "Write a comment after a #."),
    ('unit = "bar";', "Write a comment after a #."),
    ("scale = 0,1", POINT),
    ("low = -12,5", POINT),
    ("scale = .1", "Write a digit before the point: 0.1."),
    ("high = 12.5 s", ALONE),
    ("high = 4 KiB", ALONE),
    ("volatile = True", "Write true, in small letters."),
    ("volatile = no", "Write false, in small letters."),
    ("length = 1C", "Begin a hexadecimal number with 0x: 0x001C."),
    ("length = 1Ch", "Begin a hexadecimal number with 0x: 0x001C."),
    ("length = $1C", "Begin a hexadecimal number with 0x: 0x001C."),
    ("length = FF", "Begin a hexadecimal number with 0x: 0x00FF."),
    (
        "length = 028",
        "Begin a hexadecimal number with 0x: 0x0028. Write a decimal number without 0: 28.",
    ),
    (
        "curve = [[0040, 1]]",
        "Begin a hexadecimal number with 0x, and a decimal number without 0: [[0x0040, 0x007D]].",
    ),
    ("values = { 0 = local }", f"Write text in quotes: {WORDS}"),
    (
        'values = { 0 = "x" 1 = "y" }',
        f"Write it on one line, with a comma between the entries: {WORDS}",
    ),
    ("curve = ]1, 2[", ELSE),
    ("unit = \u00b0C", QUOTES),
    ("unit = " + "x" * 500, ELSE),
)


@pytest.mark.parametrize(("line", "advice"), NO_TOML)
def test_a_line_that_is_no_toml(line: str, advice: str) -> None:
    """The line is named and shown, with the right way to write it."""
    (mistake,) = check((HEAD + FIELD + line + "\n").encode())
    assert (mistake.code, mistake.line, mistake.next) == ("layout-syntax", 9, advice)
    assert mistake.found is not None
    assert mistake.found.startswith('"' + line[:20])


@pytest.mark.parametrize("after", ["", "decimals = 1", 'unit = "bar"'])
def test_brackets_left_open(after: str) -> None:
    """The parser stops in the next line, which is right: it is not blamed."""
    (mistake,) = check((HEAD + FIELD + f"curve = [[1, 2], [3, 4]\n{after}\n").encode())
    assert mistake.code == "layout-syntax"
    assert mistake.next == ("This line is correct. Close the brackets that a line above it opens.")


@pytest.mark.parametrize("line", ['name = "b"', "[field]"])
def test_a_header_forgotten(line: str) -> None:
    """A second field without its own [[field]] gives a key twice: the header is named."""
    (mistake,) = check((HEAD + FIELD + line + "\n").encode())
    assert mistake.code == "layout-key-twice"
    assert "[[field]]" in mistake.next


OUT_OF_QUOTES = "Remove the quotes: they make the number a text."
WRONG_KINDS = (
    ('scale = "0.1"', OUT_OF_QUOTES),
    ('length = "0x001C"', OUT_OF_QUOTES),
    ('length = "1C"', "Remove the quotes, and write 0x before a hexadecimal number."),
    ('scale = "0,1"', "Write the number alone, without quotes and without a unit."),
    ('high = "12 s"', "Write the number alone, without quotes and without a unit."),
    ('volatile = "yes"', "Write true or false, without quotes."),
    ("unit = 3", "Write the value in quotes."),
    ("unit = 3.5", "Write the value in quotes."),
    ("unit = []", "Write a value of the kind that is expected."),
    (
        "curve = [[0, 0], [9, 1,5]]",
        "Write two numbers with a comma between. Write a point in a number, not a comma.",
    ),
)


@pytest.mark.parametrize(("line", "advice"), WRONG_KINDS)
def test_a_value_of_the_wrong_kind(line: str, advice: str) -> None:
    """The message gives the reason."""
    (mistake,) = check((HEAD + FIELD + line + "\n").encode())
    assert (mistake.code, mistake.line, mistake.next) == ("layout-wrong-kind", 9, advice)


def test_a_range_without_its_second_brackets() -> None:
    """The message names each of the two numbers as part of a pair."""
    text = HEAD + '[[check]]\nname = "c"\nmethod = "sum-16"\nat = 254\nover = [0, 9]\n'
    assert {each.next for each in check(text.encode())} == {
        "Write two numbers in brackets, and brackets around all pairs: [[1, 2]]."
    }


def test_single_brackets() -> None:
    """One table if a list of them is intended."""
    (mistake,) = check((HEAD + FIELD.replace("[[field]]", "[field]")).encode())
    assert mistake.next == "Write the name of the table in double brackets."


TYPES = {
    "i16": "s16",
    "int16": "s16",
    "uint16_t": "u16",
    "UINT32": "u32",
    "float32": "f32",
    "word": "u16",
    "int": "s16",
    "Byte": "u8",
    "real": "f32",
    "string": "text",
    "bool": "flag",
    "date": "date-time",
    "unsigned word": "u16",
    "u166": "u16",
}


@pytest.mark.parametrize(("written", "meant"), TYPES.items())
def test_the_type_words_of_other_languages(written: str, meant: str) -> None:
    """They are answered with the word that means the same, the sign kept."""
    (mistake,) = check((HEAD + FIELD.replace("u16", written)).encode())
    assert mistake.next == f"Did you mean `{meant}`?"


def test_a_word_near_to_none() -> None:
    """All words are in what was expected; they are not repeated."""
    (mistake,) = check((HEAD + FIELD.replace("u16", "zzz")).encode())
    assert mistake.expected is not None
    assert "sign-magnitude" in mistake.expected
    assert mistake.next == "Choose one of those words; formats/field-layout.md explains each."


def test_one_wrong_word_is_one_mistake() -> None:
    """A word that is no byte order, and bits without a width, set off no further mistakes."""
    order = (
        HEAD.replace("big", "msb") + FIELD + FIELD.replace('"a"', '"b"').replace("10", "20")
    ).encode()
    assert [each.code for each in check(order)] == ["layout-unknown-word"]
    flag = '[[field]]\nname = "f"\nat = 0\ntype = "flag"\nbit = 0\n'
    bits = '[[field]]\nname = "m"\nat = 0\ntype = "bits"\nbit = 1\n'
    assert [each.code for each in check((HEAD + flag + bits).encode())] == ["layout-key-missing"]


KEYS = (
    ("[[field]]", "bias", "offset"),
    ("[[field]]", "zero", "offset"),
    ("[[field]]", "also-at", "mirror-at"),
    ("[[field]]", "points", "curve"),
    ("[[field]]", "lookup", "curve"),
    ("[[field]]", "meaning", "values"),
    ("[[field]]", "enum", "values"),
    ("[[field]]", "expected-to-change", "running"),
    ("[[field]]", "live", "volatile"),
    ("[[field]]", "Address", "at"),
    ("[[field]]", "size", "length"),
    ("[[field]]", "gain", "scale"),
    ("[[field]]", "minimum", "low"),
    ("[[field]]", "max", "high"),
    ("[[field]]", "endianness", "byte-order"),
    ("[[field]]", "byte_order", "byte-order"),
    ("[[field]]", "comment", "note"),
    ("[[group]]", "step", "row-size"),
    ("[[group]]", "size", "row-size"),
    ("[[check]]", "algorithm", "method"),
    ("[[check]]", "crc", "method"),
    ("[[check]]", "range", "over"),
    ("[[reserved]]", "start", "at"),
    ("[[mirrored]]", "duplicate-at", "mirror-at"),
    ("[layout]", "size", "memory"),
    ("[layout]", "endian", "byte-order"),
)


@pytest.mark.parametrize(("table", "written", "key"), KEYS)
def test_an_old_key_or_another_word_for_a_key(table: str, written: str, key: str) -> None:
    """It is an unknown key, and its mistake names the key of that table."""
    mistakes = check(f"{table}\n{written} = 1\n".encode())
    (unknown,) = (mistake for mistake in mistakes if mistake.code == "layout-unknown-key")
    assert unknown.next == f"Write `{key}` in its place."
    assert unknown.line == 2


def test_an_old_table() -> None:
    """The table that replaces it is named; its entries are not read."""
    (mistake,) = check((HEAD + FIELD + "[[kept-twice]]\nat = 0\n").encode())
    assert (mistake.code, mistake.next) == ("layout-unknown-key", "Write `mirrored` in its place.")


@pytest.mark.parametrize(("written", "order"), [("msb", "big"), ("Intel", "little")])
def test_another_word_for_a_byte_order(written: str, order: str) -> None:
    """The trade's words are answered with the word of the language."""
    (mistake,) = check((HEAD.replace("big", written) + FIELD).encode())
    assert (mistake.code, mistake.next) == ("layout-unknown-word", f"Did you mean `{order}`?")
