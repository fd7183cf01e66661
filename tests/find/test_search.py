from __future__ import annotations

import random
from typing import TYPE_CHECKING, Literal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from parambak.errors import ParambakError
from parambak.find.draft import draft
from parambak.find.forms import Interpretation
from parambak.find.hits import _edges
from parambak.find.panel_values import parse
from parambak.find.search import Result, search
from parambak.layouts.field_types import TYPES
from parambak.layouts.load import check, load
from parambak.memory.image import Image

if TYPE_CHECKING:
    from parambak.find.search import ValueResult

TABLE = [(125, 90), (300, 310), (47, 48), (1500, 900), (62, 80), (999, 1001), (250, 250)]
VALUES = "".join(
    f"t{number} = {old / 10:.1f} s | {new / 10:.1f} s\n" for number, (old, new) in enumerate(TABLE)
)


def memories(size: int = 4096, at: int = 0x0240) -> tuple[bytearray, bytearray]:
    """Return two visits: a table of tenths of seconds, code, and blanks around it."""
    code = random.Random(5).randbytes(512)
    old = bytearray(b"\xff" * size)
    old[0x0800:0x0A00] = code
    new = bytearray(old)
    for number, values in enumerate(TABLE):
        for data, value in zip((old, new), values, strict=True):
            data[at + 2 * number : at + 2 * number + 2] = value.to_bytes(2, "big")
    return old, new


def found_in(values: str, *datas: bytes | bytearray, start: int = 0) -> Result:
    """Return what is found of the values in memories of one visit each."""
    panel_values = parse(values.encode(), len(datas)).panel_values
    return search(panel_values, [Image.of(bytes(data), start) for data in datas])


def by_name(result: Result) -> dict[str, ValueResult]:
    """Return the values found by their names."""
    return {each.panel_value.name: each for each in result.values}


def test_a_table_of_two_visits_is_found_with_confidence() -> None:
    """Each value first at its own place, in its type, order and scale."""
    for number, found in enumerate(found_in(VALUES, *memories()).values[:6]):
        first = found.candidates[0]
        assert (first.at, first.length, first.interpretation.order) == (
            0x0240 + 2 * number,
            2,
            "big",
        )
        assert str(first.interpretation.scale) == "1/10"
        assert found.confident or TABLE[number][0] < 256, found


@pytest.mark.parametrize("order", ["big", "little"])
def test_zeros_above_a_number_speak_for_the_wider_field(order: Literal["big", "little"]) -> None:
    """Fields of 16 and of 32 bits by turns, all of small numbers: each in its own width."""
    memory = bytearray(b"\xff" * 4096), bytearray(b"\xff" * 4096)
    at, text, panel_value = 0x0240, "", []
    counts = [(18231, 18502), (4711, 4790), (9100, 12345), (2600, 3777), (3100, 3190), (700, 1900)]
    for number, values in enumerate(counts):
        length = 2 + 2 * (number % 2)
        for data, value in zip(memory, values, strict=True):
            data[at : at + length] = value.to_bytes(length, order)
        text += f"v{number} = {values[0]} h | {values[1]} h\n"
        panel_value.append((at, length, order))
        at += length
    firsts = [each.candidates[0] for each in found_in(text, *memory).values]
    assert [(each.at, each.length, each.interpretation.order) for each in firsts] == panel_value


def test_a_number_that_is_nothing_but_zeros_has_none_above_it() -> None:
    """The value 0 is no more likely to be 32 bits wide than its bytes show, in either order."""
    weights = []
    for order in ("big", "little"):
        interpretation = Interpretation(TYPES["u32"], 4, order)
        weights.append((_edges(interpretation, 4, 4), _edges(interpretation, 0, 0)))
    assert weights[0] == weights[1]


def test_bytes_that_did_not_change_are_out() -> None:
    """The old value at another address, unchanged, is no candidate."""
    old, new = memories()
    old[0x0C00:0x0C02] = new[0x0C00:0x0C02] = (125).to_bytes(2, "big")
    places = {each.at for each in by_name(found_in(VALUES, old, new))["t0"].candidates}
    assert 0x0240 in places
    assert not places & set(range(0x0BFE, 0x0C03))


def test_bytes_that_changed_while_the_value_did_not_are_out() -> None:
    """t6 stays 25.0; an address where it changed is no candidate."""
    old, new = memories()
    old[0x0C00:0x0C02], new[0x0C00:0x0C02] = (250).to_bytes(2, "big"), b"\x01\x02"
    found = by_name(found_in(VALUES, old, new))["t6"]
    assert found.candidates[0].at == 0x024C
    assert 0x0C00 not in {each.at for each in found.candidates}


