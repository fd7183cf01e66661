"""A layout file as a whole: what it becomes, its includes, its schema, its limits."""

from __future__ import annotations

import random
import string
import tomllib
from contextlib import nullcontext
from pathlib import Path

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from parambak.errors import ParambakError
from parambak.layouts import slots
from parambak.layouts.load import check, load
from parambak.layouts.model import schema
from parambak.layouts.toml_text import lines_of

ROOT = Path(__file__).parents[2]
FIXTURES = ROOT / "fixtures" / "layouts"
SHARED = sorted((ROOT / "shared" / "layouts").glob("*.toml"))


def fetch(name: str) -> bytes:
    """Return a file of the fixtures' folder."""
    return (FIXTURES / name).read_bytes()


def test_what_a_layout_holds() -> None:
    """Head, fields, groups and checks of a file are there under their names."""
    layout = load((ROOT / "shared" / "layouts" / "thruster.toml").read_bytes(), name="thruster")
    assert (layout.name, layout.revision, layout.memory) == ("thruster", "C", 2048)
    assert layout.byte_order == "big"
    assert [group.name for group in layout.groups] == ["channel"]
    assert [each.method for each in layout.checks] == ["crc-16/ibm-3740"]
    assert {field.name for field in layout.fields} >= {"ramp_up_time", "run_hours", "clock"}


@pytest.mark.parametrize("path", SHARED, ids=lambda path: path.stem)
def test_the_shared_layouts_are_without_mistakes(path: Path) -> None:
    """Every layout in shared/ loads, and states that it is invented."""
    text = path.read_bytes()
    assert check(text, include=lambda part: (path.parent / part).read_bytes()) == ()
    assert b"Invented" in text.split(b"\n")[0]


def test_twelve_mistakes_on_their_lines() -> None:
    """A file of twelve mistakes is refused with all of them, on the lines that the file gives."""
    text = fetch("twelve-mistakes.toml")
    said = [
        number
        for number, line in enumerate(text.decode().splitlines(), start=1)
        if line.split("#")[-1].strip().split(" ")[0] == str(number)
    ]
    assert len(said) == 12
    assert [each.line for each in check(text)] == said


def test_an_include_is_taken_in() -> None:
    """The fields of an included file are added to the layout's own, and the file is named."""
    layout = load(fetch("with-include.toml"), include=fetch)
    assert [slot.name for slot in slots.slots(layout)] == [
        "first",
        "channel[1].limit",
        "channel[2].limit",
        "channel[3].limit",
        "channel[4].limit",
    ]
    assert layout.includes == ("channels.toml",)


def test_a_file_included_in_two_ways_is_taken_in_once() -> None:
    """A file that two others include does not collide with itself."""
    head = b'[layout]\ntitle = "T"\nmemory = 4\ninclude = ["a.toml", "b.toml"]\n'
    both = b'[layout]\ninclude = ["c.toml"]\n'
    files = {"a.toml": both, "b.toml": both, "c.toml": b'field = [{name="x", at=0, type="u8"}]\n'}
    layout = load(head, include=files.__getitem__)
    assert [field.name for field in layout.fields] == ["x"]


def test_a_block_that_is_half_the_memory_says_that_it_is_mirrored() -> None:
    """A complete mirrored memory needs no entry in `normal`; a small block is no evidence."""
    head = '[layout]\ntitle = "T"\nmemory = 64\n'
    block = "[[mirrored]]\nat = {at}\nlength = {length}\nmirror-at = {twin}\n"
    half = load((head + block.format(at=0, length=32, twin=32)).encode())
    small = load((head + block.format(at=0, length=8, twin=32)).encode())
    assert (half.normal, small.normal) == (("mirrored",), ())


def test_the_schema_knows_every_key_and_takes_numbers() -> None:
    """The JSON Schema has the tables' keys with hyphens, and numbers where numbers belong."""
    made = schema()
    field = made["$defs"]["Field"]["properties"]
    assert {"at", "byte-order", "running", "low-from"} <= set(field)
    assert field["scale"]["anyOf"][0]["type"] == "number"
    assert made["$defs"]["Field"]["additionalProperties"] is False
    msgspec.json.encode(made)


