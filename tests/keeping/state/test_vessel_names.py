"""Vessels named from the few records that tell it: the same as from all their records."""

from __future__ import annotations

import tempfile
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from parambak.errors import ParambakError, VaultDamaged
from parambak.keeping.recording.entries import correct
from parambak.keeping.recording.texts import refuse_near_vessel
from parambak.keeping.state import select
from parambak.keeping.state.fold import Folding, fleet
from parambak.keeping.state.record_sets import IdentityRecords
from parambak.keeping.state.vessel_names import VesselIdentity, names_of, with_handles
from parambak.vault import vault_toml
from parambak.vault.index import index
from parambak.vault.records import Clock, Record, encode, file_of
from parambak.vault.vault import Vault
from tests.keeping.conftest import Laptop, image

if TYPE_CHECKING:
    from parambak.keeping.state.model import Fleet

IDS = ("3fa2c0de" * 4, "3fa2beef" * 4, "a70ce7a7" * 4)
ENTITIES = ("vessel", "unit")
FACTS = st.fixed_dictionaries(
    {},
    optional={
        "short": st.sampled_from(["grebe", "Grebe", "avocet", "heron", ""]),
        "imo": st.sampled_from(["1234567", "1234579", ""]),
        "former": st.lists(st.sampled_from(["grebe", "wader"]), max_size=2, unique=True),
        "display": st.sampled_from(["MT Grebe", "Grebe 2"]),
    },
)


class Told(NamedTuple):
    """A record to be: of which vessel, what it is about whom, after which of those before."""

    vessel: int
    kind: str
    itself: bool
    facts: dict[str, Any]
    after: int
    minute: int
    lost: bool


TOLD = st.builds(
    Told,
    st.integers(0, 2),
    st.sampled_from(["entered", "correct", "note", "visit-opened", "correct", "entered", "broken"]),
    st.booleans(),
    FACTS,
    st.integers(0, 7),
    st.integers(0, 5),
    st.sampled_from([False] * 9 + [True]),
)


def body_of(told: Told, vessel: str) -> dict[str, Any]:
    """Return the body of a record that tells something of the vessel itself, or of a unit."""
    identity = vessel if told.itself else "11" * 16
    what = "vessel" if told.itself else "unit"
    if told.kind == "correct":
        return {"what": what, "id": identity, "facts": told.facts}
    entity = {"what": what, "id": identity, "facts": told.facts}
    if not told.itself:
        entity["inside"] = vessel
    if told.kind == "visit-opened":
        return {"visit": "22" * 16, "on": "2026-03-01", "new": [entity]}
    if told.kind == "broken":
        return {"new": [entity, 5]}
    return {"new": [entity]} if told.kind == "entered" else {"text": f'"id":"{vessel}"'}


def write(root: Path, every: list[Told]) -> None:
    """Write a vault of these records, as files that were copied together."""
    files = {vault_toml.FILE: vault_toml.encode("5ca1ab1e" * 4)}
    known: dict[int, list[str]] = {}
    for told in every:
        vessel = IDS[told.vessel]
        before = known.setdefault(told.vessel, [])
        after = [digest for at, digest in enumerate(before[-3:]) if told.after >> at & 1]
        record = Record(
            format=1,
            kind="entered" if told.kind == "broken" else told.kind,
            vessel=vessel,
            after=tuple(sorted(set(after))),
            clock=Clock(utc=f"2026-03-01T09:0{told.minute}:00Z", offset=0),
            writer="0" * 32,
            objects=(),
            body=body_of(told, vessel),
        )
        digest, data = encode(record)
        before.append(digest)
        if not told.lost:
            files[file_of(digest)] = data
    for name, data in files.items():
        path = root / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)


