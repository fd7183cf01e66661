"""Every line of the layout section of the bad inputs, and the language's further mistakes."""

from __future__ import annotations

import tomllib

import pytest

from parambak.errors import LayoutRefused
from parambak.layouts.load import Mistake, check, load

HEAD = '[layout]\ntitle = "T"\nmemory = 256\nbyte-order = "big"\n'  # lines 1 to 4


def one(body: str, head: str = HEAD) -> Mistake:
    """Return the only mistake of a layout, and see that `load` refuses with it."""
    text = (head + body).encode()
    found = check(text)
    assert len(found) == 1, found
    with pytest.raises(LayoutRefused) as refused:
        load(text)
    assert refused.value.code == found[0].code
    assert refused.value.line == found[0].line
    assert refused.value.expected == found[0].expected
    assert refused.value.found == found[0].found
    return found[0]


def field(keys: str) -> str:
    """Return a field of one key a line, its header on line 5 and its name on line 6."""
    return '[[field]]\nname = "a"\n' + keys


FIELD_MISTAKES = [
    ("unknown-key", 'at = 0\ntype = "u8"\nscal = 2\n', "layout-unknown-key", 9, None, '"scal"'),
    ("text-for-integer", 'at = "0"\ntype = "u8"\n', "layout-wrong-kind", 7, "a whole number", None),
    (
        "float-for-integer",
        'at = 1.0\ntype = "u8"\n',
        "layout-wrong-kind",
        7,
        "a whole number",
        None,
    ),
    ("boolean-for-integer", 'at = true\ntype = "u8"\n', "layout-wrong-kind", 7, None, None),
    (
        "text-for-number",
        'at = 0\ntype = "u8"\nlow = "1"\n',
        "layout-wrong-kind",
        9,
        "a number",
        None,
    ),
    ("nan-scale", 'at = 0\ntype = "u8"\nscale = nan\n', "layout-number", 9, None, "NaN"),
    ("infinite-scale", 'at = 0\ntype = "u8"\nscale = inf\n', "layout-number", 9, None, "Infinity"),
    ("zero-scale", 'at = 0\ntype = "u8"\nscale = 0.0\n', "layout-scale", 9, "not zero", "0.0"),
    ("huge-scale", 'at = 0\ntype = "u8"\nscale = 1e999999999\n', "layout-number", 9, None, None),
    (
        "huge-exponent",
        'at = 0\ntype = "u8"\noffset = 1e9999999999999999999\n',
        "layout-number",
        9,
        None,
        "NaN",
    ),
    (
        "low-above-high",
        'at = 0\ntype = "u8"\nlow = 3\nhigh = 2.5\n',
        "layout-limits",
        9,
        "at most 2.5",
        "3",
    ),
    (
        "negative-address",
        'at = -1\ntype = "u8"\n',
        "layout-address",
        7,
        "inside 0x0000 to 0x00FF",
        "-1, 1 bytes",
    ),
    (
        "past-the-end",
        'at = 0xFF\ntype = "u16"\n',
        "layout-address",
        7,
        "inside 0x0000 to 0x00FF",
        "0x00FF to 0x0100",
    ),
    ("length-zero", 'at = 0\ntype = "bytes"\nlength = 0\n', "layout-length", 9, None, "0"),
    ("length-of-fixed-type", 'at = 0\ntype = "u16"\nlength = 4\n', "layout-length", 9, None, "4"),
    (
        "odd-utf-16",
        'at = 0\ntype = "text"\nlength = 3\nencoding = "utf-16-be"\n',
        "layout-length",
        9,
        "an even number of bytes",
        "3",
    ),
    ("no-length", 'at = 0\ntype = "text"\n', "layout-key-missing", 5, "`length`", None),
    (
        "bits-too-wide",
        'at = 0\ntype = "bits"\nbit = 6\nwidth = 3\n',
        "layout-bits",
        9,
        "bits 0 to 7 of 1 byte",
        "3 bits from bit 6",
    ),
    ("flag-beyond-its-byte", 'at = 0\ntype = "flag"\nbit = 8\n', "layout-bits", 9, None, None),
    ("negative-bit", 'at = 0\ntype = "flag"\nbit = -1\n', "layout-bits", 9, None, None),
    ("no-bit", 'at = 0\ntype = "flag"\n', "layout-key-missing", 5, "`bit`", None),
    (
        "two-meanings",
        'at = 0\ntype = "u8"\nvalues = { 1 = "on", 0x01 = "off" }\n',
        "layout-values-twice",
        9,
        "one name for each stored number",
        '"1" and "0x01"',
    ),
    (
        "meaning-out-of-reach",
        'at = 0\ntype = "u8"\nvalues = { 256 = "on" }\n',
        "layout-values",
        9,
        "whole numbers from 0 to 255",
        '"256"',
    ),
    (
        "meaning-of-no-number",
        'at = 0\ntype = "u8"\nvalues = { on = "on" }\n',
        "layout-values",
        9,
        None,
        '"on"',
    ),
    (
        "meaning-of-text",
        'at = 0\ntype = "text"\nlength = 2\nvalues = { 1 = "on" }\n',
        "layout-not-for-type",
        10,
        None,
        None,
    ),
    ("bit-of-u8", 'at = 0\ntype = "u8"\nbit = 1\n', "layout-not-for-type", 9, None, "1"),
    ("unknown-type", 'at = 0\ntype = "uint16"\n', "layout-unknown-word", 8, None, '"uint16"'),
    ("long-integer", f'at = {"9" * 5000}\ntype = "u8"\n', "layout-number-too-long", 7, None, None),
    (
        "long-hexadecimal",
        f'at = 0x{"F" * 5000}\ntype = "u8"\n',
        "layout-number-too-long",
        7,
        None,
        None,
    ),
    (
        "integer-past-64-bits",
        'at = 0x1FFFFFFFFFFFFFFFF\ntype = "u8"\n',
        "layout-address",
        7,
        None,
        "a whole number of 65 bits, 1 bytes",
    ),
    ("brackets", f'at = {"[" * 5000}{"]" * 5000}\ntype = "u8"\n', "layout-too-deep", 7, None, None),
    ("syntax", "at = = 1\n", "layout-syntax", 7, None, '"at = = 1"'),
    ("key-twice", "at = 1\nat = 2\n", "layout-key-twice", 8, None, '"at = 2"'),
    ("one-point", 'at = 0\ntype = "u8"\ncurve = [[0, 1]]\n', "layout-curve", 9, None, "0"),
    (
        "points-not-rising",
        'at = 0\ntype = "u8"\ncurve = [[5, 1], [5, 2]]\n',
        "layout-curve",
        9,
        None,
        "5, 5",
    ),
    (
        "level-points",
        'at = 0\ntype = "u8"\ncurve = [[0, 1], [5, 1.0]]\n',
        "layout-scale",
        9,
        None,
        "every value 1",
    ),
    (
        "points-and-scale",
        'at = 0\ntype = "u8"\nscale = 2\ncurve = [[0, 1], [5, 2]]\n',
        "layout-curve",
        9,
        "`curve` without `scale`",
        "scale",
    ),
    (
        "no-date",
        'at = 0\ntype = "date-time"\nparts = ["year", "month"]\n',
        "layout-parts",
        9,
        None,
        "year, month",
    ),
    (
        "no-such-field",
        'at = 0\ntype = "u8"\nlow-from = "b"\n',
        "layout-limit-field",
        9,
        None,
        '"b"',
    ),
    (
        "two-limits",
        'at = 0\ntype = "u8"\nlow = 1\nlow-from = "a"\n',
        "layout-limit-field",
        10,
        None,
        "both",
    ),
    (
        "negative-tolerance",
        'at = 0\ntype = "u8"\ntolerance = -1\n',
        "layout-out-of-bounds",
        9,
        None,
        "-1",
    ),
    (
        "tolerance-on-text",
        'at = 0\ntype = "text"\nlength = 2\ntolerance = 1\n',
        "layout-not-for-type",
        10,
        "no such key with type text",
        "1",
    ),
    (
        "tolerance-not-finite",
        'at = 0\ntype = "u8"\ntolerance = inf\n',
        "layout-number",
        9,
        "a finite number",
        "Infinity",
    ),
    (
        "copy-past-the-end",
        'at = 0\ntype = "u8"\nmirror-at = [256]\n',
        "layout-address",
        9,
        None,
        "0x0100",
    ),
]


