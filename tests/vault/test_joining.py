from __future__ import annotations

import errno
import random
import shutil
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from parambak.errors import ParambakError
from parambak.memory.digests import sha256
from parambak.vault import objects
from parambak.vault.check.recheck import recheck
from parambak.vault.files import disk
from parambak.vault.joining import Joined, Piece
from parambak.vault.records import Clock, Record, encode, file_of
from tests.vault.home import AVOCET, GREBE, Home
from tests.vault.pieces import merged, pieces_of

if TYPE_CHECKING:
    from collections.abc import Iterator

NOTHING = Joined(0, 0, (), (), ())
SHARED = b"a dump that both tugs have, invented"


def sound(home: Home) -> bool:
    """Return whether a vault rechecks clean."""
    return recheck(home.open(), lambda _done, _of: None).damaged == ()


def with_object(home: Home, text: str, vessel: str = GREBE) -> str:
    """Add a record that relies on an object of that text; return the object's digest."""
    with home.open(create=True).writing() as writing:
        digest = writing.put(text.encode())
        writing.add("note", vessel, {"text": text}, relies_on=[digest])
    return digest


def stuff(home: Home) -> set[str]:
    """Return the names of a vault's objects and records."""
    return {name for name in home.files() if name.startswith(("objects", "records"))}


def changed(pieces: list[Piece], digest: str, data: bytes) -> list[Piece]:
    """Return the pieces, one of them holding other bytes."""
    return [p._replace(read=lambda: data) if p.digest == digest else p for p in pieces]


def test_all_of_another_vault_comes_in(home: Home, other: Home) -> None:
    """Objects and records, in number; the vault rechecks clean, and a second time is nothing."""
    home.note("at home")
    other.note("aboard")
    with_object(other, "bytes")
    report = merged(home, pieces_of(other.root))
    assert report == NOTHING._replace(added_objects=1, added_records=3)
    assert stuff(other) < stuff(home)
    assert sound(home)
    assert home.open().warnings == ()
    assert merged(home, pieces_of(other.root)) == NOTHING


def test_the_order_of_the_pieces_is_nothing(home: Home, other: Home) -> None:
    """A later record given first, an object given last: the same."""
    for number in range(6):
        with_object(other, str(number), (GREBE, AVOCET)[number % 2])
    pieces = pieces_of(other.root)
    random.Random(3).shuffle(pieces)
    assert merged(home, pieces[::-1]) == NOTHING._replace(added_objects=6, added_records=7)
    assert sound(home)


def test_a_record_keeps_its_bytes(home: Home, other: Home) -> None:
    """What another wrote stays what it was, the writer's identity with it."""
    digest = other.note("aboard")
    merged(home, pieces_of(other.root))
    assert home.files()[file_of(digest)] == other.files()[file_of(digest)]


def test_a_damaged_object_is_refused_by_name_with_the_record_that_needs_it(
    home: Home, other: Home
) -> None:
    """And every record after it; the rest comes in."""
    other.note("before")
    digest = with_object(other, "will rot")
    after = other.note("after it")
    other.note("of the other tug", AVOCET)
    report = merged(home, changed(pieces_of(other.root), digest, b"rotten"))
    needs = next(s.digest for s in other.open().records(GREBE) if digest in s.record.objects)
    texts = {each.file: each.text for each in report.refused}
    assert set(texts) == {objects.file_of(digest), file_of(needs), file_of(after)}
    assert sha256(b"rotten") in texts[objects.file_of(digest)]
    assert objects.file_of(digest) in texts[file_of(needs)]
    assert file_of(needs) in texts[file_of(after)]
    assert report.added_records == 3
    assert report.missing == tuple(sorted([objects.file_of(digest), file_of(needs)]))
    assert sound(home)


def test_what_only_a_refused_record_names_does_not_stay(home: Home, other: Home) -> None:
    """One of its two objects is damaged: the other one is removed again."""
    with other.open(create=True).writing() as writing:
        digests = [writing.put(b"one"), writing.put(b"two")]
        writing.add("note", GREBE, {}, relies_on=digests)
    last = max(digests)  # so that the other is taken first
    report = merged(home, changed(pieces_of(other.root), last, b"rot"))
    assert (report.added_objects, report.added_records) == (0, 1)
    assert not any(name.startswith("objects") for name in stuff(home))


@pytest.mark.parametrize("data", [b"", b"{}\n", b"no record"])
def test_a_damaged_record_is_refused_by_name(home: Home, other: Home, data: bytes) -> None:
    """Bytes that do not fit the name."""
    digest = other.note("aboard")
    report = merged(home, changed(pieces_of(other.root), digest, data))
    assert [each.file for each in report.refused] == [file_of(digest)]
    assert home.open().vessels() == ()


@pytest.mark.parametrize(
    ("data", "word"),
    [(b"not JSON at all", "not a record"), (b'{"format":2}\n', "newer version")],
)
def test_what_is_named_right_and_is_no_record_is_refused(
    home: Home, data: bytes, word: str
) -> None:
    """Any bytes have a digest; that does not make them a record."""
    piece = Piece("strange.json", sha256(data), True, lambda: data)
    (refused,) = merged(home, [piece]).refused
    assert refused.file == "strange.json"
    assert word in refused.text
    assert sound(home)


