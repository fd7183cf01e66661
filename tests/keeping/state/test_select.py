"""WHERE and COPY: every way to name a copy, and text that names none."""

from __future__ import annotations

from contextlib import suppress
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from parambak.errors import CallRefused, NotFound, ParambakError
from parambak.keeping.state import select
from parambak.keeping.state.bodies import ImageEntry
from parambak.keeping.state.model import Aboard, Copy, Fleet, Loader, Position, Unit, Vessel
from parambak.memory.digests import sha256
from tests.keeping.conftest import WHERE, image

if TYPE_CHECKING:
    from collections.abc import Callable

    from tests.keeping.conftest import Laptop

A, B = image(1), image(2)


@pytest.fixture
def history(laptop: Laptop) -> Laptop:
    """Return a laptop with three visits: A in January, B in March, A again in June."""
    for data, day in ((A, "2026-01-10"), (B, "2026-03-10"), (A, "2026-06-10")):
        laptop.take(data, read_on=day, position_confirmed=True)
    return laptop


@pytest.mark.parametrize(
    ("which", "data"),
    [
        ("", A),
        ("@latest", A),
        ("@LATEST", A),
        ("@previous", B),
        ("@1", B),
        ("@2", A),
        ("@002", A),
        ("@2026-01-10", A),
        ("@2026-03-09", A),
        ("@2026-03-10", B),
        ("@2026-06-09", B),
        ("@2026-06-10", A),
        ("@2100-01-01", A),
        (f"@{sha256(B)[:8]}", B),
        (f"@{sha256(B)[:8].upper()}", B),
        (f"@{sha256(A)}", A),
    ],
)
def test_every_which_names_its_copy(history: Laptop, which: str, data: bytes) -> None:
    """latest, previous, a date (the newest on or before it), a number, a digest's digits."""
    position, copy = select.find_copy(history.fleet, WHERE + which)
    assert copy.sha256 == sha256(data)
    assert select.copy_name(position, copy) == f"{WHERE}@{sha256(data)[:8]}"


@pytest.mark.parametrize(
    ("which", "code"),
    [
        ("0", "copy-none"),
        (" 0 ", "copy-none"),
        ("3", "copy-none"),
        ("9999999", "copy-none"),
        ("2026-01-09", "copy-none"),
        ("00000000", "copy-none"),
        ("2026-02-30", "copy-shape"),
        ("2026-1-1", "copy-shape"),
        ("abcdef0", "copy-shape"),
        ("abcdefgh", "copy-shape"),
        ("-1", "copy-shape"),
        ("newest", "copy-shape"),
        ("\uff11", "copy-shape"),
        ("\uff12\uff10\uff12\uff16-\uff10\uff13-\uff11\uff10", "copy-shape"),
        ("a" * 65, "copy-shape"),
    ],
)
def test_what_names_no_copy_is_refused(history: Laptop, which: str, code: str) -> None:
    """Nothing there: copy-none; no such shape: copy-shape. Neither falls back to the latest."""
    with pytest.raises(ParambakError) as refusal:
        select.find_copy(history.fleet, f"{WHERE}@{which}")
    assert refusal.value.code == code
    assert refusal.value.next


def test_previous_needs_two_copies(laptop: Laptop) -> None:
    """With one copy there is none before it."""
    laptop.take(A)
    with pytest.raises(NotFound) as refusal:
        select.find_copy(laptop.fleet, f"{WHERE}@previous")
    assert refusal.value.code == "copy-none"


def test_digits_that_two_copies_share_are_refused() -> None:
    """copy-two; one digit more tells them apart."""
    digests = ["ab" * 4 + "0" * 56, "ab" * 4 + "1" * 56]
    copies = tuple(Copy(n, ImageEntry(sha256=d, ranges=()), ()) for n, d in enumerate(digests, 1))
    position = Position(frozenset({"p"}), "U12", WHERE, copies=copies)
    with pytest.raises(CallRefused) as refusal:
        select.copy_named(position, "abababab")
    assert refusal.value.code == "copy-two"
    assert select.copy_named(position, "abababab1") is copies[1]


def test_a_position_without_copies_has_no_latest() -> None:
    """copy-none, whatever is asked."""
    position = Position(frozenset({"p"}), "U12", WHERE)
    for which in ("latest", "previous", "1", "2026-01-01", "abababab"):
        with pytest.raises(NotFound) as refusal:
            select.copy_named(position, which)
        assert refusal.value.code == "copy-none"
        assert refusal.value.expected == "one of 0 copies"


