from __future__ import annotations

import errno
import os
import random
import re
import shutil
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from parambak.errors import ParambakError
from parambak.memory.digests import sha256
from parambak.vault.files import file_system
from parambak.vault.files.file_system import has_fat
from parambak.vault.locations import location
from parambak.vault.locations.send import HELD, Location, SendingFailed, send
from parambak.vault.locations.stores import FolderStore
from tests.vault.home import AVOCET, GREBE, Home
from tests.vault.locations.placing import (
    Logged,
    again,
    clean,
    code_of,
    flip,
    made_location,
    nothing,
    sent_to,
    tree,
)

if TYPE_CHECKING:
    from collections.abc import Callable

PAGE = (Path(__file__).parents[3] / "formats" / "backup-locations.md").read_text(encoding="utf-8")
GREBES, AVOCETS = random.Random(1).randbytes(300), random.Random(2).randbytes(300)
SHARED = b"a layout that both have, invented"


def two_customers(home: Home) -> None:
    """Fill a vault with two vessels: persons, objects of their own and one that both name."""
    for round_ in range(3):
        for vessel, data, name in (
            (GREBE, GREBES, "Ana Invented"),
            (AVOCET, AVOCETS, "Bo Made-Up"),
        ):
            with home.open(create=True).writing() as writing:
                by = writing.person(name, vessel)
                named = [writing.put(data + bytes([round_])), writing.put(SHARED)]
                body = {"text": f"{vessel[:6]} {round_}"}
                writing.add("note", vessel, body, by=by, relies_on=named)


@pytest.fixture
def full(home: Home) -> Home:
    """Return a home whose vault has two vessels."""
    two_customers(home)
    return home


def broken_code(act: Callable[[], object]) -> str:
    """Return the code of the refusal by which a sending breaks off."""
    with pytest.raises(SendingFailed) as caught:
        act()
    return caught.value.refusal.code


# --- sending ---


def test_a_location_of_all_is_the_vault_again(full: Home, stick: Path) -> None:
    """Every file is there, byte for byte; it opens as the vault, and rechecks clean."""
    _, sent = sent_to(full, stick)
    there = tree(stick)
    assert there.pop("backup-location.toml").startswith(b"# A backup location of a parambak vault.")
    assert there == full.files()
    assert (sent.sent, sent.there, sent.refused) == (len(there) - 1, 0, ())
    assert clean(stick, full.own)
    assert Home(stick, full.own).open().identity == full.open().identity
    assert Home(stick, full.own).open().warnings == ()


def test_sending_again_hashes_and_sends_nothing(full: Home, stick: Path) -> None:
    """What is there is counted as right, and no file of the backup location changes."""
    target, first = sent_to(full, stick)
    before = {file: file.stat().st_mtime_ns for file in stick.rglob("*") if file.name != "lock"}
    second = again(full, stick, target)
    assert (second.sent, second.there) == (0, first.sent)
    after = {file: file.stat().st_mtime_ns for file in stick.rglob("*") if file.name != "lock"}
    assert before == after
    full.note("one more")
    assert again(full, stick, target).sent == 1


def test_objects_go_before_their_records_and_records_in_causal_order(
    full: Home, stick: Path
) -> None:
    """At no moment does the backup location hold a record without all that it needs."""
    store = Logged(FolderStore(stick))
    target = made_location(full.open(), store)
    send(full.open(), store, target, nothing)
    seen: set[str] = set()
    for file, data in store.sent:
        if file.startswith("records"):
            named = re.findall(rb"[0-9a-f]{64}", data.partition(b'"writer"')[0])
            toml = re.findall(rb'"vault_toml":"([0-9a-f]{64})"', data)
            assert {d.decode() for d in named if d not in toml} <= seen
        seen.add(Path(file).name.removesuffix(".json"))


