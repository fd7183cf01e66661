"""Each bad layout by its own name, and every code of a layout's mistakes raised at least once.

The first list is what a strict reader of layouts refuses, one case a phrase; the second
are the further codes, so that every declared code is raised.
"""

from __future__ import annotations

from typing import NamedTuple

import pytest

from parambak.errors import Fault, LayoutRefused
from parambak.layouts import faults
from parambak.layouts.decode import require_fit
from parambak.layouts.load import check, load
from parambak.memory.image import Image

HEAD = '[layout]\ntitle = "T"\nmemory = 256\nbyte-order = "big"\n'  # lines 1 to 4
FIELD = '[[field]]\nname = "a"\n'  # lines 5 and 6
U8 = FIELD + 'at = 0\ntype = "u8"\n'  # lines 5 to 8
CHECK = '[[check]]\nname = "c"\nmethod = "sum-8"\n'  # lines 5 to 7
GROUP = '[[group]]\nname = "g"\nat = 0\n'  # lines 5 to 7
ROW = '[[group.field]]\nname = "r"\nat = 0\ntype = "u8"\n'
PARTS = {
    "round.toml": b'[layout]\ninclude = ["back.toml"]\n',
    "back.toml": b'[layout]\ninclude = ["round.toml"]\n',
    "head.toml": b"[layout]\nmemory = 4\n",
}


def fetch(name: str) -> bytes:
    """Return a file next to the layout."""
    if name not in PARTS:
        raise FileNotFoundError(2, "No such file")
    return PARTS[name]


class Bad(NamedTuple):
    """A bad layout: what is wrong with it, its text, the code and line of its only mistake."""

    what: str
    text: str | bytes
    code: str
    line: int | None
    next: str | None = None


def second(name: str, at: int = 1) -> str:
    """Return a second field, whose name is on line 10."""
    return f'[[field]]\nname = "{name}"\nat = {at}\ntype = "u8"\n'


REFUSED = [
    Bad("not UTF-8", b'[layout]\ntitle = "\xe9"\n', "layout-not-utf8", 2),
    Bad("a NUL", b"[layout]\n# \x00\n", "layout-nul", 2),
    Bad("TOML syntax, with its line", HEAD + FIELD + "at = = 1\n", "layout-syntax", 7),
    Bad("a key twice", HEAD + FIELD + "at = 1\nat = 2\n", "layout-key-twice", 8),
    Bad("a table twice", HEAD + "[layout]\n", "layout-key-twice", 5),
    Bad(
        "an unknown key, with the nearest known one",
        HEAD + U8 + "scael = 2\n",
        "layout-unknown-key",
        9,
        "Did you mean `scale`?",
    ),
    Bad("an unknown version", HEAD + "language = 2\n", "layout-unknown-language", 5),
    Bad(
        "a boolean where an integer belongs",
        HEAD + FIELD + 'at = true\ntype = "u8"\n',
        "layout-wrong-kind",
        7,
    ),
    Bad(
        "a float where an integer belongs",
        HEAD + FIELD + 'at = 1.0\ntype = "u8"\n',
        "layout-wrong-kind",
        7,
    ),
    Bad(
        "text where an integer belongs",
        HEAD + FIELD + 'at = "1"\ntype = "u8"\n',
        "layout-wrong-kind",
        7,
    ),
    Bad("a scale that is NaN", HEAD + U8 + "scale = nan\n", "layout-number", 9),
    Bad("an infinite scale", HEAD + U8 + "scale = inf\n", "layout-number", 9),
    Bad("a scale of zero", HEAD + U8 + "scale = 0\n", "layout-scale", 9),
    Bad("low above high", HEAD + U8 + "low = 3\nhigh = 2\n", "layout-limits", 9),
    Bad("a negative address", HEAD + FIELD + 'at = -1\ntype = "u8"\n', "layout-address", 7),
    Bad(
        "an address past the memory's end",
        HEAD + FIELD + 'at = 0xFF\ntype = "u16"\n',
        "layout-address",
        7,
    ),
    Bad(
        "a length of zero",
        HEAD + FIELD + 'at = 0\ntype = "bytes"\nlength = 0\n',
        "layout-length",
        9,
    ),
    Bad("fields that overlap and do not say so", HEAD + U8 + second("b", 0), "layout-overlap", 11),
    Bad("names equal after case folding", HEAD + U8 + second("A"), "layout-name-twice", 10),
    Bad(
        "names equal after Unicode normalisation",
        HEAD + U8 + second("\uff41"),
        "layout-name-twice",
        10,
    ),
    Bad(
        "bits wider than the field",
        HEAD + FIELD + 'at = 0\ntype = "bits"\nbit = 0\nwidth = 9\n',
        "layout-bits",
        9,
    ),
    Bad(
        "one value with two meanings",
        HEAD + U8 + 'values = { 1 = "on", 0x01 = "off" }\n',
        "layout-values-twice",
        9,
    ),
    Bad(
        "a control character in a name",
        HEAD + '[[field]]\nname = "a\\u0007"\nat = 0\ntype = "u8"\n',
        "layout-name",
        6,
    ),
    Bad(
        "a bidirectional character in a name",
        HEAD + '[[field]]\nname = "a\\u202eb"\nat = 0\ntype = "u8"\n',
        "layout-name",
        6,
    ),
    Bad(
        "a 5,000-digit integer",
        HEAD + FIELD + f"at = {'9' * 5000}\n",
        "layout-number-too-long",
        7,
    ),
    Bad(
        "5,000 nested brackets",
        HEAD + FIELD + f"at = {'[' * 5000}{']' * 5000}\n",
        "layout-too-deep",
        7,
    ),
    Bad(
        "a check that covers its own stored value",
        HEAD + CHECK + "over = [[0, 9]]\nat = 9\n",
        "layout-check-over-itself",
        8,
    ),
    Bad(
        "an unknown check method",
        HEAD + '[[check]]\nname = "c"\nmethod = "sum-61"\nover = [[0, 9]]\nat = 20\n',
        "layout-check-method",
        7,
        "Did you mean `sum-16`?",
    ),
    Bad(
        "an include that leaves its folder",
        HEAD + 'include = ["../x.toml"]\n',
        "layout-include-outside",
        5,
    ),
    Bad(
        "an include that goes round in a circle",
        HEAD + 'include = ["round.toml"]\n',
        "layout-include-circle",
        2,
    ),
]

