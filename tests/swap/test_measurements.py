"""Measurements: what is typed is understood exactly, and compared with limits exactly."""

from __future__ import annotations

import re
from contextlib import suppress
from datetime import date
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from parambak.errors import CallRefused, SheetRefused
from parambak.swap.limits import Head, Limit, Limits, load_limits
from parambak.swap.measurement_records import (
    Drift,
    MeasurementRecord,
    asked_again,
    drift,
    not_asked,
    overdue,
    supplies,
)
from parambak.swap.measurements import Measurement, read_measurements, rpm

ROOT = Path(__file__).parents[2]
HEAD = "[limits]\ntitle = 'invented'\nsource = 'invented'\n"
ROW = "[[measurement]]\nname = 'supply'\nunit = 'V'\n"
PAGE = (ROOT / "formats" / "limits.md").read_text("utf-8")


def one(typed: str, *, unit: str = "V", **limit: Decimal | int | None) -> Measurement:
    """Return one reading compared with one limit."""
    stated = Limit(name="supply", unit=unit, **limit)  # type: ignore[arg-type]
    return read_measurements([typed], [], {"supply": stated})[0]


@pytest.mark.parametrize(
    ("typed", "value", "within", "words"),
    [
        ("supply=3.32", "3.32", True, "inside, by 0.08 V"),
        ("supply = 3,32 V", "3.32", True, "inside, by 0.08 V"),
        ("supply=3320mV", "3.32", True, "inside, by 0.08 V"),
        ("SUPPLY=0.0033kV", "3.3", True, "inside, by 0.1 V"),
        ("supply=3.2", "3.2", True, "inside, by 0 V"),
        ("supply=3.4", "3.4", True, "inside, by 0 V"),
        ("supply=3.40001", "3.40001", False, "OUT, 0.00001 V above 3.4"),
        ("supply=3.1", "3.1", False, "OUT, 0.1 V below 3.2"),
        ("supply=-3", "-3", False, "OUT, 6.2 V below 3.2"),
    ],
)
def test_a_reading_is_in_or_out_and_by_how_much(
    typed: str, value: str, *, within: bool, words: str
) -> None:
    """The limit itself is in; a decimal comma and prefixes of thousands are understood."""
    reading = one(typed, low=Decimal("3.2"), high=Decimal("3.4"))
    assert (reading.value, reading.within, reading.words) == (value, within, words)


def test_what_was_typed_is_echoed_where_it_is_another_text() -> None:
    """A comma and another prefix are; the same number in the same unit is not."""
    assert one("supply=3,32V", low=Decimal(1)).typed == "3,32 V"
    assert one("supply=3320 mV", low=Decimal(1)).typed == "3320 mV"
    assert one("supply=3.32 V", low=Decimal(1)).typed is None
    assert one("supply=3.32", low=Decimal(1)).typed is None


@pytest.mark.parametrize(
    ("typed", "code"),
    [
        ("supply", "measure-shape"),
        ("supply=", "measure-shape"),
        ("supply=V", "measure-shape"),
        ("supply=1.000,5", "measure-shape"),
        ("supply=1 000", "measure-shape"),
        ("supply=1e3", "measure-unit"),
        ("supply=nan", "measure-shape"),
        ("supply=3" + "0" * 40, "measure-shape"),
        ("supply=\uff13", "measure-shape"),
        ("supply=3 A", "measure-unit"),
        ("supply=3 v", "measure-unit"),
        ("supply=3 MV", "measure-unit"),
        ("supply=3 Hz", "measure-unit"),
        ("supplies=3", "measure-name"),
        ("\u202esupply=3", "measure-shape"),
    ],
)
def test_what_cannot_be_meant_is_refused(typed: str, code: str) -> None:
    """Another unit, another name, another shape: each by its code, and what to do."""
    with pytest.raises(CallRefused) as refusal:
        one(typed, low=Decimal(1))
    assert refusal.value.code == code
    assert refusal.value.expected
    assert refusal.value.next