def test_one_image_alone_gives_places_and_no_checks() -> None:
    """Small values in one image are not certain, and checks are not sought."""
    old, _ = memories()
    result = found_in("lonely = 12.5 s\n", old)
    assert 0x0240 in {each.at for each in result.values[0].candidates}
    assert not result.values[0].confident
    assert result.checks == ()
    assert "two images" in " ".join(result.notes)


def test_a_value_that_is_not_stored_is_not_found_with_confidence() -> None:
    """An answer is required only if there is one."""
    found = by_name(found_in(VALUES + "ghost = 7123 rpm | 6021 rpm\n", *memories()))["ghost"]
    assert not found.confident


def test_rows_at_a_constant_step_help_each_other() -> None:
    """Single bytes that did not change are found by the step between their rows."""
    old, new = memories()
    chance = random.Random(8)
    rows = [chance.randrange(30, 250) for _ in range(8)]
    for data in (old, new):
        for row, value in enumerate(rows):
            data[0x0300 + 12 * row : 0x0300 + 12 * row + 12] = random.Random(row).randbytes(12)
            data[0x0305 + 12 * row] = value
    values = "".join(f"channel {row + 1} limit = {value} bar\n" for row, value in enumerate(rows))
    for row, found in enumerate(found_in(values, old, new).values):
        assert found.candidates[0].at == 0x0305 + 12 * row
        assert "a step of 12 bytes" in " ".join(found.candidates[0].evidence)


def test_a_block_mirrored_is_one_place() -> None:
    """The duplicate does not make a value uncertain: it is named next to."""
    old, new = memories()
    for data in (old, new):
        data[0x0250:0x0290] = random.Random(3).randbytes(64)
        data[0x0E00:0x0F00] = data[0x0220:0x0320]
    found = by_name(found_in(VALUES, old, new))["t3"]
    assert found.confident
    assert found.candidates[0].mirror_at == (0x0246 - 0x0220 + 0x0E00,)


def test_addresses_are_the_images_own() -> None:
    """An image that begins at 0x8000 gives addresses from there; gaps are not searched over."""
    result = found_in(VALUES, *memories(), start=0x8000)
    assert result.values[0].candidates[0].at == 0x8240
    old, new = (
        Image.of(bytes(data)).part(0, 0x0241).blocks
        + Image.of(bytes(data)).part(0x0242, 4096).blocks
        for data in memories()
    )
    split = search(parse(VALUES.encode(), 2).panel_values, [Image(old), Image(new)])
    assert 0x0240 not in {each.at for each in split.values[0].candidates}


def test_images_without_a_common_address_are_refused() -> None:
    """The refusal states what to do."""
    panel_values = parse(b"a = 1", 2).panel_values
    with pytest.raises(ParambakError) as refused:
        search(panel_values, [Image.of(b"abcd"), Image.of(b"abcd", 0x100)])
    assert refused.value.code == "layout-find-no-bytes"


def test_a_draft_loads_and_holds_its_evidence() -> None:
    """What is certain is an entry with a note; what is not is a comment."""
    result = found_in(VALUES + "P1.07 [x] = 31.7 s\n", *memories())
    text = draft(result, ["a.hex", "b.hex"]).encode()
    assert check(text) == ()
    layout = load(text)
    entry = next(each for each in layout.fields if each.name == "t1")
    assert (entry.at, entry.type.name, str(entry.scale), entry.unit) == (0x0242, "u16", "0.1", "s")
    assert entry.note is not None
    assert "30.0 s is stored as 012C; 31.0 s is stored as 0136" in entry.note
    assert "P1_07 _x_" not in {each.name for each in layout.fields}
    assert b"# name = " in text or b"# P1.07 [x]: stands nowhere" in text


def test_a_draft_of_high_addresses_is_all_comments() -> None:
    """The language reaches 16 MiB; what lies above is shown and not declared."""
    result = found_in(VALUES, *memories(), start=0x8000_0000)
    text = draft(result, ["a", "b"]).encode()
    assert check(text) == ()
    assert load(text).fields == ()


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.binary(min_size=1, max_size=300), min_size=1, max_size=3),
    st.lists(
        st.integers(-300, 70000).map(str) | st.decimals(-99, 99, places=2).map(str) | st.text("AB"),
        min_size=1,
        max_size=4,
    ),
)
def test_any_images_and_values_give_an_answer_and_a_draft_that_loads(
    datas: list[bytes], shown: list[str]
) -> None:
    """No input makes the search fail, and neither does a layout with mistakes."""
    values = "".join(f"v{number} = {text or 'A'}\n" for number, text in enumerate(shown))
    result = found_in(values, *datas)
    assert check(draft(result, ["a"]).encode()) == ()