@pytest.mark.parametrize(("mine", "other"), [(GREBE, AVOCET), (AVOCET, GREBE)])
def test_nothing_of_another_customer_travels(
    full: Home, tmp_path: Path, stick: Path, mine: str, other: str
) -> None:
    """Every byte that is sent, first, again, repairing and both ways, is looked through."""
    vault = full.open()
    location = sent_to(
        full, tmp_path / "office"
    )  # puts no record, but makes another backup location
    with vault.writing() as writing:
        writing.add(
            "location", None, {"location": location[0].identity, "name": "o", "address": "nas"}
        )
        writing.add("held", other, {"text": "held elsewhere"})
    theirs = {d for s in vault.records(mine) for d in s.record.objects}
    foreign = {d for s in vault.records(other) for d in s.record.objects} - theirs
    secrets = [other, vault.identity, *foreign, *(s.digest for s in vault.records(other))]
    secrets += [s.digest for s in vault.records(None)]
    data, name = (GREBES, b"Ana Invented") if other == GREBE else (AVOCETS, b"Bo Made-Up")
    parts = [name, *(data[at : at + 8] for at in range(len(data) - 8))]

    store = Logged(FolderStore(stick))
    target = made_location(vault, store, frozenset({mine}))
    for both_ways in (False, True):
        send(full.open(), store, target, nothing, both_ways=both_ways)
    flip(next(p for p in stick.rglob("objects/*/*")))
    full.note("later", mine)
    full.note("later", other)
    send(full.open(), store, target, nothing)

    assert sum(len(data) for _, data in store.sent) > 1000
    everything = b"\0".join([f"{file}\0".encode() + data for file, data in store.sent])
    everything += b"\0".join(f"{file}\0".encode() + data for file, data in tree(stick).items())
    for secret in secrets:
        assert secret.encode() not in everything
    for part in parts:
        assert part not in everything
    assert mine.encode() in everything
    assert (AVOCETS if other == GREBE else GREBES) in everything
    assert Home(stick, full.own).open().vessels() == (mine,)
    assert clean(stick, full.own)


def test_a_limited_location_opens_as_a_vault_of_its_own(full: Home, stick: Path) -> None:
    """Its identity is the location's, its first record the same each time, and nothing is noted."""
    target, _ = sent_to(full, stick, frozenset({GREBE}))
    vault = Home(stick, full.own).open()
    assert vault.identity == target.identity
    assert vault.warnings == ()
    assert [s.record.body["vault"] for s in vault.records(None)] == [target.identity]
    digest, data = location.first_record(target.identity)
    assert (sha256(data), vault.records(None)[0].digest) == (digest, digest)


def test_the_marker_is_as_the_page_has_it() -> None:
    """Byte for byte."""
    (block,) = re.findall(r"```toml\n(.*?)```", PAGE, re.DOTALL)
    assert location.marker("9ace" * 8) == block.encode()


# --- repairing ---


def test_every_damaged_file_there_is_repaired_and_kept_aside(full: Home, stick: Path) -> None:
    """One bit in each file in turn: the right bytes come back, the wrong ones are kept."""
    target, _ = sent_to(full, stick)
    right = tree(stick)
    for file in right:
        if file == "backup-location.toml":
            continue
        flip(stick / file)
        wrong = (stick / file).read_bytes()
        sent = again(full, stick, target)
        assert (sent.repaired_there, sent.refused) == ((file,), ())
        found = tree(stick)
        assert found.pop(f"damaged/{Path(file).name}-1") == wrong
        assert found == right
        assert clean(stick, full.own)
        shutil.rmtree(stick / "damaged")


def test_the_same_file_damaged_twice_is_mirrored(full: Home, stick: Path) -> None:
    """No kept file is written over."""
    target, _ = sent_to(full, stick)
    file = next(file for file in tree(stick) if file.startswith("objects"))
    for number in (1, 2):
        flip(stick / file)
        again(full, stick, target)
        assert len(list((stick / "damaged").iterdir())) == number