@pytest.mark.parametrize(
    ("typed", "reasons", "expected", "found"),
    [
        (["speed=1e3"], [], "rpm or Hz", "'e3'"),
        (["gap=4V"], [], "mm", "'V'"),
        (["gap"], [], "NAME=NUMBER", "'gap'"),
        (["gaq=4"], [], "gap", "'gaq'"),
        ([], ["gap"], "NAME=REASON", "'gap'"),
        ([], ["x" * 500], "NAME=REASON", f"'{'x' * 80}'"),
    ],
)
def test_a_refused_reading_is_shown_with_what_would_be_taken(
    typed: list[str], reasons: list[str], expected: str, found: str
) -> None:
    """Of twenty readings typed in one line, the engineer sees which one, and the unit to use."""
    stated = (
        Limit(name="speed", unit="rpm", low=Decimal(1), teeth=7),
        Limit(name="gap", unit="mm", low=Decimal(1)),
    )
    with pytest.raises(CallRefused) as refusal:
        read_measurements(typed, reasons, {limit.name: limit for limit in stated})
    assert expected in (refusal.value.expected or "")
    assert refusal.value.found == found
    if refusal.value.code == "measure-unit":
        assert typed[0].partition("=")[0] in refusal.value.text


def test_a_measurement_given_twice_is_refused() -> None:
    """Whatever its case, and as a reason too."""
    for second, reason in (("a=2", []), ("A=2", []), ("b=1", ["a=no"])):
        with pytest.raises(CallRefused) as refusal:
            read_measurements(["a=1", second], reason, None)
        assert refusal.value.code == "measure-twice"


def test_what_was_not_possible_is_not_out() -> None:
    """It is not known, with its reason."""
    limit = Limit(name="gap", unit="mm", low=Decimal(1))
    reading = read_measurements([], ["gap = the shaft turns"], {"gap": limit})[0]
    assert (reading.value, reading.within, reading.by) == (None, None, None)
    assert reading.words == "not possible: the shaft turns"
    with pytest.raises(CallRefused):
        read_measurements([], ["gap="], None)


def test_without_limits_nothing_is_judged() -> None:
    """The value is kept, in whatever unit was typed."""
    reading = read_measurements(["anything=3,5 mm"], [], None)[0]
    assert (reading.value, reading.unit, reading.within) == ("3.5", "mm", None)
    assert reading.words == "no limit is stated"
    assert reading.typed == "3,5 mm"
    assert read_measurements(["anything=3.5 mm"], [], None)[0].typed is None


def test_a_speed_is_worked_out_from_a_frequency_without_rounding() -> None:
    """Seven teeth and 100 Hz: 857.142857… rpm, which is above a limit of 857.142."""
    reading = one("supply=100 Hz", unit="rpm", high=Decimal("857.142"), teeth=7)
    assert reading.value == "857.143"
    assert reading.exact == Fraction(6000, 7)
    assert reading.within is False
    assert one("supply=100 Hz", unit="rpm", high=Decimal("857.143"), teeth=7).within is True


@given(st.integers(1, 10**9), st.integers(1, 500))
def test_revolutions_and_hertz_go_back_and_forth(frequency: int, teeth: int) -> None:
    """Rpm = 60 f / teeth, exactly."""
    assert rpm(Fraction(frequency), teeth) * teeth / 60 == frequency


@pytest.mark.parametrize(
    ("row", "line", "said"),
    [
        ("low = 3\nhigh = 2\n", 7, "low is above high"),
        ("", 5, "no limit"),
        ("nominal = 3\n", 7, "nominal needs tolerance"),
        ("min = 5\n", 7, "min: unknown key; write `low` in its place"),
        ("nominal = 3\ntolerance = 1\ntolerance-percent = 1\n", 7, "one of the two"),
        ("tolerance = 1\nlow = 3\n", 4, "nominal needs tolerance"),
        ("nominal = 3\ntolerance = 1\nlow = 3\n", 7, "not both"),
        ("nominal = 3\ntolerance = -1\n", 8, ": the tolerance is below zero"),
        ("low = nan\n", 7, "not a number"),
        ("low = inf\n", 7, "not a number"),
        ("low = 1e4000\n", 7, "not a number"),
        (f"low = {'1' * 1900}\n", 7, "not a number"),
        ("low = true\n", 7, "decimal"),
        ("low = '3'\nlo = 3\n", 8, "unknown key"),
        ("low = 3\nteeth = 30\n", 8, "teeth need"),
        ("low = 3\nteeth = 0\n", 8, "int"),
        ("low = 3\n[[measurement]]\nname = 'SUPPLY'\nunit = 'V'\nlow = 1\n", 9, "twice"),
    ],
)
def test_a_limit_that_cannot_be_meant_is_refused_by_its_line(
    row: str, line: int, said: str
) -> None:
    """The key, its line, and why."""
    with pytest.raises(SheetRefused) as refusal:
        load_limits((HEAD + ROW + row).encode())
    assert refusal.value.code == "limits-entry"
    assert refusal.value.line == line
    assert said in refusal.value.text


