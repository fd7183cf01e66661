"""Ship's rules as a TOML file. `formats/ships-rules.md` specifies the file."""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING, Annotated

from msgspec import Meta, Struct

from parambak.errors import Fault, SheetRefused
from parambak.keeping.state import conditions
from parambak.keeping.state.rules import Rules
from parambak.layouts.toml_text import TomlFile, as_model, in_its_place, mistake, read_toml

if TYPE_CHECKING:
    from collections.abc import Mapping

PAGE = "formats/ships-rules.md"
RULES_TEXT = Fault(
    "rules-text",
    SheetRefused,
    "the ship's rules are not TOML text",
    "Save them as UTF-8 text, as in the example of formats/ships-rules.md.",
)
RULES_ENTRY = Fault(
    "rules-entry",
    SheetRefused,
    "the ship's rules are wrong: {why}",
    "Correct that key; formats/ships-rules.md lists all keys.",
)
Text = Annotated[str, Meta(min_length=1, max_length=200)]
# What people type for a key or a condition, and the one that they intend.
_INTENDED: Mapping[str, str] = MappingProxyType(
    {
        "rounds": "intervals",
        **dict.fromkeys(("places", "backups", "locations"), "backup-locations"),
        **dict.fromkeys(("months", "verified-month"), "verified-months"),
        **dict.fromkeys(("name", "heading"), "title"),
        **dict.fromkeys(("owner", "author", "by"), "source"),
        **dict.fromkeys(("conditions", "require", "requires"), "required"),
        **dict.fromkeys(("waive", "excluded", "exempt"), "waived"),
        **dict.fromkeys(("second-place", "backup", "backup-location"), "second-location"),
        **dict.fromkeys(("way-back", "fallback", "rollback"), "fallback-plan"),
        **dict.fromkeys(("protections", "safeties", "inhibits"), "safeties-inhibited"),
        **dict.fromkeys(("duplicate-channel", "redundancy"), "redundant-channel"),
        **dict.fromkeys(("decided", "authorized", "authorisation"), "authorised"),
        "last-read": "final-read",
        "intact": "unchanged-on-disk",
        **dict.fromkeys(("meant", "selected"), "copy-selected"),
        **dict.fromkeys(("test", "tests", "function-test"), "function-tests"),
        **dict.fromkeys(("required-tests", "tests-listed"), "listed-tests"),
    }
)


class Head(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """`[rules]`: the owner of the rules, and what a verified copy must be."""

    title: Text
    source: Text
    reads: Annotated[int, Meta(ge=2, le=9)] = 2
    layout: bool = False


class Swap(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """`[swap]`: conditions required as well as the default ones, and those not required."""

    required: tuple[str, ...] = ()
    waived: tuple[str, ...] = ()


class Intervals(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, rename="kebab"):
    """`[intervals]`: when a copy is due to be read again, or to be sent to a backup location."""

    verified_months: Annotated[int, Meta(ge=1, le=1200)] | None = None
    backup_locations: Annotated[int, Meta(ge=0, le=99)] | None = None


class FunctionTests(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """`[[function-tests]]`: what is tested before a swap is closed, of one unit or of every one."""

    tests: Annotated[tuple[Text, ...], Meta(min_length=1, max_length=99)]
    unit: Text | None = None


class _File(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, rename="kebab"):
    rules: Head
    swap: Swap = Swap()
    intervals: Intervals = Intervals()
    function_tests: Annotated[tuple[FunctionTests, ...], Meta(max_length=99)] = ()


def load_rules(data: bytes) -> Rules:
    """Return the rules that a file states; raise SheetRefused if it is not a rules file."""
    file = read_toml(data, RULES_TEXT)
    model = as_model(file, _File, RULES_ENTRY, PAGE, _INTENDED)
    _refuse_unknown(file, model.swap)
    required, waived = frozenset(model.swap.required), frozenset(model.swap.waived)
    wrong = sorted((waived & required) | (waived & frozenset(conditions.always())))
    if wrong:
        why = (
            f"{wrong[0]} is both required and waived"
            if wrong[0] in required
            else f"{wrong[0]} cannot be waived: without it nothing can be loaded"
        )
        raise mistake(file, ("swap", "waived"), why, RULES_ENTRY, PAGE)
    return Rules(
        reads=model.rules.reads,
        layout=model.rules.layout,
        required=required,
        waived=waived,
        verified_months=model.intervals.verified_months,
        backup_locations=model.intervals.backup_locations,
        function_tests=tuple((entry.unit, entry.tests) for entry in model.function_tests),
        title=model.rules.title,
        source=model.rules.source,
    )


def _refuse_unknown(file: TomlFile, swap: Swap) -> None:
    """Raise SheetRefused at the first name that is not a condition."""
    for key, listed in (("required", swap.required), ("waived", swap.waived)):
        for row, name in enumerate(listed):
            if name not in conditions.names():
                why = f"{name!r} is not a condition{in_its_place(name, _INTENDED)}"
                raise mistake(file, ("swap", key, row), why, RULES_ENTRY, PAGE)
