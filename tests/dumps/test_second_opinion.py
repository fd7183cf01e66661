"""The second opinion: unrelated code, used only if it is right by the standard."""

from __future__ import annotations

from typing import TYPE_CHECKING

import bincopy
import intelhex
import pytest
from msgspec.structs import replace

from parambak.dumps.dump import SAME_BYTE_TWICE, TEXT_AROUND, WRAP, Style, Terms
from parambak.dumps.format import Judge
from parambak.dumps.registry import read_dump, write_dump
from parambak.dumps.second_opinion import second_opinion
from parambak.errors import DumpRefused
from parambak.memory.image import Block, Image

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

IMAGE = Image.from_blocks([Block(0xFFF0, bytes(range(200))), Block(0x20000, b"\x55" * 70_000)])


@pytest.mark.parametrize(
    ("name", "judge"),
    [("intel-hex", "intelhex 2.3.0"), ("s-record", f"bincopy {bincopy.__version__}")],
)
def test_judge_is_named_where_it_agrees(name: str, judge: str) -> None:
    """The answer carries the judge's name and version; portions join without a gap."""
    data = write_dump(IMAGE, name)
    opinion = second_opinion(data, read_dump("dump", data))
    assert (opinion.judge, opinion.agrees) == (judge, True)
    assert intelhex.__name__ in judge or "bincopy" in judge


@pytest.mark.parametrize("name", ["intel-hex", "s-record"])
def test_difference_is_refused_with_its_first_address(name: str) -> None:
    """One bit read otherwise is named: address, our byte and theirs."""
    data = write_dump(IMAGE, name)
    dump = read_dump("dump", data)
    content = bytearray(dump.image.content)
    content[3] ^= 1
    wrong = replace(dump, image=Image.from_content(bytes(content), dump.image.ranges))
    with pytest.raises(DumpRefused) as caught:
        second_opinion(data, wrong)
    error = caught.value
    assert (error.code, error.offset) == ("opinion-differs", 0xFFF3)
    assert (error.expected, error.found) == ("02 at 0xFFF3, as read here", "03")


@pytest.mark.parametrize("name", ["intel-hex", "s-record"])
def test_bytes_missing_or_made_up_are_refused(name: str) -> None:
    """A byte that only one of the two reads is a difference."""
    data = write_dump(IMAGE, name)
    dump = read_dump("dump", data)
    more = Image.from_blocks([*IMAGE.blocks, Block(0x40000, b"\x01")])
    for image, offset, expected, found in (
        (IMAGE.part(0xFFF1, IMAGE.end), 0xFFF0, "nothing at 0xFFF0, as read here", "00"),
        (more, None, "70201 bytes, as read here", "70200 bytes"),
    ):
        with pytest.raises(DumpRefused) as caught:
            second_opinion(data, replace(dump, image=image))
        error = caught.value
        assert (error.code, error.offset) == ("opinion-differs", offset)
        assert (error.expected, error.found) == (expected, found)
        judge = "intelhex 2.3.0" if name == "intel-hex" else f"bincopy {bincopy.__version__}"
        assert error.text == f"an unrelated program, {judge}, reads other bytes from this dump"


def test_refusal_of_the_judge_is_a_refusal() -> None:
    """A file that the judge does not accept is not archived."""
    data = write_dump(IMAGE, "intel-hex")
    dump = read_dump("dump", data)
    with pytest.raises(DumpRefused) as caught:
        second_opinion(data.replace(b"55", b"56", 1), dump)
    error = caught.value
    assert (error.code, error.expected) == ("opinion-refuses", "the 70200 bytes read here")
    assert error.text == "an unrelated program, intelhex 2.3.0, refuses this dump"
    assert error.found is not None
    assert "checksum" in error.found


def test_judge_is_asked_in_portions(monkeypatch: pytest.MonkeyPatch) -> None:
    """4,096 lines at a time, the base in force before them; a long refusal is cut."""
    asked: list[int] = []

    def pieces(portions: Iterable[list[str]]) -> Iterator[tuple[int, bytes]]:
        for portion in portions:
            asked.append(len(portion))
            if len(asked) > 1:
                raise ValueError("x" * 300)
            yield from ()

    monkeypatch.setattr(
        "parambak.dumps.intel_hex.by_intelhex", lambda portions: Judge("nobody", pieces(portions))
    )
    data = write_dump(IMAGE, "intel-hex", Style(record_length=8))
    with pytest.raises(DumpRefused) as caught:
        second_opinion(data, read_dump("dump", data))
    assert asked == [4096, 4097]
    assert caught.value.found == "x" * 200


NOT_ASKED = {
    "wrap": (b":020000021000EC\n:04FFFE001122334455\n:00000001FF\n", WRAP),
    "same byte twice": (b":0100000001FE\n:0100000001FE\n:00000001FF\n", SAME_BYTE_TWICE),
    "no base past 64 KiB": (b":04FFFE001122334455\n:00000001FF\n", WRAP),
    "same byte twice in S-records": (
        b"S104000001FA\nS104000001FA\nS9030000FC\n",
        SAME_BYTE_TWICE,
    ),
}


@pytest.mark.parametrize("name", NOT_ASKED)
def test_judge_known_to_be_wrong_is_not_asked(name: str) -> None:
    """If the libraries do not follow the standard, the answer gives the reason for no judge."""
    data, allowance = NOT_ASKED[name]
    opinion = second_opinion(data, read_dump("dump", data, terms=Terms(frozenset({allowance}))))
    assert (opinion.judge, opinion.agrees) == (None, None)
    assert opinion.why_not


def test_raw_has_no_judge() -> None:
    """There is nothing to decode in raw bytes."""
    opinion = second_opinion(b"\x01", read_dump("a.bin", b"\x01"))
    assert (opinion.judge, opinion.agrees) == (None, None)
    assert opinion.why_not == "a raw dump is its own bytes: there is nothing to decode"


def test_oddities_that_we_note_do_not_stop_the_judge() -> None:
    """Blank lines, lower case, padding, text around, zero fields: the judge sees plain records."""
    data = (
        b"login\n:02000104000AEF\n\n:0400000512345678e3\n:0100000001fe\n"
        b":0400000512345678E3\n:00000001FF\nbye\n"
    )
    dump = read_dump("a.hex", data, terms=Terms(frozenset({TEXT_AROUND})))
    assert dump.image == Image.of(b"\x01", 0xA0000)
    assert second_opinion(data, dump).agrees
    padded = b":0100000001fe\r\n:00000001FF\r\n\x1a\x1a"
    assert second_opinion(padded, read_dump("a.hex", padded)).agrees
    empty = b"S1030000FC\n\nS104000001fa\nS1030005F7\nS5030003F9\nS9030000FC\n"
    assert second_opinion(empty, read_dump("a.s19", empty)).agrees


def test_records_without_bytes_do_not_stop_the_judge() -> None:
    """bincopy refuses an empty record whose address is within data: it gets none."""
    srec = b"S10500000102F7\nS1030001FB\nS204000001FA\nS305000000" + b"01F9\n"
    srec += b"S9030000FC\n"
    assert second_opinion(srec, read_dump("a.s19", srec)).agrees
    zero_field = b":020001040000F9\n:020000000102FB\n:00000100FF\n:00000001FF\n"
    assert second_opinion(zero_field, read_dump("a.hex", zero_field)).agrees
