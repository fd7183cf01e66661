"""formats/writing-a-layout.md: its pieces, put together as a reader does, give its values."""

from __future__ import annotations

import re
from pathlib import Path

from parambak.layouts.decode import Decoded, decode
from parambak.layouts.load import check, load
from parambak.memory.image import Image

PAGE = (Path(__file__).parents[2] / "formats" / "writing-a-layout.md").read_text(encoding="utf-8")
PIECES = re.findall(r"```toml\n(.*?)```", PAGE, re.DOTALL)
DATA = bytes.fromhex(re.findall(r"```hex\n(.*?)```", PAGE, re.DOTALL)[0])
ROW = re.compile(r"^\| ([a-z_]+(?:\[\d\]\.[a-z_]+)?) \| ([^|]*?) \| ([^|]*?) ?\|$", re.MULTILINE)


def decoded() -> Decoded:
    """Return what the complete layout of the page decodes from its memory."""
    return decode(load("\n".join(PIECES).encode()), Image.of(DATA))


def test_the_layout_is_good_after_every_piece() -> None:
    """A reader who checks as stated never meets a mistake of the page's own."""
    assert len(PIECES) == 7
    for count in range(1, len(PIECES) + 1):
        assert check("\n".join(PIECES[:count]).encode()) == ()


def test_the_values_are_those_of_the_page() -> None:
    """Every field of the layout is in a table of the page, with its value and unit."""
    shown = [row for row in ROW.findall(PAGE) if row[0] != "field"]
    found = [(each.field, each.value, each.unit or "") for each in decoded().fields]
    assert found == shown
    assert len(found) == 17


def test_the_check_of_the_page_holds() -> None:
    """Over all bytes before it; and the area that must be blank is."""
    assert [(each.method, each.holds) for each in decoded().checks] == [
        ("sum-16", True),
        ("must-be-blank", True),
    ]
    assert all(each.mark is None for each in decoded().fields)


def test_what_the_page_says_of_wrong_values_is_so() -> None:
    """The other byte order gives 32000 for 125; without the sign -15 is 65521."""
    text = "\n".join(PIECES)
    turned = text.replace('byte-order = "big"', 'byte-order = "little"')
    values = {
        each.field: each.value for each in decode(load(turned.encode()), Image.of(DATA)).fields
    }
    assert values["start_delay"] == "3200.0"
    unsigned = text.replace('type = "s16"', 'type = "u16"').replace('type = "bcd"', 'type = "gray"')
    values = {
        each.field: each.value for each in decode(load(unsigned.encode()), Image.of(DATA)).fields
    }
    assert values["suction_trim"] == "6552.1"
    assert int.from_bytes(DATA[0x32:0x33], "big") == 37


RELIEF_VALVE = '[[field]]\nname = "relief_valve"\nat = 2\ntype = "u16"\n'
# What each line of the table is written into, a memory's first bytes, and what is shown.
HOSTS = {
    "byte-order": ('[[field]]\nname = "f"\nat = 0\ntype = "u32"', "01000000", "1"),
    "curve": ('[[field]]\nname = "f"\nat = 0\ntype = "u16"\ndecimals = 1', "0569", "100.0"),
    "high-from": (
        RELIEF_VALVE + '[[field]]\nname = "f"\nat = 0\ntype = "u16"',
        "0009 0008",
        "9",
    ),
    "values": ('[[field]]\nname = "f"\nat = 0\ntype = "u16"\nscale = 0.1', "FFFF", "not used"),
    "meaning -": ('[[field]]\nname = "f"\nat = 0\ntype = "s16"\nscale = 0.1', "8000", "not used"),
    "type date": ('[[field]]\nname = "f"\nat = 0', "140922", "2022-09-14"),
    "type bytes": (
        (
            '[[group]]\nname = "g"\nat = 0\ncount = 2\nrow-size = 2\n'
            '[[group.field]]\nname = "f"\nat = 1'
        ),
        "0102 0304",
        "02",
    ),
    "at": ('[[mirrored]]\nname = "k"', "", ""),
}
LINES = [
    row[1]
    for row in re.findall(
        r"^\| (.*) \| (.*[^ ]) \|$", PAGE.split("## 6.")[1].split("## 7.")[0], re.MULTILINE
    )
]


def test_what_else_the_papers_may_say_is_written_so() -> None:
    """Each line of the table, in an entry of its kind, shows the value of the papers."""
    written = ["\n".join(re.findall(r"`([a-z-]+ = [^`]*)`", line)) for line in LINES[1:]]
    assert len(written) == len(HOSTS)
    for keys, (host, data, value) in zip(written, HOSTS.values(), strict=True):
        layout = load(
            f'[layout]\ntitle = "t"\nmemory = 64\nbyte-order = "big"\n{host}\n{keys}\n'.encode()
        )
        found = decode(layout, Image.of(bytes.fromhex(data).ljust(64, b"\xff")))
        if value:
            field = next(each for each in found.fields if each.field.endswith("f"))
            assert (field.value, field.mark) == (value, None)
            assert (field.within_limits is False) is ("high-from" in keys)
        else:
            assert [each.method for each in found.checks] == ["mirrored"]