@pytest.mark.parametrize(("digits", "taken"), [(30, True), (31, False)])
def test_a_limit_has_at_most_thirty_digits(digits: int, *, taken: bool) -> None:
    """In all, and behind the point."""
    for number in ("1" * digits, f"0.{'0' * (digits - 1)}1"):
        data = f"{HEAD}{ROW}low = {number}\n".encode()
        if taken:
            assert load_limits(data).measurement[0].low == Decimal(number)
        else:
            with pytest.raises(SheetRefused):
                load_limits(data)


@pytest.mark.parametrize(
    ("width", "low", "high"),
    [
        ("tolerance = 0.5", "-8.5", "-7.5"),
        ("tolerance = 0", "-8", "-8"),
        ("tolerance-percent = 25", "-10", "-6"),
    ],
)
def test_a_tolerance_lies_on_both_sides_of_its_nominal(width: str, low: str, high: str) -> None:
    """Also of one below zero: a rail of -8 V is never in by a turned sign."""
    data = f"{HEAD}{ROW}nominal = -8\n{width}\n".encode()
    assert load_limits(data).measurement[0].bounds == (Decimal(low), Decimal(high))


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"\xff",
        b"\x00",
        b"a = ",
        b"a = " + b"[" * 1900,
        b"x" * 3000 + b" = 1",
        b"#" * 300_000,
        b"[limits]\ntitle = 'a'\nsource = 'b'\n",
        b"low = 1e99999999999999999999",
    ],
)
def test_what_is_no_file_of_limits_is_refused(data: bytes) -> None:
    """Bounded, and never with another error."""
    with pytest.raises(SheetRefused) as refusal:
        load_limits(data)
    assert refusal.value.code in {"limits-text", "limits-entry"}


@given(st.binary(max_size=200) | st.text(max_size=200).map(str.encode))
def test_no_bytes_escape_as_another_error(data: bytes) -> None:
    """Whatever is given is limits or a refusal."""
    with suppress(SheetRefused):
        load_limits(HEAD.encode() + ROW.encode() + data)


def test_the_example_of_the_page_is_as_it_says() -> None:
    """Each line of readings gives the answer next to it."""
    example = re.search(r"```toml\n(.*?)```\n\n```text\n(.*?)```", PAGE, re.DOTALL)
    assert example is not None
    limits = load_limits(example[1].encode()).by_name
    lines = example[2].splitlines()
    assert len(lines) == 4
    for line in lines:
        typed, words = re.split(r" {2,}", line)
        assert read_measurements([typed], [], limits)[0].words == words


def test_the_page_names_every_key() -> None:
    """In the tables."""
    named = set(re.findall(r"^\| `([a-z-]+)` \|", PAGE, re.MULTILINE))
    keys = {name.replace("_", "-") for each in (Head, Limit) for name in each.__struct_fields__}
    assert named == keys


def test_the_shipped_limits_are_sound() -> None:
    """Every file that crews are handed."""
    files = sorted((ROOT / "shared" / "limits").glob("*.toml"))
    assert files
    for file in files:
        assert load_limits(file.read_bytes()).measurement


# --- what is on record ---


def taken(on: str, *readings: Measurement) -> MeasurementRecord:
    """Return readings of one day."""
    day = date.fromisoformat(on)
    return MeasurementRecord(
        "ab" * 32, day, "as-found", readings, None, None, None, None, None, None
    )


def supply(value: str | None, name: str = "bus_input", **more: str | None) -> Measurement:
    """Return a reading of a supply that must be at least 43 V."""
    reason = None if value else "no access"
    return Measurement(name, "V", value, low="43", supply=True, not_possible=reason, **more)  # type: ignore[arg-type]


def test_a_first_reading_has_no_drift_and_neither_has_a_reason() -> None:
    """Nothing was there to move from; what was not possible did not move."""
    today = date(2026, 3, 1)
    first = supply("24.3")
    for past in ([], [taken("2025-03-01", supply("1", name="other"))]):
        assert drift(past, [first], today) == (
            Drift(first.name, "V", ((today, "24.3"),), None, None),
        )
    assert drift([taken("2025-03-01", first)], [supply(None)], today) == ()


