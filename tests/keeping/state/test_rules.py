"""Ship's rules: read strictly, and never weaker than they say without a word."""

from __future__ import annotations

import re
from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from parambak.errors import SheetRefused
from parambak.keeping.state.conditions import always, names
from parambak.keeping.state.rules import CAREFUL, Rules
from parambak.keeping.state.rules_file import FunctionTests, Head, Intervals, Swap, load_rules

ROOT = Path(__file__).parents[3]
HEAD = "[rules]\ntitle = 'invented'\nsource = 'invented'\n"
PAGE = (ROOT / "formats" / "ships-rules.md").read_text("utf-8")


def test_what_is_not_told_is_as_the_careful_default_has_it() -> None:
    """Only whose they are is needed."""
    assert load_rules(HEAD.encode()) == Rules(title="invented", source="invented")


def test_every_key_is_read() -> None:
    """From a file that tells all."""
    text = (
        f"{HEAD}reads = 3\nlayout = true\n[swap]\nrequired = ['supply-voltages']\n"
        "waived = ['fallback-plan']\n[intervals]\nverified-months = 6\nbackup-locations = 2\n"
    )
    assert load_rules(text.encode()) == Rules(
        reads=3,
        layout=True,
        required=frozenset({"supply-voltages"}),
        waived=frozenset({"fallback-plan"}),
        verified_months=6,
        backup_locations=2,
        title="invented",
        source="invented",
    )


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        ("[rules]\ntitle = 'a'\n", 1, "source"),
        (HEAD + "reads = 1\n", 4, ">= 2"),
        (HEAD + "layout = 'yes'\n", 4, "bool"),
        (HEAD + "lay-out = true\n", 4, "lay-out: unknown key"),
        (HEAD + "[rounds]\nplaces = 1\n", 4, "rounds: unknown key; write `intervals` in its place"),
        (HEAD + "[intervals]\nplaces = 1\n", 5, "write `backup-locations` in its place"),
        (
            HEAD + "[swap]\nrequired = ['supply-voltages', 'second-place']\n",
            5,
            "write `second-location`",
        ),
        (HEAD + "[swap]\nwaived = ['way-back']\n", 5, "write `fallback-plan` in its place"),
        (HEAD + "[swap]\nwaived = ['intact']\n", 5, "write `unchanged-on-disk` in its place"),
        (HEAD + "[swap]\nrequired = ['supply']\n", 5, "supply"),
        (HEAD + "[swap]\nwaived = ['copy']\n", 5, "cannot be waived"),
        (HEAD + "[swap]\nwaived = ['unchanged-on-disk']\n", 5, "cannot be waived"),
        (HEAD + "[swap]\nrequired = ['permit']\nwaived = ['permit']\n", 6, "and waived"),
        (HEAD + "[intervals]\nbackup-locations = -1\n", 5, ">= 0"),
        (HEAD + "[intervals]\nverified-months = 0.5\n", 5, "int"),
    ],
)
def test_rules_that_cannot_be_meant_are_refused_by_their_line(
    text: str, line: int, said: str
) -> None:
    """The key, its line, and why."""
    with pytest.raises(SheetRefused) as refusal:
        load_rules(text.encode())
    assert refusal.value.code == "rules-entry"
    assert refusal.value.line == line
    assert said in refusal.value.text


def test_what_is_no_text_is_refused() -> None:
    """By its own code."""
    with pytest.raises(SheetRefused) as refusal:
        load_rules(b"\xff")
    assert refusal.value.code == "rules-text"


@given(st.binary(max_size=200) | st.text(max_size=200).map(str.encode))
def test_no_bytes_escape_as_another_error(data: bytes) -> None:
    """Whatever is given is rules or a refusal."""
    with suppress(SheetRefused):
        load_rules(HEAD.encode() + data)


def test_a_condition_is_required_by_default_or_by_the_rules() -> None:
    """The rules add to the default rules, and take from it; some nothing takes away."""
    rules = Rules(required=frozenset({"supply-voltages"}), waived=frozenset({"permit"}))
    assert rules.requires("supply-voltages", by_default=False)
    assert not rules.requires("permit", by_default=True)
    assert rules.requires("fallback-plan", by_default=True)
    assert not rules.requires("counters", by_default=False)
    everything = Rules(waived=frozenset(names()))
    assert all(everything.requires(name, by_default=False) for name in always())


def test_none_and_weaker_rules_are_said_aloud() -> None:
    """Those that waive nothing are not."""
    assert "default rules" in CAREFUL.notes[0]
    weaker = Rules(title="owner's", waived=frozenset({"fallback-plan", "permit"}))
    assert weaker.notes == ("the ship's rules (owner's) do not require: permit, fallback-plan",)
    assert Rules(title="owner's").notes == ()


def test_the_page_names_every_key_and_every_condition() -> None:
    """Its tables are whole, and its example is sound."""
    named = re.findall(r"^\| `([a-z-]+)` \|", PAGE, re.MULTILINE)
    keys = {
        n.replace("_", "-")
        for each in (Head, Swap, Intervals, FunctionTests)
        for n in each.__struct_fields__
    }
    assert set(named) == keys | set(names())
    assert [name for name in named if name in names()] == list(names())
    example = re.search(r"```toml\n(.*?)```", PAGE, re.DOTALL)
    assert example is not None
    assert load_rules(example[1].encode()).title


def test_the_shipped_rules_are_sound() -> None:
    """Every file that crews are handed."""
    files = sorted((ROOT / "shared" / "rules").glob("*.toml"))
    assert files
    for file in files:
        assert load_rules(file.read_bytes()).title
