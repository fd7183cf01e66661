"""Published number formats, scalings and limits, each through a layout file."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest

from parambak.layouts.decode import FieldValue, decode
from parambak.layouts.load import load
from parambak.memory.image import Image


def field(raw: str, keys: str, order: str = "big") -> FieldValue:
    """Return the one field that `keys` describe, at the start of bytes `raw`."""
    data = bytes.fromhex(raw)
    text = (
        f'[layout]\ntitle = "T"\nmemory = {len(data)}\nbyte-order = "{order}"\n'
        f'[[field]]\nname = "f"\nat = 0\n{keys}\n'
    )
    return decode(load(text.encode()), Image.of(data)).fields[0]


# raw, type, order, value, how many significant digits the source gives (None: exact)
FLOATS = [
    # C Users Journal 13(1), Kuzdrall, table 2
    ("47000100", "f32", "big", "32769", None),
    ("46FFFF00", "f32", "big", "32767.5", None),
    ("BF800000", "f32", "big", "-1", None),
    ("7F7FFFFF", "f32", "big", "3.402823e38", 7),
    ("00800000", "f32", "big", "1.17549e-38", 6),
    # utknotes.pisaucer.com
    ("42878000", "f32", "big", "67.75", None),
    ("40F80000", "f32", "big", "7.75", None),
    ("4036900000000000", "f64", "big", "22.5625", None),
    ("C02B600000000000", "f64", "big", "-13.6875", None),
    # Wikipedia, half-precision format (from memory, computed again)
    ("3555", "f16", "big", "0.333251953125", None),
    ("3C01", "f16", "big", "1.0009765625", None),
    ("7BFF", "f16", "big", "65504", None),
    ("0001", "f16", "big", "5.96e-8", 3),
    ("03FF", "f16", "big", "6.0976e-5", 5),
    # GFA-BASIC 32 help, page CvsMbf: the same four bytes in two formats
    ("47464142", "f32", "little", "48.31863", 7),
    ("47464142", "mbf32", "little", "1.63709887045087e-19", 15),
    # Wikipedia, Microsoft Binary Format (from memory, computed again)
    ("00000081", "mbf32", "little", "1", None),
    ("00002084", "mbf32", "little", "10", None),
    ("00008080", "mbf32", "little", "-0.5", None),
    ("00000000", "mbf32", "little", "0", None),
    ("8100000000", "mbf40", "big", "1", None),  # an independent page
    # Wikipedia, IBM hexadecimal floating-point
    ("C276A000", "ibm32", "big", "-118.625", None),
    ("C2ED4000", "f32", "big", "-118.625", None),
    # IBM 5100 maintenance manual, page 6-12
    ("40C00000", "ibm32", "big", "0.75", None),
    ("BF500000", "ibm32", "big", "-0.01953125", None),
    ("40C0000000000000", "ibm64", "big", "0.75", None),
    ("BF50000000000000", "ibm64", "big", "-0.01953125", None),
    # Amiga ROM Kernel Reference Manual: Libraries, node047D; 0.5 from cctech, 27 July 2008
    ("80000040", "ffp32", "big", "0.5", None),
    ("80000041", "ffp32", "big", "1", None),
    ("C90FDB42", "ffp32", "big", "3.141593", 7),
]


@pytest.mark.parametrize(("raw", "kind", "order", "value", "digits"), FLOATS)
def test_floating_point(raw: str, kind: str, order: str, value: str, digits: int | None) -> None:
    """Each published pattern gives its published value, to all the digits published."""
    found = field(raw, f'type = "{kind}"', order).value
    assert found is not None
    if digits is None:
        assert Decimal(found) == Decimal(value)
    else:
        assert abs(Decimal(found) / Decimal(value) - 1) < Decimal(10) ** (1 - digits)


@pytest.mark.parametrize(
    ("raw", "value"),
    [
        ("07D0", "125"), ("0550", "85"), ("0191", "25.0625"), ("00A2", "10.125"), ("0008", "0.5"),
        ("FFF8", "-0.5"), ("FF5E", "-10.125"), ("FE6F", "-25.0625"), ("FC90", "-55"),
    ],
)  # fmt: skip
def test_fixed_point(raw: str, value: str) -> None:
    """Q12.4, the temperature table of the DS18B20 data sheet, by `fraction` and by `scale`."""
    assert field(raw, 'type = "s16"\nfraction = 4').value == value
    scaled = field(raw, 'type = "s16"\nscale = 0.0625').value
    assert scaled is not None
    assert Decimal(scaled) == Decimal(value)


@pytest.mark.parametrize(("raw", "value"), [("59", "59"), ("23", "23"), ("99", "99")])
def test_packed_bcd(raw: str, value: str) -> None:
    """Packed decimal digits (docs.rs/rtc-hal, module bcd)."""
    assert field(raw, 'type = "bcd"\nlength = 1').value == value


def test_packed_bcd_that_is_none() -> None:
    """3A is no packed decimal (red.implrust.com): no value, a mark, and the raw byte."""
    found = field("3A", 'type = "bcd"\nlength = 1')
    assert (found.value, found.mark, found.raw) == (None, "not BCD", b"\x3a")


def test_gray_code() -> None:
    """The first sixteen terms (OEIS A003188; from memory, computed again)."""
    terms = (0, 1, 3, 2, 6, 7, 5, 4, 12, 13, 15, 14, 10, 11, 9, 8)
    for number, term in enumerate(terms):
        assert field(f"{term:02X}", 'type = "gray"\nlength = 1').value == str(number)


@pytest.mark.parametrize(
    ("milliamps", "percent"),
    [
        # IEC 60381-1 live zero; 40 % is 10.4 mA by instrumentationtools.com
        ("4", "0"), ("8", "25"), ("10.4", "40"), ("12", "50"), ("16", "75"), ("20", "100"),
        # NAMUR NE 43 edges on 0 to 100 %, by instrunexus.com and industrialmonitordirect.com
        ("3.6", "-2.5"), ("3.8", "-1.25"), ("20.5", "103.125"), ("21", "106.25"),
    ],
)  # fmt: skip
def test_four_to_twenty_milliamps(milliamps: str, percent: str) -> None:
    """A loop current stored in microamperes, scaled by two points, beyond them too."""
    stored = int(Decimal(milliamps) * 1000)
    found = field(f"{stored:04X}", 'type = "u16"\ncurve = [[4000, 0], [20000, 100]]').value
    assert found is not None
    assert Decimal(found) == Decimal(percent)


def test_four_to_twenty_milliamps_about_zero() -> None:
    """-50 to +50 mbar at 12 mA is 0 (instmates.com)."""
    found = field(f"{12000:04X}", 'type = "u16"\ncurve = [[4000, -50], [20000, 50]]')
    assert found.value == "0"


PT100 = {  # degrees to ohms, IEC 60751, by scribd 366724594 and sensingtemp.com
    -200: "18.52", -100: "60.26", -50: "80.31", -10: "96.09", 0: "100.00", 10: "103.90",
    50: "119.40", 100: "138.51", 150: "157.33", 200: "175.86", 300: "212.05", 400: "247.09",
    500: "280.98", 600: "313.71", 850: "390.48",
}  # fmt: skip


def test_a_resistance_thermometer_by_a_table_of_points() -> None:
    """Hundredths of an ohm through the published table give the published degrees back."""
    pairs = sorted((int(Decimal(ohms) * 100), degrees) for degrees, ohms in PT100.items())
    points = ", ".join(f"[{raw}, {degrees}]" for raw, degrees in pairs)
    keys = f'type = "u16"\ndecimals = 1\ncurve = [{points}]'
    for raw, degrees in pairs:
        assert field(f"{raw:04X}", keys).value == f"{degrees}.0"
    beyond = field(f"{pairs[-1][0] + 1:04X}", keys)
    assert (beyond.value, beyond.mark) == (None, "outside the curve")
    (first, low), (second, high) = pairs[3], pairs[4]
    middle = first + 100
    line = low + Fraction(middle - first, second - first) * (high - low)
    shown = field(f"{middle:04X}", keys).value
    assert shown is not None
    assert abs(Fraction(shown) - line) <= Fraction(1, 20)


@pytest.mark.parametrize(
    ("low", "high", "inside", "outside"),
    [
        # common practice, no source: 5 V within 2 %, 15 V within 3 %, 24 V battery from 22 V
        ("4.9", "5.1", ("4.90", "5.00", "5.10"), ("4.89", "5.11")),
        ("14.55", "15.45", ("14.55", "15.00", "15.45"), ("14.54", "15.46")),
        ("22", None, ("22.00", "24.00"), ("21.99", "0.01")),
        # IACS UR E10 Rev.10: 24 V battery, +30/-25 %, +20/-25 %, and DC within 10 %
        ("18.0", "31.2", ("18.00", "31.20"), ("17.99", "31.21")),
        ("18.0", "28.8", ("18.00", "28.80"), ("17.99", "28.81")),
        ("21.6", "26.4", ("21.60", "26.40"), ("21.59", "26.41")),
    ],
)
def test_supply_limits(
    low: str, high: str | None, inside: tuple[str, ...], outside: tuple[str, ...]
) -> None:
    """Voltages in hundredths of a volt are inside at the limits themselves, outside beyond."""
    keys = f'type = "u16"\nscale = 0.01\nunit = "V"\nlow = {low}'
    keys += f"\nhigh = {high}" if high else ""
    for volts, within in [(each, True) for each in inside] + [(each, False) for each in outside]:
        found = field(f"{int(Decimal(volts) * 100):04X}", keys)
        assert (found.value, found.unit, found.within_limits) == (volts, "V", within)


def test_a_bare_chip_is_blank() -> None:
    """A bare memory chip reads FF (common practice, no source): every field is marked blank."""
    assert field("FFFF", 'type = "u16"').mark == "blank"
    assert field("FFFFFFFF", 'type = "f32"').value is None
    assert field("FF", 'type = "bcd"\nlength = 1').mark == "blank"