@pytest.mark.parametrize(
    ("keys", "code", "line", "expected", "found"),
    [case[1:] for case in FIELD_MISTAKES],
    ids=[case[0] for case in FIELD_MISTAKES],
)
def test_a_wrong_field(
    keys: str, code: str, line: int, expected: str | None, found: str | None
) -> None:
    """A mistake in a field is stated with its code, line, what was expected and found."""
    mistake = one(field(keys))
    assert mistake.code == code
    assert mistake.line == line
    assert mistake.next
    if expected is not None:
        assert mistake.expected == expected
    if found is not None:
        assert mistake.found == found


U8 = 'at = 0\ntype = "u8"\n'
SECOND = '[[field]]\nname = "{name}"\nat = {at}\ntype = "{type}"\n'  # lines 9 to 12


@pytest.mark.parametrize(
    ("name", "kind"),
    [("A", "a"), ("\uff41", "a"), ("stra\u00dfe", "STRASSE"), ("\ufb01n", "FIN")],
    ids=["case", "full-width", "sharp-s", "ligature"],
)
def test_names_equal_after_folding(name: str, kind: str) -> None:
    """Two names that differ by case or by Unicode form alone are one name twice."""
    body = f'[[field]]\nname = "{kind}"\n{U8}' + SECOND.format(name=name, at=1, type="u8")
    mistake = one(body)
    assert (mistake.code, mistake.line) == ("layout-name-twice", 10)
    assert mistake.found == f'"{name}" and "{kind}"'