FURTHER = [
    Bad("too long", b"#" * (2 * 1024 * 1024 + 1), "layout-too-large", None),
    Bad("no type", HEAD + FIELD + "at = 0\n", "layout-key-missing", 5),
    Bad("no memory at all", HEAD.replace("256", "0"), "layout-out-of-bounds", 3),
    Bad("no such type", HEAD + FIELD + 'at = 0\ntype = "u9"\n', "layout-unknown-word", 8),
    Bad("a lone point", HEAD + U8 + "curve = [[0, 1]]\n", "layout-curve", 9),
    Bad("a limit of no field", HEAD + U8 + 'low-from = "b"\n', "layout-limit-field", 9),
    Bad("a hidden character", HEAD + U8 + 'note = "a\\u2028b"\n', "layout-text", 9),
    Bad("a meaning beyond", HEAD + U8 + 'values = { 256 = "on" }\n', "layout-values", 9),
    Bad("a bit of a whole number", HEAD + U8 + "bit = 1\n", "layout-not-for-type", 9),
    Bad(
        "no byte order",
        HEAD.replace('byte-order = "big"', "#") + FIELD + 'at = 0\ntype = "u16"\n',
        "layout-byte-order",
        5,
    ),
    Bad(
        "half a date",
        HEAD + FIELD + 'at = 0\ntype = "date-time"\nparts = ["year", "month"]\n',
        "layout-parts",
        9,
    ),
    Bad("rows, and no step", HEAD + GROUP + "count = 2\n" + ROW, "layout-row-size", 5),
    Bad(
        "a row without a name",
        HEAD + GROUP + 'count = 2\nrow-size = 1\nrows = ["x"]\n' + ROW,
        "layout-rows",
        10,
    ),
    Bad(
        "more fields than are taken",
        HEAD.replace("256", "16777216")
        + GROUP
        + "count = 200000\nrow-size = 2\n"
        + ROW
        + ROW.replace('"r"', '"s"').replace("at = 0", "at = 1"),
        "layout-too-many-fields",
        5,
    ),
    Bad(
        "a polynomial of a sum",
        HEAD + CHECK + "over = [[0, 9]]\nat = 20\npoly = 7\n",
        "layout-check-parameters",
        10,
    ),
    Bad("a range backwards", HEAD + CHECK + "over = [[9, 0]]\nat = 20\n", "layout-check-range", 8),
    Bad(
        "an include that is not there",
        HEAD + 'include = ["absent.toml"]\n',
        "layout-include-absent",
        5,
    ),
    Bad("a head in an include", HEAD + 'include = ["head.toml"]\n', "layout-include-head", 2),
]
# Raised when a layout is used with an image, and shown below.
MET_BY_AN_IMAGE = {"layout-other-memory"}


@pytest.mark.parametrize("bad", REFUSED + FURTHER, ids=lambda bad: bad.what)
def test_it_is_refused_by_code_and_line(bad: Bad) -> None:
    """The one mistake, as `check` lists it and as `load` refuses with it."""
    text = bad.text if isinstance(bad.text, bytes) else bad.text.encode()
    (found,) = check(text, include=fetch)
    assert (found.code, found.line) == (bad.code, bad.line)
    assert bad.next is None or found.next == bad.next
    assert found.text
    assert found.next
    assert found.expected or found.found
    with pytest.raises(LayoutRefused) as refused:
        load(text, include=fetch)
    assert (refused.value.code, refused.value.line) == (bad.code, bad.line)


def test_a_layout_for_another_memory_is_refused_with_both_sizes() -> None:
    """It is good in itself; what it is put on is not for it."""
    with pytest.raises(LayoutRefused) as refused:
        require_fit(load((HEAD + U8).encode()), Image.of(bytes(512)))
    assert refused.value.code in MET_BY_AN_IMAGE
    assert "256" in (refused.value.expected or "")
    assert "512" in (refused.value.found or "")


def test_every_code_of_a_layout_is_raised_here() -> None:
    """A fault that no layout can bring about would be dead; a new one comes with its case."""
    declared = {each.code for each in vars(faults).values() if isinstance(each, Fault)}
    assert declared == {bad.code for bad in REFUSED + FURTHER} | MET_BY_AN_IMAGE
