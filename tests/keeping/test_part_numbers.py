"""The number printed on a chip: what it is taken as, by the page's examples and by many more."""

from __future__ import annotations

import re
from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from parambak.errors import CallRefused
from parambak.keeping.chips import chips
from parambak.keeping.part_numbers import read_marking, stated_chip

ROOT = Path(__file__).parents[2]
TABLE = chips((ROOT / "shared" / "chips.toml").read_bytes())
PAGE = re.findall(
    r"^\| `([^`]+)` \| (?:`([^`]+)`|refused: `([^`]+)`) \| ?(\d*) \|$",
    (ROOT / "formats" / "chips.md").read_text("utf-8"),
    re.MULTILINE,
)
TAKEN = """
27C256: 27C256-12 27C256B 27C256-12I/L M27C256B-10F1 TMS27C256-15JL D27C256-15 NMC27C256Q-20
    AM27C256-120DC MBM27C256-20 UPD27C256AD-15 AT27C256R-70PU AT27LV256A-90JC TMS27C256-2JL
27256: M27256-2F1 D27256-2 TMM27256D-20 mbm27256-25
27C512: m27c512-10f1 W27E512-12 27C512A-15/P AT27BV512-70
27C010: AT27C010-70PU M27C1001-10F1 AM27C010-90 MX27C1001-12
27C040: AM27C040-120DC M27C4001-10F1
27C1024: AM27C1024-150 M27C1024-12F1 TMS27C210A-12
27C4096: M27C4002-12F1 AM27C4096-100
2716: M2716-1F1 TMS2716JL D2716
2764: M2764A-2F1 D2764A-25 AM2764
28C16: AT28C16-15PC 28C16A-15/P X28C16P-25 KM28C16-20 AT28C16E-15 X2816BP-25 CAT28C16AP-20
28C17: 28C17A-15/P AT28C17-15 KM28C17-20
28C64: AT28C64E-25 KM28C64AJ-20 28C64A-15/P X28HC64P-12 M28C64-15WBS3 AT28HC64B-70 28LV64-20
    CAT28C64BP-12 X2864BP-18 AT28BV64B-20 28C64AF-15I/P
28C256: AT28C256-15PU X28C256DM-25 X28HC256P-12 CAT28C256P-15 AT28HC256-90 28C256-20
28C010: AT28C010-12DM X28C010D-20 AT28LV010-20
58C65: HN58C65P-25 hn58v65ap-10
58C256: HN58C256AP-10 HN58V256AT-12
29C010: AT29C010A-70PC AT29LV010A-20 SST29EE010-90
29F010: AM29F010-90PC
24C01: AT24C01A-10PC ST24C01CB1 CAT24C01P 24LC01B/P BR24C01A-W
24C02: AT24C02-10PI-2.7 24LC02B/P 24AA02-I/SN ST24C02B6 ST24W02M1 X24C02P IS24C02-3P 24LC02BT-I/SN
    FM24C02 24FC02-I/P 24AA02E48 S-24C02ADP
24C04: 24LC04B-I/P X24C04S8 M24C04-WMN6TP
24C08: AT24C08A-10PU 24LC08B
24C16: X24C16P 24LC16B/SN CAT24C16WI AT24C16B M24C16-RBN6
24C32: AT24C32-10PC 24LC32A-I/P CAT24FC32
24C64: 24LC64-I/P AT24C64A-10PU BR24C64
24C256: M24256-BWMN6 AT24C256B-PU 24LC256-I/P 24FC256
24M01: AT24CM01-SSHD M24M01-RMN6
25010: 25LC010A-I/P AT25010AN M95010-WMN6
25020: AT25020-10PI
25040: X25040P 25LC040A/P M95040-WBN6 25C040-I/P
25160: AT25160A-10PI M95160-WMN6
25320: 25LC320/P CAT25320
25640: AT25640-10PI 25AA640-I/P M95640-WMN6
25256: AT25256A-10PU 25LC256-E/P CAT25256
93C46-8: 93C46-8
93C66-16: 93LC66-16
FM1608: FM1608-120-P
FM1808: FM1808-70-PG fm1808
FM18W08: FM18W08-SG
FM24C16: FM24C16B-G
FM24C64: FM24C64B-GTR
FM24CL64: FM24CL64B-G
FM24V10: FM24V10-GTR
FM25V02: FM25V02A-G
FM25CL64: FM25CL64B-GA
MB85RC64: MB85RC64APNF
MB85RC256: MB85RC256VPNF-G
MB85RS1M: MB85RS1MTPNF
6116: HM6116LP-3 CY6116-35
6264: HM6264ALP-15 UM6264B-10 HY6264LP-10
62256: HM62256BLP-7 HY62256ALP-70 KM62256
5517: TC5517APL
5565: TC5565APL-15
48Z02: M48Z02-150PC1 MK48Z02B-15
48T08: M48T08-150PC1
48Z35: M48Z35Y-70PC1
DS1225: DS1225Y-200 DS1225AD-70+ ds1225ab
DS1230: DS1230Y-150 DS1230AB-70
DS1643: DS1643-120
BQ4010: bq4010YMA-150
STK12C68: STK12C68-W45
CY14B256: CY14B256LA-SP25XI
X20C16: X20C16P-35
8582: PCF8582C-2P/03
85C82: 85C82-I/P
"""
"""Markings as makers print them, from memory; invented where a letter is not remembered."""
WITHOUT_ORGANISATION = """
    93C46 93C56 93C66 93LC46B/P 93AA56A-I/SN 93LC66C AT93C46-10PU CAT93C46P M93C66-WMN6
    NM93C46N FM93C56 S-93C46A BR93LC46 AK93C46 59C11 93LC86/P 93C76-I/P X93C46
"""
NOT_IN_THE_TABLE = """
    28C640 24C025 93C99 ZZ28C64 ABC 28 DS2432 DS24C02 24 64 25F512 27C25 24C 1N4148 74HC00
    LM358 27E257 X24F016 AT45DB161 -28C64 28C64\u00b5 \u0662\u0668C64 28C64_B
"""