@pytest.mark.parametrize(
    "name", ["a\\u202eb", "a\\u0007b", "a\\u200bb", "a\u2066b", "a.b", "a[1]", " a"]
)
def test_a_name_that_hides_or_misleads(name: str) -> None:
    """Control and bidirectional characters, dots and brackets are refused in a name."""
    mistake = one(f'[[field]]\nname = "{name}"\n{U8}')
    assert (mistake.code, mistake.line) == ("layout-name", 6)
    assert "\u202e" not in f"{mistake.found}{mistake.text}"
    assert "\u2066" not in f"{mistake.found}{mistake.text}"


def test_a_note_with_a_hidden_character() -> None:
    """Other text is held to the same, but a note may have several lines."""
    assert check((HEAD + field(U8 + 'note = "two\\nlines"\n')).encode()) == ()
    mistake = one(field(U8 + 'note = "two\\u2028lines"\n'))
    assert (mistake.code, mistake.line) == ("layout-text", 9)


@pytest.mark.parametrize(
    ("at", "kind"), [(0, "u8"), (0, "u16"), (0, 'bytes"\nlength = "')], ids=["same", "wider", "bad"]
)
def test_fields_that_overlap(at: int, kind: str) -> None:
    """Two fields on the same bytes are a mistake in the second, which names the first."""
    if "length" in kind:
        body = field('at = 0\ntype = "bytes"\nlength = 4\n') + SECOND.format(
            name="b", at=3, type="u8"
        )
        line = 12
    else:
        body = field(U8) + SECOND.format(name="b", at=at, type=kind)
        line = 11
    mistake = one(body)
    assert (mistake.code, mistake.line) == ("layout-overlap", line)
    assert 'field "a"' in mistake.text
    assert check((HEAD + body + "shares = true\n").encode()) == ()


def test_a_field_that_cannot_be_where_it_is_overlaps_nothing() -> None:
    """One mistake is enough: past the end of the memory."""
    first = field('at = 252\ntype = "u32"\n')
    mistake = one(first + SECOND.format(name="b", at=254, type="u32"))
    assert (mistake.code, mistake.line) == ("layout-address", 11)


