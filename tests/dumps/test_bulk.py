"""The bulk path against its judge, the record-by-record reader."""

from __future__ import annotations

import random
from typing import TYPE_CHECKING

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from parambak.dumps import intel_hex, s_record
from parambak.dumps.dump import SAME_BYTE_TWICE, TEXT_AROUND, WRAP, Dump, Style, Terms
from parambak.dumps.records import read_by_record, read_in_bulk, text_of
from parambak.errors import ParambakError
from parambak.memory.image import Block, Image

if TYPE_CHECKING:
    from types import ModuleType

FORMATS = {"intel-hex": intel_hex, "s-record": s_record}
WIDTHS = {"intel-hex": (None, 20, 32), "s-record": (None, 24, 32)}
TERMS = (
    Terms(),
    Terms(memory_size=0x11000),
    Terms(frozenset({SAME_BYTE_TWICE, WRAP, TEXT_AROUND})),
)


def outcome(read: object) -> Dump | tuple[object, ...]:
    """Return what reading gives: a dump, or every part of the refusal."""
    try:
        return read()  # type: ignore[operator, no-any-return]
    except ParambakError as error:
        return tuple(error.document().values())


def judged(module: ModuleType, data: bytes, terms: Terms) -> Dump | tuple[object, ...]:
    """Return what reading record by record alone gives."""
    return outcome(
        lambda: read_by_record(module.Parser, text_of(module.Parser, data, terms), terms)
    )


def image_of(rng: random.Random) -> Image:
    """Return an image that crosses a 64 KiB boundary, in one to three pieces."""
    blocks = [Block(0xFF00 + rng.randrange(64), rng.randbytes(rng.randrange(300, 2500)))]
    if rng.random() < 0.5:
        blocks.append(Block(0x10A80 + rng.randrange(64), rng.randbytes(rng.randrange(1, 900))))
    if rng.random() < 0.5:
        blocks.append(Block(rng.randrange(64), rng.randbytes(rng.randrange(1, 900))))
    return Image.from_blocks(blocks)


def damaged(data: bytes, rng: random.Random) -> bytes:
    """Return the file with one thing changed: a byte, a line twice, gone or moved, an end."""
    lines = data.splitlines(keepends=True)
    at, other = rng.randrange(len(lines)), rng.randrange(len(lines))
    where = rng.randrange(len(data))
    lines_changed = [
        [*lines[:at], *lines[at + 1 :]],
        [*lines[:at], lines[other], *lines[at:]],
        [*lines[:at], lines[at].lower(), *lines[at + 1 :]],
        [*lines[:at], b"\n", *lines[at:]],
    ]
    changes = [
        data[:where]
        + rng.choice(b"0123456789ABCDEFG:S \r\n\x00").to_bytes(1, "big")
        + data[where + 1 :],
        data[:where] + data[where + 1 :],
        data[:where],
        *(b"".join(each) for each in lines_changed),
        b"".join(rng.sample(lines[:-1], len(lines) - 1)) + lines[-1],
    ]
    return rng.choice(changes)


@pytest.mark.parametrize("name", FORMATS)
@given(seed=st.integers(0, 2**32), harm=st.booleans())
@example(seed=0, harm=False)
def test_bulk_path_and_judge_agree(name: str, seed: int, harm: bool) -> None:
    """Every file, sound or damaged, gives the same dump or the same refusal, word for word."""
    rng = random.Random(seed)
    style = Style(
        record_length=rng.choice((None, 1, 8, 16, 32, 250)),
        address_width=rng.choice(WIDTHS[name]) if name == "s-record" else 32,
        line_end=rng.choice((b"\n", b"\r\n", b"\r")),
    )
    image = image_of(rng)
    module = FORMATS[name]
    if name == "s-record" and style.address_width is None:
        style = Style(record_length=style.record_length, line_end=style.line_end)
    data = module.write(image, style=style)
    if harm:
        data = damaged(data, rng)
    for terms in TERMS:
        assert outcome(lambda: module.read(data, terms=terms)) == judged(  # noqa: B023 - called at once
            module, data, terms
        )