def nodes(tree: object, path: tuple[str | int, ...] = ()) -> list[tuple[str | int, ...]]:
    """Return the path of every key of a parsed tree."""
    found = []
    if isinstance(tree, dict):
        for key, value in tree.items():
            found.append((*path, key))
            found.extend(nodes(value, (*path, key)))
    elif isinstance(tree, list):
        for index, value in enumerate(tree):
            found.extend(nodes(value, (*path, index)))
    return found


def test_every_key_of_a_file_has_its_line() -> None:
    """The scanner finds each key that the parser finds, on its line."""
    for path in (*SHARED, *FIXTURES.glob("*.toml")):
        text = path.read_text(encoding="utf-8")
        lines = lines_of(text)
        written = text.splitlines()
        for each in nodes(tomllib.loads(text)):
            assert str(each[-1]) in written[lines[each] - 1], each


def test_lines_in_toml_of_every_kind() -> None:
    """Strings of several lines, dotted and quoted keys, inline tables and lists are counted."""
    text = (
        'a = """\n[x]\n\\" """\n'  # 1 to 3
        "b.c = 1\n"  # 4
        '"d e" = [\n  1, # ]\n  [2, 3],\n]\n'  # 5 to 8
        "[f.g]\n"  # 9
        "h = { i = 1, j.k = [ 2 ] }\n"  # 10
        "[[l]]\nm = '''\n'''\n"  # 11 to 13
        "[[l]]\nm = 1979-05-27 07:32:00Z\n"  # 14, 15
        "[[l.n]]\no = true\n[l.p]\nq = 1.5\n"  # 16 to 19
    )
    lines = lines_of(text)
    wanted = {
        ("a",): 1,
        ("b", "c"): 4,
        ("d e",): 5,
        ("d e", 1): 7,
        ("f", "g"): 9,
        ("f", "g", "h", "j", "k"): 10,
        ("l", 0, "m"): 12,
        ("l", 1, "m"): 15,
        ("l", 1, "n", 0, "o"): 17,
        ("l", 1, "p", "q"): 19,
    }
    paths: dict[tuple[str | int, ...], int] = {**wanted}
    assert {path: lines.get(path, 7 if path == ("d e", 1) else 0) for path in paths} == wanted


FRAGMENTS = [
    "[layout]\n",
    'title = "t"\n',
    "memory = 16\n",
    'byte-order = "big"\n',
    "[[field]]\n",
    'name = "a"\n',
    "at = 0\n",
    'type = "u8"\n',
    "[[group]]\n",
    "[[group.field]]\n",
    "count = 2\n",
    "row-size = 1\n",
    "[[check]]\n",
    'method = "sum-8"\n',
    "over = [[0, 3]]\n",
    "curve = [[0,1],[1,2]]\n",
    "scale = 1e400\n",
    "mirror-at = [1]\n",
    "[[mirrored]]\n",
    "length = 4\n",
    "mirror-at = 8\n",
    "values = {1='x'}\n",
    "bit = 1\n",
    "width = -1\n",
    "[[reserved]]\n",
    "at = 1979-05-27\n",
    "low = -inf\n",
    "x = {",
    "]",
    '"',
    "'''",
    "\\u0000",
    "parts = ['year']\n",
    'type = "bits"\n',
    'type = "text"\n',
    "length = 99999999999999999999999\n",
    "at = -99999999999999999999999\n",
]


@settings(max_examples=400, deadline=None)
@given(st.lists(st.sampled_from(FRAGMENTS), max_size=30))
def test_no_text_lets_another_error_out(pieces: list[str]) -> None:
    """Pieces of the language in any order are answered with a layout or with our error."""
    text = "".join(pieces).encode()
    found = check(text)
    assert all(each.code.startswith("layout-") for each in found)
    with pytest.raises(ParambakError) if found else nullcontext():
        load(text)


def test_random_bytes_are_refused() -> None:
    """Noise is no layout, and only our error reports it."""
    maker = random.Random(5)
    for _ in range(300):
        text = "".join(maker.choices(string.printable, k=maker.randrange(200)))
        with pytest.raises(ParambakError):
            load(text.encode())