def test_a_limit_of_every_row_that_is_not_there_is_one_mistake() -> None:
    """Of the field of the table, once."""
    body = '[[group]]\nname = "g"\nat = 0\ncount = 3\nrow-size = 2\n[[group.field]]\nname = "a"\n'
    mistake = one(body + U8 + 'high-from = "most"\n')
    assert (mistake.code, mistake.line) == ("layout-limit-field", 14)


def test_many_digits_in_a_text_are_no_number() -> None:
    """The note of a drawing number is no number that is too long."""
    assert check((HEAD + field(U8 + f'note = "{"0" * 70}"\n')).encode()) == ()


def test_bits_share_a_byte_where_they_do_not_collide() -> None:
    """Flags and bits of one byte are fine; the same bit twice, or a byte over one, is not."""
    flags = [
        f'[[field]]\nname = "f{bit}"\nat = 3\ntype = "flag"\nbit = {bit}\n' for bit in range(6)
    ]
    bits = '[[field]]\nname = "m"\nat = 3\ntype = "bits"\nbit = 6\nwidth = 2\n'
    good = HEAD + "".join(flags) + bits
    assert check(good.encode()) == ()
    assert [each.code for each in check(good.replace("bit = 5", "bit = 6").encode())] == [
        "layout-overlap"
    ]
    over = good + '[[field]]\nname = "w"\nat = 2\ntype = "u16"\n'
    assert {each.code for each in check(over.encode())} == {"layout-overlap"}


def test_bits_of_a_word_are_compared_in_its_byte_order() -> None:
    """Bit 0 of a big-endian word lies in its second byte, of a little-endian one in its first."""
    word = '[[field]]\nname = "w"\nat = 0\ntype = "bits"\nlength = 2\nbit = 0\nwidth = 1\n'
    byte = '[[field]]\nname = "b"\nat = {at}\ntype = "flag"\nbit = 0\n'
    for order, free, taken in (("big", 0, 1), ("little", 1, 0)):
        head = HEAD.replace("big", order)
        assert check((head + word + byte.format(at=free)).encode()) == ()
        assert len(check((head + word + byte.format(at=taken)).encode())) == 1


def test_rows_that_overlap_are_told_once() -> None:
    """A step smaller than the row is one mistake, not one for each row."""
    body = (
        '[[group]]\nname = "g"\nat = 0\ncount = 30\nrow-size = 1\n'
        '[[group.field]]\nname = "a"\nat = 0\ntype = "u16"\n'
    )
    mistake = one(body)
    assert (mistake.code, mistake.line) == ("layout-overlap", 12)
    assert mistake.found == '"g[2].a" at 0x0001 to 0x0002, "g[1].a" at 0x0000 to 0x0001'


CHECK = '[[check]]\nname = "c"\nmethod = "{method}"\nover = [{over}]\nat = {at}\n{rest}'


@pytest.mark.parametrize(
    ("method", "over", "at", "rest", "code", "line"),
    [
        ("crc-16/ibm3740", "[0, 9]", 254, "", "layout-check-method", 7),
        ("sum-16", "[0, 255]", 254, "", "layout-check-over-itself", 8),
        ("sum-16", "[0, 9], [255, 255]", 254, "", "layout-check-over-itself", 8),
        ("sum-8", "[9, 0]", 254, "", "layout-check-range", 8),
        ("sum-8", "[0, 256]", 254, "", "layout-check-range", 8),
        ("sum-8", "[0, 9]", 256, "", "layout-address", 9),
        ("crc", "[0, 9]", 254, "width = 16\n", "layout-key-missing", 5),
        ("crc", "[0, 9]", 254, "width = 2\npoly = 1\n", "layout-check-parameters", 10),
        ("crc", "[0, 9]", 254, "width = 8\npoly = 256\n", "layout-check-parameters", 11),
        ("sum-8", "[0, 9]", 254, "poly = 7\n", "layout-check-parameters", 10),
        ("crc-8/smbus", "[0, 9]", 254, "init = 7\n", "layout-check-parameters", 10),
        ("sum-8", "[0, 9]", 254, "init = 256\n", "layout-check-parameters", 10),
    ],
)
def test_a_wrong_check(  # noqa: PLR0917 - the parts of one case
    method: str, over: str, at: int, rest: str, code: str, line: int
) -> None:
    """A check with an unknown method, a bad range, or its own value covered is refused."""
    mistake = one(CHECK.format(method=method, over=over, at=at, rest=rest))
    assert (mistake.code, mistake.line) == (code, line)


