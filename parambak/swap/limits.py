"""Limits of measurements, as the user or the maker states them: a TOML file.

`formats/limits.md` is its specification. Pure: bytes in, values out.
"""

from __future__ import annotations

from decimal import Decimal
from types import MappingProxyType
from typing import TYPE_CHECKING, Annotated, NamedTuple

from msgspec import Meta, Struct

from parambak.errors import Fault, SheetRefused
from parambak.layouts.toml_text import as_model, mistake, read_toml

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

PAGE = "formats/limits.md"
MOST_DIGITS = 30
RPM = "rpm"

LIMITS_TEXT = Fault(
    "limits-text",
    SheetRefused,
    "the file of limits is not TOML text",
    "Save it as UTF-8 text, as in the example of formats/limits.md.",
)
LIMITS_ENTRY = Fault(
    "limits-entry",
    SheetRefused,
    "the file of limits is wrong: {why}",
    "Correct that key; formats/limits.md lists all keys.",
)

Name = Annotated[str, Meta(pattern=r"\A[A-Za-z0-9][A-Za-z0-9_.-]{0,63}\Z")]
Unit = Annotated[str, Meta(min_length=1, max_length=20, pattern=r"\A[^\s\x00-\x1f=]+\Z")]
Text = Annotated[str, Meta(max_length=400)]
# What people type for a key, and the key that they intend.
_INTENDED: Mapping[str, str] = MappingProxyType(
    {
        **dict.fromkeys(("min", "minimum", "lower"), "low"),
        **dict.fromkeys(("max", "maximum", "upper"), "high"),
        **dict.fromkeys(("value", "target", "expected"), "nominal"),
        **dict.fromkeys(("percent", "tolerance-pct"), "tolerance-percent"),
        **dict.fromkeys(("comment", "description", "remark"), "note"),
        **dict.fromkeys(("measurements", "limit", "reading"), "measurement"),
        **dict.fromkeys(("units", "unit-name"), "unit"),
        **dict.fromkeys(("calibration", "calibrated-months"), "calibration-months"),
        "tooth": "teeth",
    }
)


class Limit(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, rename="kebab"):
    """The limits of one measurement; numbers are in `unit`.

    Either `nominal` with `tolerance` (in `unit`) or `tolerance_percent` (of the nominal), or
    `low`, `high` or both. With the `teeth` of the wheel, a speed may be given in Hz.
    """

    name: Name
    unit: Unit
    nominal: Decimal | None = None
    tolerance: Decimal | None = None
    tolerance_percent: Decimal | None = None
    low: Decimal | None = None
    high: Decimal | None = None
    teeth: Annotated[int, Meta(ge=1, le=10_000)] | None = None
    supply: bool = False
    note: Text | None = None

    @property
    def bounds(self) -> tuple[Decimal | None, Decimal | None]:
        """Return the lowest and the highest value inside the limits, None without one."""
        if self.nominal is None:
            return self.low, self.high
        width = self.tolerance or Decimal(0)
        if self.tolerance_percent is not None:
            width = abs(self.nominal) * self.tolerance_percent / 100
        return self.nominal - width, self.nominal + width


class Head(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, rename="kebab"):
    """What a file of limits is for; `source` is who states them."""

    title: Text
    source: Text
    calibration_months: Annotated[int, Meta(ge=1, le=1200)] | None = None


class Limits(NamedTuple):
    """The limits of one type of unit."""

    head: Head
    measurement: tuple[Limit, ...]

    @property
    def by_name(self) -> dict[str, Limit]:
        """Return each limit by its name in lower case."""
        return {limit.name.casefold(): limit for limit in self.measurement}


class _File(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    limits: Head
    measurement: Annotated[tuple[Limit, ...], Meta(min_length=1, max_length=500)]


def load_limits(data: bytes) -> Limits:
    """Return the limits that a file states; raise SheetRefused if it is not a file of limits."""
    file = read_toml(data, LIMITS_TEXT)
    model = as_model(file, _File, LIMITS_ENTRY, PAGE, _INTENDED)
    seen: set[str] = set()
    for row, limit in enumerate(model.measurement):
        wrong = next(_wrongs(limit), None)
        if limit.name.casefold() in seen:
            wrong = ("name", f"{limit.name} is there twice")
        if wrong is not None:
            path = ("measurement", row, wrong[0])
            raise mistake(file, path, wrong[1], LIMITS_ENTRY, PAGE)
        seen.add(limit.name.casefold())
    return Limits(model.limits, model.measurement)


def _wrongs(limit: Limit) -> Iterator[tuple[str, str]]:
    """Yield the keys of a limit that are wrong, and why; the first counts."""
    for key in ("nominal", "tolerance", "tolerance_percent", "low", "high"):
        value: Decimal | None = getattr(limit, key)
        if value is not None and not _small(value):
            yield key, f"{key} is not a number of at most {MOST_DIGITS} digits"
    widths = [w for w in (limit.tolerance, limit.tolerance_percent) if w is not None]
    if len(widths) != (limit.nominal is not None):
        yield "nominal", "nominal needs tolerance or tolerance-percent, one of the two"
    if limit.nominal is not None and (limit.low is not None or limit.high is not None):
        yield "nominal", "give nominal with a tolerance, or low and high, not both"
    if widths and widths[0] < 0:
        yield "tolerance", "the tolerance is below zero"
    low, high = limit.bounds
    if low is None and high is None:
        yield "name", f"{limit.name} has no limit: give low, high or nominal with a tolerance"
    if low is not None and high is not None and low > high:
        yield "low", f"low is above high: {low:f} and {high:f}"
    if limit.teeth is not None and limit.unit != RPM:
        yield "teeth", f"teeth need the unit {RPM}"


def _small(value: Decimal) -> bool:
    """Return whether a number is one that a person would write."""
    if not value.is_finite():
        return False
    _, digits, exponent = value.as_tuple()
    return len(digits) <= MOST_DIGITS and isinstance(exponent, int) and abs(exponent) <= MOST_DIGITS