# --- WHERE ---


def test_a_part_of_a_where_names_all_below(laptop: Laptop) -> None:
    """Nothing: all; a vessel: its units' and its spare cards'; a unit: its own; whole: one."""
    wheres = (WHERE, "grebe/winch/U3", "grebe/card:PC-1/U12", "avocet/winch/U3")
    for seed, where in enumerate(wheres):
        laptop.take(image(seed), where=where, position_confirmed=True)
    known = laptop.fleet
    found = {
        part: [position.where for position in select.find_positions(known, part)]
        for part in (None, "grebe", "GREBE/winch", "grebe/card:pc-1", WHERE.upper())
    }
    assert found == {
        None: ["avocet/winch/U3", WHERE, "grebe/winch/U3", "grebe/card:PC-1/U12"],
        "grebe": [WHERE, "grebe/winch/U3", "grebe/card:PC-1/U12"],
        "GREBE/winch": ["grebe/winch/U3"],
        "grebe/card:pc-1": ["grebe/card:PC-1/U12"],
        WHERE.upper(): [WHERE],
    }


@pytest.mark.parametrize("where", ["", "/", "//", "grebe/", "/grebe", "a//b", "a/b/c/d", "a/b/c/"])
def test_a_where_of_another_shape_is_refused(where: str) -> None:
    """where-shape, with an example."""
    with pytest.raises(CallRefused) as refusal:
        select.parse_where(where)
    assert refusal.value.code == "where-shape"


@pytest.mark.parametrize(
    ("where", "code", "expected"),
    [
        ("grebe", "where-shape", "grebe/port-thruster/U12"),
        ("grebe/port-thruster", "where-shape", "grebe/port-thruster/U12"),
        ("avocet/port-thruster/U12", "where-vessel", "grebe"),
        ("grebe/port-thrustr/U12", "where-unit", "port-thruster"),
        ("grebe/card:PC-1/U12", "where-card", "none is on record yet"),
        ("grebe/port-thruster/U21", "where-position", "U12"),
    ],
)
def test_a_part_that_is_not_there_is_named_with_the_nearest(
    laptop: Laptop, where: str, code: str, expected: str
) -> None:
    """Each part has its own code, and what is there instead."""
    laptop.take(A)
    with pytest.raises(ParambakError) as refusal:
        select.find_position(laptop.fleet, where)
    assert (refusal.value.code, refusal.value.expected) == (code, expected)


HOSTILE = [
    "",
    "/",
    "\0",
    "grebe\0/port-thruster/U12",
    "g" * 10_000,
    "/".join("g" * 5_000 for _ in range(3)),
    "../../etc/passwd",
    "..\\..\\x",
    "CON",
    "nul/aux/com1",
    "\x1b[2Jgrebe",
    "\u202egrebe",
    "\ud800",
    "grebe\r\n",
    "%s{0}{name}",
    "@",
    "@@latest",
    "card:",
    "grebe/card:/U12",
    "grebe/port-thruster/U12@\0",
    "grebe/port-thruster/U12@" + "9" * 10_000,
    "grebe/port-thruster/U12@" + "f" * 10_000,
    "grebe/port-thruster/U12@2026-03-01@latest",
    "\u0130/\u017f/\ufb01",
]


@pytest.mark.parametrize("text", HOSTILE)
@pytest.mark.parametrize("find", [select.find_copy, select.find_position, select.find_positions])
def test_hostile_text_is_refused_in_a_few_plain_words(
    laptop: Laptop, text: str, find: Callable[[Fleet, str], object]
) -> None:
    """A ParambakError; its message is short and holds nothing that moves the screen."""
    laptop.take(A)
    with pytest.raises(ParambakError) as refusal:
        find(laptop.fleet, text)
    said = refusal.value.found or ""
    assert len(said) < 600
    assert said.isprintable()


KNOWN = Fleet(
    (
        Vessel(
            frozenset({"v"}),
            "grebe",
            "grebe",
            loader=Loader(
                lambda: Aboard(units=(Unit(frozenset({"u"}), "port", "grebe/port"),)), tuple
            ),
        ),
    )
)


@given(st.text())
def test_no_text_escapes_as_another_error(text: str) -> None:
    """Whatever is typed, the answer is a copy or a ParambakError."""
    for find in (select.find_copy, select.find_positions):
        with suppress(ParambakError):
            find(KNOWN, text)