def test_drift_tells_the_change_since_last_and_first() -> None:
    """Of the same measurement in the same unit alone, exactly."""
    past = [
        taken("2025-03-01", supply("48.3"), supply("1", name="other")),
        taken("2026-03-01", supply("48.1"), supply(None, name="other")),
    ]
    found = drift(past, [supply("47.95")], date(2026, 11, 1))
    days = (date(2025, 3, 1), date(2026, 3, 1), date(2026, 11, 1))
    series = tuple(zip(days, ("48.3", "48.1", "47.95"), strict=True))
    assert found == (Drift("bus_input", "V", series, "-0.15", "-0.35"),)


def test_drift_since_last_is_that_of_the_newest_reading() -> None:
    """Of three or more, too."""
    past = [taken(f"202{year}-03-01", supply(f"2{year}")) for year in (3, 4, 5, 6)]
    (found,) = drift(past, [supply("26.5")], date(2026, 11, 1))
    assert (found.since_last, found.since_first) == ("+0.5", "+3.5")


def test_what_was_not_possible_is_asked_again_until_it_is_measured() -> None:
    """A later reading settles it, an earlier one does not."""
    reason = supply(None)
    assert asked_again([taken("2025-03-01", reason)], []) == (reason,)
    assert asked_again([taken("2025-03-01", reason)], [supply("48")]) == ()
    later = [taken("2025-03-01", reason), taken("2025-03-02", supply("48"))]
    assert asked_again(later, []) == ()
    assert asked_again(later[::-1], []) == (reason,)


def test_what_the_limits_state_and_nobody_gave_is_named() -> None:
    """By name, a reason counts as given."""
    rows = tuple(Limit(name=name, unit="V", low=Decimal(1)) for name in ("a", "bus_input"))
    limits = Limits(Head(title="", source=""), rows)
    assert not_asked(limits, [supply(None)]) == ("a",)
    assert not_asked(None, []) == ()


@pytest.mark.parametrize(
    ("calibrated", "late"),
    [("2026-03-02", False), ("2026-03-01", True), ("2020-01-01", True), (None, True)],
)
def test_an_old_calibration_is_remarked_on(calibrated: str | None, *, late: bool) -> None:
    """Twelve months to the day; one that nobody gave too, where the limits ask."""
    asks = Limits(Head(title="", source="", calibration_months=12), ())
    assert (overdue(asks, calibrated, date(2027, 3, 1)) is not None) is late
    assert overdue(Limits(Head(title="", source=""), ()), calibrated, date(2027, 3, 1)) is None


@pytest.mark.parametrize(("line", "counts"), [("", False), ("supply = true\n", True)])
def test_a_supply_is_one_that_the_limits_call_so(line: str, *, counts: bool) -> None:
    """A gap inside its limits is no supply that is good; one not measured is not known."""
    limits = load_limits(f"{HEAD}{ROW}low = 4\n{line}".encode()).by_name
    readings = read_measurements(["supply=5"], [], limits)
    assert supplies([taken("2026-01-01", *readings)])[0] is (True if counts else None)
    impossible = read_measurements([], ["supply=no access"], limits)
    met, text = supplies([taken("2026-01-01", *impossible)])
    assert met is None
    assert ("no access" in text) is counts
    (reading,) = impossible
    assert (reading.unit, reading.low, reading.high) == ("V", "4", None)


def test_supplies_are_in_out_or_not_known() -> None:
    """The newest reading of each counts; what is no supply does not."""
    other = Measurement("gap", "mm", "9", low="1", high="2")
    assert supplies([])[0] is None
    assert supplies([taken("2026-01-01", other)])[0] is None
    assert supplies([taken("2026-01-01", supply("48"), other)])[0] is True
    assert supplies([taken("2026-01-01", supply("42"))])[0] is False
    assert supplies([taken("2026-01-01", supply("42")), taken("2026-01-02", supply("48"))])[0]
    assert supplies([taken("2026-01-01", supply("48"), supply(None, name="core"))])[0] is None
    out = supplies([taken("2026-01-01", supply("42"), supply(None, name="core"))])
    assert out[0] is False
    assert "bus_input 42 V: OUT, 1 V below 43" in out[1]


def test_a_speed_comes_from_a_frequency_only_with_its_teeth() -> None:
    """With one of the two alone, the value on record is the value."""
    both = Measurement("speed", "rpm", "1500", frequency="10", teeth=7)
    assert both.exact == Fraction(600, 7)
    assert Measurement("speed", "rpm", "1500", teeth=7).exact == 1500
    assert Measurement("speed", "rpm", "1500", frequency="10").exact == 1500
    assert Measurement("speed", "rpm", None, teeth=7).exact is None