def marked() -> list[tuple[str, str]]:
    """Return each marking of the list, with its part."""
    rows = re.split(r"\n(?! )", TAKEN.strip())
    return [(text, row.partition(":")[0]) for row in rows for text in row.split()[1:]]


@pytest.mark.parametrize(("printed", "name", "code", "size"), PAGE)
def test_an_example_of_the_page(printed: str, name: str, code: str, size: str) -> None:
    """Each row of the page's table is what the reader of markings makes of it."""
    if code:
        with pytest.raises(CallRefused) as refused:
            read_marking(printed, TABLE)
        assert refused.value.code == code
        return
    chip = read_marking(printed, TABLE).chip
    assert (chip.name, str(chip.size)) == (name, size)


def test_the_page_has_examples() -> None:
    """The eight that engineers meet first are among them."""
    printed = {row[0] for row in PAGE}
    assert len(printed) == 18
    assert printed >= {"28C64B", "24LC02B", "M24C02", "93C56", "FM18W08", "FM24C64", "28C16-15"}


def test_there_are_many_markings() -> None:
    """More than a hundred, and none twice."""
    texts = [text for text, _ in marked()]
    assert len(set(texts)) == len(texts) > 150


@pytest.mark.parametrize(("printed", "name"), marked())
def test_a_marking_is_its_part(printed: str, name: str) -> None:
    """As printed, in small letters, and with blanks around it; what it was taken as is stated."""
    marking = read_marking(printed, TABLE)
    assert marking.chip.name == name
    assert read_marking(f" {printed.lower()} ", TABLE).chip == marking.chip
    assert marking.exact == (printed.casefold() == name.casefold())
    assert marking.words.startswith(f"{printed.upper()} is taken as {name}, {marking.chip.size} b")


@pytest.mark.parametrize("printed", WITHOUT_ORGANISATION.split())
def test_a_microwire_part_is_asked_for_its_words(printed: str) -> None:
    """Both names of the part are given; either is then taken, with the same size."""
    with pytest.raises(CallRefused) as refused:
        read_marking(printed, TABLE)
    error = refused.value
    assert error.code == "chip-organisation"
    by_bytes, by_words = (error.expected or "").split(" or ")
    assert f"--chip {by_bytes} or --chip {by_words}" in (error.next or "")
    first, second = (read_marking(name, TABLE).chip for name in (by_bytes, by_words))
    assert (first.width, second.width, first.size) == (8, 16, second.size)


@pytest.mark.parametrize("printed", NOT_IN_THE_TABLE.split())
def test_what_the_table_does_not_have_is_not_guessed(printed: str) -> None:
    """Another digit, letters of nobody, a chip of another kind."""
    with pytest.raises(CallRefused) as refused:
        read_marking(printed, TABLE)
    assert refused.value.code == "chip-unknown"
    assert "--size" in (refused.value.next or "")


def test_near_names_are_offered() -> None:
    """At most three, from the table."""
    with pytest.raises(CallRefused) as refused:
        read_marking("28C640", TABLE)
    assert "28C64" in (refused.value.expected or "").split(" or ")


def test_a_size_is_a_persons_word_only_if_the_table_has_none() -> None:
    """Without a number, with one of no table, with one of the table: the same size, another."""
    assert stated_chip(None, 512, TABLE) == (None, None, 512, 512, None)
    assert stated_chip("ZZ99", 512, TABLE) == ("ZZ99", "ZZ99", 512, 512, None)
    assert stated_chip("28c64", 8192, TABLE) == ("28C64", "28c64", 8192, None, None)
    words = "28C64B is taken as 28C64, 8192 bytes"
    assert stated_chip("28C64B", 8192, TABLE) == ("28C64", "28C64B", 8192, None, words)
    for printed, size, code in (
        ("28C64B", 8191, "chip-size-differs"),
        ("93C46", 128, "chip-organisation"),
        ("ZZ99", None, "chip-unknown"),
        ("ZZ99", 0, "chip-size-shape"),
        (None, 1 << 25, "chip-size-shape"),
    ):
        with pytest.raises(CallRefused) as refused:
            stated_chip(printed, size, TABLE)
        assert refused.value.code == code


@given(st.text(max_size=60))
def test_any_text_is_a_part_or_refused(text: str) -> None:
    """No other exception, for what anybody types."""
    with suppress(CallRefused):
        chip = read_marking(text, TABLE).chip
        assert TABLE[chip.name.casefold()] == chip


@example("fm24c16", 4)
@given(st.sampled_from(sorted(TABLE)), st.integers(0, 9))
def test_a_further_digit_is_never_left_out(name: str, digit: int) -> None:
    """What a digit more makes of a number is another part of the table, or none.

    Letters of a maker may stand before it: FM24C16 is a part, and FM24C164 is FM and 24C164.
    """
    text = f"{name}{digit}"
    try:
        chip = read_marking(text, TABLE).chip
    except CallRefused:
        return
    makers = ("", *(maker.casefold() for maker in TABLE.makers))
    numbers = {text.casefold().removeprefix(maker) for maker in makers}
    assert not numbers.isdisjoint({chip.name.casefold(), *TABLE.also})