def test_the_nearest_known_word_is_offered() -> None:
    """An unknown key, type, byte order or method is refused with the nearest valid one."""
    assert one(field(U8 + "scael = 2\n")).next == "Did you mean `scale`?"
    assert one(field('at = 0\ntype = "u166"\n')).next == "Did you mean `u16`?"
    order = one(field(U8 + 'byte-order = "bigg"\n'))
    assert order.next == "Did you mean `big`?"
    method = one(CHECK.format(method="crc-16/ibm-3470", over="[0, 1]", at=9, rest=""))
    assert method.next == "Did you mean `crc-16/ibm-3740`?"
    limit = one(
        field(U8 + 'high-from = "maximun"\n') + SECOND.format(name="maximum", at=1, type="u8")
    )
    assert limit.next == "Did you mean `maximum`?"


@pytest.mark.parametrize(
    ("text", "code", "line"),
    [
        (b"\xff\xfe[\x00l", "layout-not-utf8", 1),
        (b'[layout]\ntitle = "\xe9"\n', "layout-not-utf8", 2),
        (b"\xef\xbb\xbf[layout]\n", "layout-not-utf8", 1),
        (b"[layout]\n# \x00\n", "layout-nul", 2),
        (b"[layout]\nmemory = 1\n[layout]\n", "layout-key-twice", 3),
        (b"x = {a = 1, a = 2}\n", "layout-key-twice", 1),
        (b"[layout\n", "layout-syntax", 1),
        (b"[layout]\nx = [1,", "layout-syntax", 2),
        (
            b'[layout]\ntitle = "t"\nmemory = 2\nlanguage = 2\nunheard = 1\n',
            "layout-unknown-language",
            4,
        ),
        (b'[layout]\ntitle = "t"\nmemory = 0\n', "layout-out-of-bounds", 3),
        (b'[layout]\ntitle = "t"\nmemory = 16777217\n', "layout-out-of-bounds", 3),
        (b'[layout]\ntitle = "t"\n', "layout-key-missing", 1),
        (b"layout = 3\n", "layout-wrong-kind", 1),
        (b"x" * (2 * 1024 * 1024 + 1), "layout-too-large", None),
        (b"a." * 100_000 + b"b = 1\n", "layout-too-deep", 1),
        (b"#\n[" + b"group." * 50 + b"group]\n", "layout-wrong-kind", 2),
        (b"".join(b"[[" + b"group." * n + b"group]]\n" for n in range(20)), "layout-too-deep", 1),
        (b"x = " + b"{a = " * 3000 + b"1" + b"}" * 3000 + b"\n", "layout-too-deep", 1),
    ],
)
def test_a_file_that_is_wrong_as_a_whole(text: bytes, code: str, line: int | None) -> None:
    """Text that is not UTF-8, not TOML, too large, too deep or of another version."""
    found = check(text)
    assert (code, line) in [(each.code, each.line) for each in found]
    with pytest.raises(LayoutRefused):
        load(text)


def test_an_empty_file_says_what_is_missing() -> None:
    """Nothing at all is no layout: the two keys that every layout needs are asked for."""
    assert [(each.code, each.expected) for each in check(b"")] == [
        ("layout-key-missing", "`title`"),
        ("layout-key-missing", "`memory`"),
    ]


def test_byte_order_must_be_said_where_it_matters() -> None:
    """A field of several bytes without any byte order is refused; one byte needs none."""
    head = '[layout]\ntitle = "T"\nmemory = 256\n#\n'
    mistake = one(field('at = 0\ntype = "u16"\n'), head)
    assert (mistake.code, mistake.line) == ("layout-byte-order", 5)
    assert check((head + field(U8)).encode()) == ()
    mistake = one(CHECK.format(method="sum-16", over="[0, 1]", at=9, rest=""), head)
    assert (mistake.code, mistake.line) == ("layout-byte-order", 5)


