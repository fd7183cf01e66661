from __future__ import annotations

from parambak.find.encodings import forms
from parambak.find.forms import Span
from parambak.find.panel_values import parse


def patterns(line: str, copies: int = 1) -> dict[tuple[str, int, str | None, str], str]:
    """Return the first copy's exact bytes by type, length, order and scale."""
    (panel_value,) = parse(line.encode(), copies).panel_values
    found: dict[tuple[str, int, str | None, str], str] = {}
    for form in forms(panel_value):
        needle = form.needles[0]
        for each in form.interpretations if isinstance(needle, bytes) else ():
            key = each.type.name, each.length, each.order, f"{each.scale}/{each.fraction}"
            found[key] = needle.hex()  # type: ignore[union-attr]  # only bytes come here
    return found


def test_whole_numbers_of_each_width_and_order() -> None:
    """The last digit shown is the scale; other scales are tried as well."""
    found = patterns("a = 12.5 s")
    assert found["u16", 2, "big", "1/10/0"] == "007d"
    assert found["u24", 3, "little", "1/10/0"] == "7d0000"
    assert found["u8", 1, None, "1/2/0"] == "19"
    assert found["u32", 4, "big", "1/100/0"] == "000004e2"
    assert found["u16", 2, "big", "1/4"] == "00c8"


def test_floats_as_published() -> None:
    """1, 10 and -0.5 in Microsoft Binary Format (public descriptions, from memory, computed);
    -118.625 as IBM hexadecimal (IBM hexadecimal floating-point, the worked example of the
    public article); 67.75 as IEEE 754 binary32 (utknotes.pisaucer.com); 1 as Motorola fast
    floating point (Amiga ROM Kernel Reference Manual: Libraries).
    """
    assert patterns("a = 10")["mbf32", 4, "little", "1/0"] == "00002084"
    assert patterns("a = -0.5")["mbf32", 4, "little", "1/0"] == "00008080"
    assert patterns("a = -118.625")["ibm32", 4, "big", "1/0"] == "c276a000"
    assert patterns("a = 67.75")["f32", 4, "big", "1/0"] == "42878000"
    assert patterns("a = 1")["ffp32", 4, "big", "1/0"] == "80000041"


def test_fixed_point_bcd_and_signs_as_published() -> None:
    """-10.125 is FF5E with four bits behind the point (DS18B20 data sheet); 59 is 59 in BCD
    (docs.rs/rtc-hal); Gray 5 is 7 (OEIS A003188, from memory).
    """
    assert patterns("a = -10.125")["s16", 2, "big", "1/4"] == "ff5e"
    assert patterns("a = 59")["bcd", 1, None, "1/0"] == "59"
    assert patterns("a = 1234")["bcd", 2, "little", "1/0"] == "3412"
    assert patterns("a = 5")["gray", 1, None, "1/0"] == "07"
    assert patterns("a = -5")["sign-magnitude", 2, "big", "1/0"] == "8005"


def test_text_in_each_encoding_that_differs() -> None:
    """ASCII text is the same in most encodings, and tried once."""
    found = patterns("a = TC-2")
    assert found["text", 4, None, "1/0"]
    (panel_value,) = parse("a = \u00fcbe".encode(), 1).panel_values
    needles = {form.needles[0] for form in forms(panel_value)}
    assert {b"\xfcbe", b"\x81be", "\u00fcbe".encode(), b"\x00\xfc\x00b\x00e"} <= needles


def test_a_display_that_rounds_gives_spans() -> None:
    """12.3 may be 12.26 to 12.35 in a float, and 1225 to 1235 in hundredths."""
    (panel_value,) = parse(b"a = 12.3 | 9.0", 2).panel_values
    spans = [
        (form.interpretations[0], needle)
        for form in forms(panel_value)
        for needle in form.needles[:1]
        if isinstance(needle, Span)
    ]
    hundredths = next(s for r, s in spans if r.type.name == "u16" and str(r.scale) == "1/100")
    assert (hundredths.low, hundredths.high) == (1225, 1235)
    floats = next(s for r, s in spans if r.type.name == "f32" and r.order == "big")
    assert floats.holds(bytes.fromhex("41440000"))  # 12.25
    assert floats.holds(bytes.fromhex("41459999"))  # just below 12.35
    assert not floats.holds(bytes.fromhex("4145A000"))
    motorola = next(s for r, s in spans if r.type.name == "ffp32" and r.order == "big")
    assert motorola.holds(bytes.fromhex("C4CCCC44"))
    assert not motorola.holds(bytes.fromhex("C4CCCC45"))