def from_all_records(vault: Vault) -> list[tuple[object, ...]]:
    """Return how vessels are named by all records of each, compared each with each."""
    record_sets = [
        IdentityRecords(identity, vault.records(identity)) for identity in vault.vessels()
    ]
    identities = [VesselIdentity(records.identity, records.facts) for records in record_sets]
    groups: list[list[VesselIdentity]] = []
    for identity in identities:
        same = [group for group in groups if any(one_ship(identity, each) for each in group)]
        groups = [group for group in groups if group not in same]
        groups.append([identity, *(each for group in same for each in group)])
    ships = [names_of(sorted(group, key=lambda identity: identity.identity)) for group in groups]
    return [(handle, *names[:-1], names.conflicts(handle)) for names, handle in with_handles(ships)]


def one_ship(one: VesselIdentity, other: VesselIdentity) -> bool:
    """Return whether IMO number and a name of two identities agree."""
    return one.number is not None and one.number == other.number and bool(one.names & other.names)


def from_few(known: Fleet) -> list[tuple[object, ...]]:
    """Return how the program names the vessels."""
    return [(v.handle, v.ids, v.short, v.facts, v.former, v.conflicts) for v in known.vessels]


@pytest.fixture(params=[64, 1], ids=["read from files", "in the index"])
def _loose(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(index, "LOOSE", request.param)


@pytest.mark.usefixtures("_loose")
@settings(max_examples=150, deadline=None, suppress_health_check=[])
@given(st.lists(TOLD, max_size=9))
def test_the_few_records_name_the_vessels_as_all_do(every: list[Told]) -> None:
    """Whatever was stated, forked, lost or misshapen: names, numbers, conflicts and handles."""
    with tempfile.TemporaryDirectory() as folder:
        root, own = Path(folder, "vault"), Path(folder, "own")
        write(root, every)
        vault = Vault.open(root, own=own, clock=lambda: datetime(2026, 11, 25, tzinfo=UTC))
        assert from_few(fleet(vault)) == from_all_records(vault)
        vault.close()


@settings(max_examples=60, deadline=None)
@given(st.lists(TOLD, min_size=2, max_size=9), st.integers(0, 99))
def test_records_that_come_later_are_taken_up(every: list[Told], seed: int) -> None:
    """A folding that goes on knows what one that begins again knows."""
    with tempfile.TemporaryDirectory() as folder:
        root, own = Path(folder, "vault"), Path(folder, "own")
        cut = seed % len(every)
        write(root, every[:cut])
        vault = Vault.open(root, own=own, clock=lambda: datetime(2026, 11, 25, tzinfo=UTC))
        folding = Folding(vault)
        for vessel in folding.fleet().vessels:
            assert vessel.aboard is vessel.aboard
        write(root, every)
        with vault.writing() as writing:
            writing.add("note", IDS[0], {"text": "one more"})
        assert folding.fleet() == fleet(vault)
        assert folding.fleet() is folding.fleet()
        vault.close()


NAMES = ["grebe", "GREBE", "greb", "avocet", "wader", "1234567", "IMO 1234579", "grebe~3fa2", "x"]


@settings(max_examples=60, deadline=None)
@given(st.lists(TOLD, min_size=3, max_size=9))
def test_names_find_the_same_vessel_or_the_same_refusal(every: list[Told]) -> None:
    """What a name finds, and which new name is a near miss, is what all records tell."""
    with tempfile.TemporaryDirectory() as folder:
        root, own = Path(folder, "vault"), Path(folder, "own")
        write(root, every)
        vault = Vault.open(root, own=own, clock=lambda: datetime(2026, 11, 25, tzinfo=UTC))
        known = fleet(vault)
        whole = from_all_records(vault)
        for name in NAMES:
            found = {vessel.handle for vessel in select.vessels_named(known, name)}
            assert found == found_by(name, whole)
            every_name = [n for row in whole for n in (row[2], *row[4])]  # type: ignore[misc]
            mine = [n for v in known.vessels for n in (v.short, *v.former)]
            assert said(name, mine) == said(name, every_name)
        vault.close()


def found_by(name: str, whole: list[tuple[Any, ...]]) -> set[str]:
    """Return the handles that a name finds: by handle, short name, number, then former name."""
    wanted = name.casefold()
    number = wanted.removeprefix("imo").strip()
    for fits in (
        lambda row: row[0].casefold() == wanted,
        lambda row: row[2].casefold() == wanted,
        lambda row: row[3].get("imo") == number,
        lambda row: wanted in {former.casefold() for former in row[4]},
    ):
        found = {row[0] for row in whole if fits(row)}
        if found:
            return found
    return set()


def said(name: str, known: list[str]) -> str | None:
    """Return the code of the refusal of a new vessel's name, or None."""
    try:
        refuse_near_vessel(name, known)
    except ParambakError as error:
        return error.code
    return None


@pytest.fixture
def walks(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Return the vessels whose history is walked, or whose records are read, from here on."""
    seen: list[str] = []
    for name in ("chain", "records"):
        real = getattr(Vault, name)

        def noting(vault: Vault, vessel: str | None, real: Any = real) -> Any:
            if vessel is not None:
                seen.append(vessel)
            return real(vault, vessel)

        monkeypatch.setattr(Vault, name, noting)
    return seen


def test_only_the_vessel_asked_for_is_read(laptop: Laptop, walks: list[str]) -> None:
    """Renamed vessels too are named without their history, where their first record is one."""
    for number, name in enumerate(("grebe", "avocet", "heron")):
        laptop.take(image(number), where=f"{name}/port/U1", new_vessel=True)
        correct(laptop.vault, name, {"short": f"{name}-two"}, by=None, why=None)
    known = laptop.fleet
    walks.clear()
    select.find_position(known, "avocet/port/U1")
    assert walks == [select.find_vessel(known, "avocet").id]


def test_what_was_read_is_let_go_and_read_again(laptop: Laptop) -> None:
    """A fleet is gone through a vessel at a time; the answer stays the same."""
    laptop.take(image())
    (vessel,) = laptop.fleet.vessels
    before = vessel.aboard
    vessel.forget()
    assert vessel.aboard is not before
    assert vessel.aboard == before


def test_a_vessel_that_lost_its_name_is_damage_and_says_which_file(laptop: Laptop) -> None:
    """No "no such vessel": the file is named, and the vessel answers to its digits."""
    laptop.take(image())
    laptop.take(image(2), position_confirmed=True)
    (vessel,) = laptop.fleet.vessels
    first = next(s for s in laptop.vault.records(vessel.id) if not s.record.after)
    (laptop.root / first.file).unlink()
    for act in (
        lambda: select.find_vessel(laptop.fleet, "grebe"),
        lambda: laptop.take(image(3), where="grebes/port/U1"),
    ):
        with pytest.raises(VaultDamaged) as damage:
            act()
        assert damage.value.code == "where-name-lost"
        assert first.file in (damage.value.found or "")
    assert select.find_vessel(laptop.fleet, vessel.id[:8]).ids == vessel.ids
    laptop.take(image(3), where="stint/port/U1", new_vessel=True)


def test_units_and_positions_answer_to_the_names_they_had(laptop: Laptop) -> None:
    """Asked for and archived under the old name, it is the same chip; today's name goes first."""
    laptop.take(image(), where="grebe/port/U1")
    correct(laptop.vault, "grebe/port", {"short": "stern"}, by=None, why=None)
    correct(laptop.vault, "grebe/stern/U1", {"short": "U9"}, by=None, why=None)
    assert laptop.position("grebe/PORT/u1").where == "grebe/stern/U9"
    taken = laptop.take(image(2), where="grebe/port/U1", position_confirmed=True)
    assert (taken.made, taken.position.where) == ((), "grebe/stern/U9")
    assert len(laptop.position("grebe/stern/U9").reads) == 2
