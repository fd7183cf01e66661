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
    """Return what the whole layout of the page says of its memory."""
    return decode(load("\n".join(PIECES).encode()), Image.of(DATA))


def test_the_layout_is_good_after_every_piece() -> None:
    """A reader who checks as told never meets a mistake of the page's own."""
    assert len(PIECES) == 6
    for count in range(1, len(PIECES) + 1):
        assert check("\n".join(PIECES[:count]).encode()) == ()


def test_the_values_are_those_of_the_page() -> None:
    """Every field of the layout stands in a table of the page, with its value and unit."""
    shown = [row for row in ROW.findall(PAGE) if row[0] != "field"]
    found = [(each.field, each.value, each.unit or "") for each in decoded().fields]
    assert found == shown
    assert len(found) == 17


def test_the_check_of_the_page_holds() -> None:
    """Over all bytes before it."""
    (result,) = decoded().checks
    assert result.holds is True
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