def test_groups_that_cannot_be() -> None:
    """No step, names for other than every row, and a table of too many fields are refused."""
    group = '[[group]]\nname = "g"\nat = 0\ncount = {count}\n{rest}'
    inner = '[[group.field]]\nname = "a"\nat = 0\ntype = "u8"\n'
    assert one(group.format(count=2, rest=inner)).code == "layout-row-size"
    rows = 'row-size = 1\nrows = ["one"]\n'
    assert one(group.format(count=2, rest=rows + inner)).code == "layout-rows"
    nested = (
        'row-size = 1\n[[group.group]]\nname = "h"\nat = 0\ncount = 200000\nrow-size = 1\n'
        '[[group.group.field]]\nname = "a"\nat = 0\ntype = "u8"\n'
    )
    found = check((HEAD + group.format(count=200000, rest=nested)).encode())
    assert "layout-too-many-fields" in {each.code for each in found}


def test_all_mistakes_at_once_in_the_order_of_their_lines() -> None:
    """Mistakes of shape and of sense are stated together, by line; `load` counts the rest."""
    body = (
        '[[field]]\nname = "a"\nat = true\ntype = "u8"\nscale = 0\n'
        '[[field]]\nname = "b"\nat = 300\ntype = "u8"\nunt = "s"\n'
        '[[field]]\nat = 1\ntype = "u8"\n'
        '[[field]]\nname = "c"\nat = 2\ntype = "u9"\n'
        '[[field]]\nname = "B"\nat = 5\ntype = "u8"\nlow = 3\nhigh = 1\n'
    )
    found = check((HEAD + body).encode())
    assert [(each.line, each.code) for each in found] == [
        (7, "layout-wrong-kind"),
        (9, "layout-scale"),
        (12, "layout-address"),
        (14, "layout-unknown-key"),
        (15, "layout-key-missing"),
        (21, "layout-unknown-word"),
        (23, "layout-name-twice"),
        (26, "layout-limits"),
    ]
    assert found[3].key == "field[2].unt"
    with pytest.raises(LayoutRefused, match="And 7 more mistakes"):
        load((HEAD + body).encode())


def test_so_many_mistakes_are_cut_at_a_hundred() -> None:
    """A file of thousands of mistakes is answered with the first hundred."""
    body = "".join(f'[[field]]\nname = "f{index}"\nat = -1\ntype = "u8"\n' for index in range(3000))
    assert len(check((HEAD + body).encode())) == 100


def test_blocks_mirrored_and_reserved_areas_are_judged() -> None:
    """A block over its duplicate, a length of zero, a stretch past the end."""
    block = "[[mirrored]]\nat = 0\nlength = {length}\nmirror-at = {twin}\n"
    assert one(block.format(length=8, twin=4)).code == "layout-overlap"
    far = one(block.format(length=8, twin=252))
    assert (far.code, far.key) == ("layout-address", "mirrored[1].mirror-at")
    area = "[[reserved]]\nat = {at}\nlength = {length}\n"
    assert one(area.format(at=0, length=0)).code == "layout-length"
    assert one(area.format(at=250, length=7)).code == "layout-address"
    twin = block.format(length=8, twin=128) + field(U8) + SECOND.format(name="b", at=128, type="u8")
    assert one(twin).code == "layout-overlap"


def test_nothing_but_our_error_leaves_the_loader() -> None:
    """Every prefix and many single-character changes of a good file answer or are refused."""
    good = (
        HEAD
        + field(U8 + 'values = { 1 = "on" }\n')
        + CHECK.format(method="sum-8", over="[0, 9]", at=254, rest="")
    ).encode()
    for end in range(len(good)):
        check(good[:end])
    for index in range(len(good)):
        for change in (b'"', b"[", b"\n", b"\xff", b"."):
            check(good[:index] + change + good[index + 1 :])


def test_toml_of_the_test_cases_is_what_it_seems() -> None:
    """The good parts of these cases are valid TOML, so that the mistake is the intended one."""
    tomllib.loads(HEAD + field(U8))
    assert check((HEAD + field(U8)).encode()) == ()