def test_a_piece_that_cannot_be_read_is_refused_by_name(home: Home, other: Home) -> None:
    """The system's own words are passed on."""
    digest = other.note("aboard")

    def fail() -> bytes:
        raise OSError(5, "Input/output error")

    pieces = [p._replace(read=fail) if p.digest == digest else p for p in pieces_of(other.root)]
    (refused,) = merged(home, pieces).refused
    assert "Input/output error" in refused.text


def test_a_record_after_an_unknown_one_is_refused(home: Home, other: Home) -> None:
    """Its history is not complete: a record is neither in the vault nor coming in."""
    first = other.note("first")
    second = other.note("second")
    pieces = [p for p in pieces_of(other.root) if p.digest != first]
    report = merged(home, pieces)
    assert [each.file for each in report.refused] == [file_of(second)]
    assert file_of(first) in report.refused[0].text
    assert report.missing == (file_of(first),)
    # Once the first is there, the second comes in.
    merged(home, pieces_of(other.root))
    assert len(home.open().records(GREBE)) == 2


def test_a_record_after_one_of_another_vessel_is_refused(home: Home) -> None:
    """One vessel's records must be whole without the others'."""
    parent = home.note("of the other tug", AVOCET)
    record = Record(
        format=1,
        kind="note",
        vessel=GREBE,
        after=(parent,),
        clock=Clock(utc="2026-11-25T13:49:40Z", offset=0),
        writer="0" * 32,
        objects=(),
        body={},
    )
    digest, data = encode(record)
    piece = Piece("in", digest, True, lambda: data)
    (refused,) = merged(home, [piece]).refused
    assert "same vessel" in refused.text


def test_the_vault_itself_refuses_what_does_not_fit(home: Home, other: Home) -> None:
    """A single record can be kept too, and not without what it names."""
    first = other.note("first")
    digest = other.note("second")
    with_object(other, "bytes", AVOCET)
    needy = other.open().records(AVOCET)[0].digest
    for name, code in ((digest, "vault-missing-record"), (needy, "vault-missing-object")):
        data = other.files()[file_of(name)]
        with pytest.raises(ParambakError) as caught, home.open(create=True).writing() as writing:
            writing.take_record(name, data)
        assert caught.value.code == code
        assert (caught.value.expected or "?") in (caught.value.file or "")
    with pytest.raises(ParambakError) as caught, home.open().writing() as writing:
        writing.take_record(first, b"rot")
    assert caught.value.code == "vault-damaged-record"
    assert home.open().vessels() == ()


def test_what_the_vault_has_wrong_is_repaired(home: Home, other: Home) -> None:
    """An object and a record whose bytes rotted are replaced by the right ones, and named."""
    digest = with_object(home, "bytes")
    note = home.note("words")
    shutil.copytree(home.root, other.root)
    home.overwrite(objects.file_of(digest), b"rot")
    home.overwrite(file_of(note), b"rot")
    assert not sound(home)
    report = merged(home, pieces_of(other.root))
    assert set(report.repaired) == {objects.file_of(digest), file_of(note)}
    assert (report.added_objects, report.added_records) == (0, 0)
    assert sound(home)
    assert home.files() == other.files()


def test_an_object_alone_repairs_and_fills(home: Home, other: Home) -> None:
    """One that the vault has wrong, and one that its records name and that is gone."""
    wrong, gone = with_object(home, "wrong"), with_object(home, "gone")
    shutil.copytree(home.root, other.root)
    home.overwrite(objects.file_of(wrong), b"rot")
    disk.remove(home.root / objects.file_of(gone))
    pieces = [p for p in pieces_of(other.root) if not p.is_record]
    report = merged(home, pieces)
    assert report == NOTHING._replace(added_objects=1, repaired=(objects.file_of(wrong),))
    assert sound(home)


def test_a_vault_that_is_wrong_takes_nothing_wrong(home: Home, other: Home) -> None:
    """Damaged on both sides: the vault's file is left as it was, and the other is named."""
    digest = with_object(home, "bytes")
    shutil.copytree(home.root, other.root)
    home.overwrite(objects.file_of(digest), b"rot")
    report = merged(home, changed(pieces_of(other.root), digest, b"other rot"))
    assert [each.file for each in report.refused] == [objects.file_of(digest)]
    assert home.files()[objects.file_of(digest)] == b"rot"


def test_an_object_that_no_record_names_stays_out(home: Home) -> None:
    """Unless the pieces are loose: what is left of a vault."""
    piece = Piece("in", sha256(SHARED), False, lambda: SHARED)
    assert merged(home, [piece]) == NOTHING
    assert not home.open().has_object(piece.digest)
    assert merged(home, [piece], loose=True) == NOTHING._replace(added_objects=1)
    assert home.open().read_object(piece.digest) == SHARED