@pytest.mark.parametrize("name", FORMATS)
@pytest.mark.parametrize("length", [1, 16, 32, 250])
def test_regular_file_takes_the_bulk_path(
    name: str, length: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of a plain file only the unusual lines are read one by one; otherwise nothing is gained."""
    image = Image.of(random.Random(7).randbytes(70_001), 0xFFF0)
    module = FORMATS[name]
    data = module.write(image, style=Style(record_length=length, address_width=32))
    taken = []
    take = module.Parser.take

    def counted(self: object, line: bytes, number: int) -> None:
        taken.append(number)
        take(self, line, number)

    monkeypatch.setattr(module.Parser, "take", counted)
    dump = read_in_bulk(module.Parser, text_of(module.Parser, data, Terms()), Terms())
    assert dump is not None
    assert dump.image == image
    assert len(taken) < 30


@pytest.mark.parametrize("name", FORMATS)
@given(data=st.binary(max_size=300))
def test_any_bytes_give_a_dump_or_a_refusal(name: str, data: bytes) -> None:
    """No other exception ever escapes."""
    outcome(lambda: FORMATS[name].read(data))


def _hex_line(kind: int, offset: int, data: bytes) -> bytes:
    body = bytes((len(data), offset >> 8, offset & 0xFF, kind)) + data
    return b":" + (body + bytes((-sum(body) & 0xFF,))).hex().upper().encode()


LINE = st.one_of(
    st.builds(
        _hex_line,
        st.sampled_from((0, 0, 0, 0, 1, 2, 3, 4, 5, 6)),
        st.sampled_from((0, 0x10, 0xFFFE, 0x1234)),
        st.binary(max_size=5),
    ),
    st.sampled_from((b"", b" ", b"text", b":", b":00000001FF", b":0000", b"\x1a")),
)


@given(lines=st.lists(LINE, max_size=8), end=st.sampled_from((b"\n", b"\r\n")))
def test_any_records_give_a_dump_or_a_refusal(lines: list[bytes], end: bytes) -> None:
    """Sound records in any order are taken or refused, and both paths give the same answer."""
    data = end.join(lines)
    for terms in TERMS:
        assert outcome(lambda: intel_hex.read(data, terms=terms)) == judged(  # noqa: B023 - called at once
            intel_hex, data, terms
        )


def _srec_line(kind: int, address: int, data: bytes) -> bytes:
    width = kind + 1
    body = bytes((width + len(data) + 1,)) + address.to_bytes(width, "big") + data
    return b"S%d" % kind + (body + bytes((~sum(body) & 0xFF,))).hex().upper().encode()


ODD_STRETCHES = {
    "over 64 KiB in the last of many": [
        *(_hex_line(0, 0xFE08 + 16 * index, bytes([index]) * 16) for index in range(32)),
        b":00000001FF",
    ],
    "over a segment's end amid many": [
        b":020000021000EC",
        *(_hex_line(0, (0xFF08 + 16 * index) & 0xFFFF, bytes([index]) * 16) for index in range(40)),
        b":00000001FF",
    ],
    "S1 over 64 KiB in the last of many, then S2": [
        *(_srec_line(1, 0xFE08 + 16 * index, bytes([index]) * 16) for index in range(32)),
        *(_srec_line(2, 0x10008 + 16 * index, bytes([index]) * 16) for index in range(32)),
        b"S804000000FB",
    ],
    "S1 over 64 KiB amid many": [
        *(_srec_line(1, (0xFF08 + 16 * index) & 0xFFFF, bytes(16)) for index in range(40)),
        b"S9030000FC",
    ],
    "many records without bytes": [
        _srec_line(1, 0, b"\x01"),
        *(_srec_line(1, 0, b"") for _ in range(40)),
        b"S9030000FC",
    ],
    "many records at places of their own": [
        *(_hex_line(0, 48 * (index * 7 % 40), bytes([index]) * 16) for index in range(40)),
        b":00000001FF",
    ],
}


@pytest.mark.parametrize("name", ODD_STRETCHES)
def test_odd_stretches_are_read_alike(name: str) -> None:
    """Stretches outside their range, empty or out of order: as the judge reads them."""
    data = b"\n".join(ODD_STRETCHES[name]) + b"\n"
    module = s_record if data.startswith(b"S") else intel_hex
    for terms in TERMS:
        assert outcome(lambda: module.read(data, terms=terms)) == judged(module, data, terms)  # noqa: B023 - called at once