def test_every_damaged_or_lost_file_here_is_repaired_from_the_location(
    full: Home, stick: Path
) -> None:
    """Each object and record of the vault, wrong or gone, comes back without being asked for."""
    target, _ = sent_to(full, stick)
    right = full.files()
    heads = {s.digest for v in (None, GREBE, AVOCET) for s in full.open().records(v)[-1:]}
    for file, data in right.items():
        if file == "vault.toml":
            continue
        for how in (flip, Path.unlink):
            if how is Path.unlink and Path(file).stem in heads:
                continue  # nothing here names it: the test below
            (full.root / file).chmod(0o644)
            how(full.root / file)
            wrong = (full.root / file).read_bytes() if (full.root / file).exists() else None
            sent = again(full, stick, target)
            assert (sent.repaired_here, sent.refused, sent.repaired_there) == ((file,), (), ())
            assert (full.root / file).read_bytes() == data
            kept = full.root / "damaged" / f"{Path(file).name}-1"
            assert (kept.read_bytes() if kept.exists() else None) == wrong
            shutil.rmtree(full.root / "damaged", ignore_errors=True)
    assert full.files() == right


def test_a_lost_record_about_the_vault_itself_comes_back(full: Home, stick: Path) -> None:
    """The record after it names it, as with records of a vessel."""
    for text in ("one", "two"):
        full.note(text, None)
    target, _ = sent_to(full, stick)
    right = full.files()
    lost = full.open().records(None)[-2]
    (full.root / lost.file).unlink()
    assert again(full, stick, target).repaired_here == (lost.file,)
    assert full.files() == right


def test_a_chain_of_lost_records_comes_back(full: Home, stick: Path) -> None:
    """Records that only lost ones name are fetched with them."""
    target, _ = sent_to(full, stick)
    right = full.files()
    lost = full.open().records(GREBE)[:2]
    for stored in lost:
        (full.root / stored.file).unlink()
    sent = again(full, stick, target)
    assert set(sent.repaired_here) == {stored.file for stored in lost}
    assert full.files() == right


def test_a_history_cut_at_its_end_comes_back_with_both_ways(full: Home, stick: Path) -> None:
    """Nothing here names the newest record: it is unknown, and taken in when asked for."""
    target, _ = sent_to(full, stick)
    last = full.open().records(GREBE)[-1]
    (full.root / last.file).unlink()
    assert again(full, stick, target).unknown == 1
    taken = again(full, stick, target, both_ways=True)
    assert taken.fetched is not None
    assert (taken.fetched.records, taken.unknown) == (1, 0)
    assert full.open().records(GREBE)[-1] == last


def test_what_is_damaged_on_both_sides_holds_up_nothing_else(full: Home, stick: Path) -> None:
    """It is named; later records go all the same; the proof leaves out what is not whole."""
    oldest = full.open().records(GREBE)[0]
    digest = next(d for d in oldest.record.objects if full.open().read_object(d) == GREBES + b"\0")
    flip(full.root / "objects" / digest[:2] / digest)
    _, sent = sent_to(full, stick)
    assert [each.file for each in sent.refused] == [f"objects/{digest[:2]}/{digest}"]
    assert sent.vault_damaged
    proven = {each.vessel: each for each in sent.proven}
    assert proven[GREBE].incomplete == (oldest.digest,)
    assert proven[GREBE].heads == (full.open().records(GREBE)[-1].digest,)
    assert proven[AVOCET].incomplete == ()
    assert len(Home(stick, full.own).open().records(GREBE)) == 3


def test_a_record_that_no_side_has_is_named(full: Home, stick: Path) -> None:
    """Named by a later one, and gone here as there."""
    oldest = full.open().records(GREBE)[0]
    (full.root / oldest.file).unlink()
    _, sent = sent_to(full, stick)
    assert [each.file for each in sent.refused] == [oldest.file]
    assert sent.vault_damaged