def test_of_two_pieces_of_one_name_the_right_one_is_taken(home: Home, other: Home) -> None:
    """A heap may hold a file twice, once damaged; that one is named."""
    digest = with_object(other, "bytes")
    bad = [p._replace(file="lost/" + p.file, read=lambda: b"rot") for p in pieces_of(other.root)]
    report = merged(home, [*bad, *pieces_of(other.root)], loose=True)
    assert {each.file for each in report.refused} == {each.file for each in bad}
    assert home.open().read_object(digest) == b"bytes"
    assert sound(home)


def test_loose_records_come_in_without_what_they_name(home: Home, other: Home) -> None:
    """What is missing everywhere is named: that vault is damaged, and reports it."""
    first = other.note("first")
    digest = with_object(other, "bytes")
    lost = {first, digest}
    pieces = [p for p in pieces_of(other.root) if p.digest not in lost]
    report = merged(home, pieces, loose=True)
    assert report.added_records == 2
    assert set(report.missing) == {file_of(first), objects.file_of(digest)}
    damaged = {d.file for d in recheck(home.open(), lambda _done, _of: None).damaged}
    assert damaged == set(report.missing)


def test_a_broken_off_merge_leaves_a_sound_vault(
    home: Home, other: Home, monkeypatch: pytest.MonkeyPatch
) -> None:
    """At any point where the writing stops, it continues from there."""
    for number in range(3):
        with_object(other, str(number))
    pieces = pieces_of(other.root)
    write, left = disk.write_sealed, 0

    def failing(path: Path, data: bytes, *, repair: bool = False) -> None:
        nonlocal left
        left -= 1
        if left < 0:
            raise disk.write_refusal(OSError(errno.ENOSPC, "No space"), path)
        write(path, data, repair=repair)

    monkeypatch.setattr(disk, "write_sealed", failing)
    for stop in range(7):
        left = 99
        shutil.rmtree(home.root, ignore_errors=True)
        home.made()
        left = stop
        with pytest.raises(ParambakError, match="full"):
            merged(home, pieces)
        assert sound(home)
        named = {objects.file_of(o) for s in home.open().records(GREBE) for o in s.record.objects}
        assert {name for name in stuff(home) if name.startswith("objects")} == named
    left = 99
    merged(home, pieces)
    assert stuff(other) < stuff(home)


def test_a_source_that_fails_altogether_stops_the_merge(home: Home, other: Home) -> None:
    """What was taken until then stays, and is whole; nobody calls it done."""
    with_object(other, "one")
    with_object(other, "two")

    def lost() -> bytes:
        raise ParambakError("place-gone", "the line is dead")

    pieces = pieces_of(other.root)
    with pytest.raises(ParambakError, match="dead"):
        merged(home, [*pieces[:1], *(p._replace(read=lost) for p in pieces[1:])])
    assert sound(home)


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Return a folder for many small vaults."""
    folder = tmp_path_factory.mktemp("joining")
    yield folder
    shutil.rmtree(folder)


WRITES = st.lists(
    st.tuples(st.sampled_from("abc"), st.booleans(), st.sampled_from(["note", "own", "shared"])),
    max_size=7,
)


@settings(max_examples=15, deadline=None)
@given(WRITES, st.permutations("abc"), st.randoms(use_true_random=False))
def test_merging_is_a_union(
    place: Path, writes: list[tuple[str, bool, str]], order: list[str], chance: random.Random
) -> None:
    """Several vaults in any order, any grouping, once or twice: the same files, all sound."""
    folder = Path(tempfile.mkdtemp(dir=place))
    homes = {name: Home(folder / name / "vault", folder / name / "own") for name in "abc"}
    for home in homes.values():
        home.made()
    for number, (name, crossed_over, what) in enumerate(writes):
        vessel = (GREBE, AVOCET)[number % 2]
        if crossed_over:
            merged(homes[name], pieces_of(homes["abcab"[number % 5]].root))
        if what == "note":
            homes[name].note(f"{name} {number}", vessel)
        else:
            with_object(homes[name], SHARED.decode() if what == "shared" else f"{number}", vessel)
    parts = {name: pieces_of(home.root) for name, home in homes.items()}
    union = {piece.file for pieces in parts.values() for piece in pieces}

    one_by_one = Home(folder / "1", folder / "own")
    shutil.copytree(homes[order[0]].root, one_by_one.root)
    for name in (*order[1:], *order):
        mixed = parts[name][:]
        chance.shuffle(mixed)
        merged(one_by_one, mixed)
    grouped = Home(folder / "2", folder / "own")
    shutil.copytree(homes["c"].root, grouped.root)
    merged(homes["a"], parts["b"])
    merged(grouped, pieces_of(homes["a"].root))
    for home in (one_by_one, grouped):
        assert stuff(home) == union
        assert sound(home)
    assert {v: one_by_one.open().records(v) for v in (GREBE, AVOCET)} == {
        v: grouped.open().records(v) for v in (GREBE, AVOCET)
    }
    for home in (*homes.values(), one_by_one, grouped):
        for vault in home.opened:
            vault.close()