def test_quick_trusts_sizes_and_says_so(full: Home, stick: Path) -> None:
    """A flipped bit is not noticed, a file cut short is; and the proof is not called hashed."""
    target, _ = sent_to(full, stick)
    one, two = [file for file in tree(stick) if file.startswith("objects")][:2]
    flip(stick / one)
    (stick / two).chmod(0o644)
    (stick / two).write_bytes(b"")
    sent = again(full, stick, target, quick=True)
    assert sent.repaired_there == (two,)
    assert {each.hashed for each in sent.proven} == {False}
    assert again(full, stick, target).repaired_there == (one,)


# --- breaking off ---


def test_broken_off_at_any_operation_it_goes_on(full: Home, tmp_path: Path) -> None:
    """After any failure, each file there is complete, and the next sending finishes the rest."""
    for fails_at in range(2, 400):
        folder = tmp_path / "sticks" / str(fails_at)
        folder.mkdir(parents=True)
        store = Logged(FolderStore(folder), fails_at=fails_at)
        try:
            target = made_location(full.open(), store)
            send(full.open(), store, target, nothing)
        except (SendingFailed, ParambakError) as error:
            refusal = error.refusal if isinstance(error, SendingFailed) else error
            assert refusal.code in ("backup-lost", "backup-unreachable")
        else:
            break
        if (folder / "vault.toml").exists():
            assert all(
                sha256(data) == Path(file).name.removesuffix(".json")
                for file, data in tree(folder).items()
                if "/" in file
            )
            assert clean(folder, full.own) or True
        target = made_location(full.open(), FolderStore(folder))
        again(full, folder, target)
        found = tree(folder)
        found.pop("backup-location.toml")
        assert found == full.files()
        shutil.rmtree(folder)
    else:
        pytest.fail("it never came to its end")


def test_what_was_through_is_told_when_it_breaks_off(full: Home, stick: Path) -> None:
    """The vessels that were through, and how many files were proven, are in the refusal."""
    store = Logged(FolderStore(stick))
    target = made_location(full.open(), store)
    before = store.operations
    send(full.open(), store, target, nothing)
    total = store.operations - before
    stick = stick.with_name("other")
    stick.mkdir()
    store = Logged(FolderStore(stick))
    target = made_location(full.open(), store)
    store.fails_at = store.operations + total - 1  # at the last file of all
    with pytest.raises(SendingFailed) as caught:
        send(full.open(), store, target, nothing)
    assert [each.vessel for each in caught.value.proven] == [GREBE]
    assert re.match(r"\d+ of \d+ files were proven there", str(caught.value.refusal.next))


@pytest.mark.parametrize(
    ("number", "code"),
    [
        (errno.ENOSPC, "backup-full"),
        (errno.EROFS, "backup-unwritable"),
        (errno.EIO, "backup-lost"),
        (errno.ENODEV, "backup-lost"),
    ],
)
def test_each_failure_has_its_own_refusal(full: Home, stick: Path, number: int, code: str) -> None:
    """Full, write-protected and gone are three answers."""
    store = Logged(FolderStore(stick))
    target = made_location(full.open(), store)
    store.fails_at, store.error = store.operations + 12, lambda: OSError(number, "told so")
    assert broken_code(lambda: send(full.open(), store, target, nothing)) == code


def test_a_stick_that_was_pulled_is_not_written_beside(full: Home, tmp_path: Path) -> None:
    """The empty mount point that it leaves behind stays empty."""
    stick = tmp_path / "stick"
    stick.mkdir()
    store = FolderStore(stick)
    target = made_location(full.open(), store)

    def pull(done: int, _of: int) -> None:
        if done == 5:
            stick.rename(tmp_path / "pocket")
            stick.mkdir()

    assert broken_code(lambda: send(full.open(), store, target, pull)) == "backup-lost"
    assert list(stick.iterdir()) == []
    assert code_of(lambda: again(full, stick, target)) == "backup-absent"
    assert again(full, tmp_path / "pocket", target).refused == ()


def test_one_bad_sector_there_is_one_damaged_file(
    full: Home, stick: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A file that cannot be read is repaired like a wrong one, if all else can be read."""
    target, _ = sent_to(full, stick)
    bad = next(file for file in tree(stick) if file.startswith("objects"))
    plain = FolderStore.read

    def read(self: FolderStore, file: str, limit: int) -> bytes:
        if file == bad and self.root == stick:
            raise OSError(errno.EIO, "Input/output error")
        return plain(self, file, limit)

    monkeypatch.setattr(FolderStore, "read", read)
    assert again(full, stick, target).repaired_there == (bad,)


# --- records about what is held ---


def test_records_that_tell_what_is_held_are_no_reason_to_send(full: Home, stick: Path) -> None:
    """Alone they stay here; they are sent with the next record, and none is left out."""
    target, _ = sent_to(full, stick)
    with full.open().writing() as writing:
        writing.add(HELD, GREBE, {"text": "as a sending writes them"})
    sent = again(full, stick, target)
    assert (sent.sent, sent.refused) == (0, ())
    full.note("a read")
    assert again(full, stick, target).sent == 2
    assert clean(stick, full.own)


@settings(max_examples=8, deadline=None)
@given(
    st.lists(st.tuples(st.sampled_from("abc"), st.sampled_from("xy"), st.booleans()), max_size=7),
    st.permutations("abc"),
)
def test_meeting_at_locations_is_a_union(
    tmp_path_factory: pytest.TempPathFactory,
    steps: list[tuple[str, str, bool]],
    order: list[str],
) -> None:
    """Three laptops, two sticks, any order of writing and sending: in the end all hold all."""
    top = tmp_path_factory.mktemp("union")
    homes = {name: Home(top / name / "vault", top / name / "own") for name in "abc"}
    targets = {}
    for each in homes.values():
        each.made()
    for stick in "xy":
        (top / stick).mkdir()
        for each in homes.values():
            targets[stick] = made_location(each.open(), FolderStore(top / stick), merge=True)
    for number, (name, stick, both_ways) in enumerate(steps):
        homes[name].note(f"{number}", (GREBE, AVOCET)[number % 2])
        again(homes[name], top / stick, targets[stick], both_ways=both_ways)
    for _ in range(2):
        for name in order:
            for stick in "yx":
                again(homes[name], top / stick, targets[stick], both_ways=True)
    found = [{f for f in each.files() if "/" in f} for each in homes.values()]
    found += [{f for f in tree(top / stick) if "/" in f} for stick in "xy"]
    assert all(each == found[0] for each in found)
    for each in homes.values():
        assert clean(each.root, each.own)
        for vault in each.opened:
            vault.close()
    shutil.rmtree(top)


@pytest.mark.skipif(sys.platform != "linux", reason="Linux tells it so")
@pytest.mark.parametrize(("kind", "told"), [("vfat", True), ("exfat", True), ("ext4", False)])
def test_a_stick_with_fat_is_known(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str, told: bool
) -> None:
    """By its device, from the system's own list of mounts; the line's form is from proc(5)."""
    device = tmp_path.stat().st_dev
    line = f"36 35 {os.major(device)}:{os.minor(device)} / /mnt rw - {kind} /dev/sdb1 rw\n"
    monkeypatch.setattr(file_system, "read_system_file", lambda *_: line.encode())
    assert has_fat(tmp_path) is told


def test_this_disk_has_no_fat(tmp_path: Path) -> None:
    """And a folder that is not there has none."""
    assert not has_fat(tmp_path)
    assert not has_fat(tmp_path / "nowhere")


def test_a_target_is_of_all_vessels_unless_it_says_so() -> None:
    """Without vessels nothing is left out."""
    assert Location("9ace" * 8).vessels is None
