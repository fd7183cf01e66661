from __future__ import annotations

import gzip
import io
import os
import sqlite3
import tarfile
import tracemalloc
import zipfile
import zlib
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from parambak.errors import PackRefused, ParambakError
from parambak.memory.digests import sha256
from parambak.vault.check.recheck import recheck
from parambak.vault.packs import zip_form
from parambak.vault.packs.reading import Pack, opened
from parambak.vault.records import file_of
from tests.vault.forge import (
    Part,
    canonical,
    deflated,
    forged,
    good_parts,
    manifest_part,
    object_part,
    pack_of,
    record_part,
)
from tests.vault.packs.test_packs import KEPT, silent, unpacked

if TYPE_CHECKING:
    from pathlib import Path

    from tests.vault.home import Home

DATA = b"a dump, invented"


def refused(home: Home, data: bytes, code: str) -> ParambakError:
    """Take a file in; it must be refused completely, with that code, leaving no trace."""
    path = home.root.parent / "bad.zip"
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(data)
    with pytest.raises(ParambakError) as caught:
        unpacked(home, path)
    assert caught.value.code == code, caught.value.document()
    assert caught.value.exit_code == 2
    assert caught.value.file == str(path)
    assert caught.value.next
    assert not home.root.exists()
    return caught.value


def test_the_forge_makes_good_packs(home: Home) -> None:
    """What the tests below spoil in one way is taken in when it is not spoiled."""
    path = home.root.parent / "good.zip"
    path.write_bytes(pack_of(*good_parts()))
    report = unpacked(home, path)
    assert (report.added_objects, report.added_records, report.refused) == (1, 1, ())


@pytest.mark.parametrize(
    "name",
    [
        "../x",
        "/x",
        "C:\\x",
        "objects\\aa\\x",
        "objects/aa:x",
        "objects/aa/x\0",
        "con",
        "objects/aa/NUL",
        "objects/aa/com1.txt",
        "objects/aa/x.",
        "objects/aa/x ",
        "objects/",
        "",
        "inner.zip",
        "index.sqlite",
        "vault.toml",
        "lock",
        "objects/ab/" + "cd" * 32,
        "objects/" + "ab" * 200,
        "Manifest.json",
        "r\u00e9cord",
        b"\xff\xfe",
    ],
)
def test_a_member_of_a_strange_name(home: Home, name: str | bytes) -> None:
    """Ways out of the folder, devices, ends that Windows drops, other files of a vault."""
    strange = Part(name, b"x")
    for parts in ([strange, *good_parts()], [*good_parts(), strange]):
        refused(home, forged([manifest_part(good_parts()), *parts]), "pack-name")


def test_a_member_equal_to_another_after_case_folding(home: Home) -> None:
    """Names have one case: the second is no name of a pack."""
    one, two = good_parts()
    upper = Part(str(one.name).upper().replace("OBJECTS", "objects"), one.data)
    refused(home, pack_of(one, upper, two), "pack-name")


def test_one_name_twice(home: Home) -> None:
    """The same member again, or the manifest again."""
    one, two = good_parts()
    made = manifest_part([one, two])
    refused(home, forged([made, one, one, two]), "pack-name-twice")
    refused(home, forged([made, one, two, made]), "pack-name-twice")
    refused(home, forged([made, one, two, one]), "pack-header")  # and out of order


def test_a_link(home: Home) -> None:
    """The mode of a symbolic link, where Unix programs put it."""
    one, two = good_parts()
    one.attributes = 0o120777 << 16
    error = refused(home, pack_of(one, two), "pack-link")
    assert str(one.name) in (error.found or "")


def test_a_folder_or_a_device(home: Home) -> None:
    """No other mode than a plain file's."""
    for mode in (0o040755, 0o020666):
        one, two = good_parts()
        one.attributes = mode << 16
        refused(home, pack_of(one, two), "pack-central")


@pytest.mark.parametrize(
    "central",
    [
        {"name": b"objects/" + b"0" * 67},
        {"name": b"manifest.json"},
        {"crc": 1},
        {"packed": 1},
        {"size": 1},
        {"method": 8},
        {"flags": 1},
        {"at": 0},
        {"version": 45},
        {"extra": b"\1\0\0\0"},
    ],
)
def test_local_and_central_that_differ(home: Home, central: dict[str, Any]) -> None:
    """Name, sizes, sum, method, flags, place: the two must be the same."""
    one, two = good_parts()
    one.central = central
    refused(home, pack_of(one, two), "pack-central")


def test_a_member_that_the_manifest_lacks(home: Home) -> None:
    """It is named."""
    extra = object_part(b"extra")
    parts = sorted([*good_parts(), extra], key=lambda part: str(part.name))
    error = refused(home, forged([manifest_part(good_parts()), *parts]), "pack-members")
    assert str(extra.name) in (error.found or "")


def test_a_file_of_the_manifest_that_is_no_member(home: Home) -> None:
    """It is named."""
    one, two = good_parts()
    error = refused(home, forged([manifest_part([one, two]), two]), "pack-members")
    assert str(one.name) in (error.expected or "")


def test_a_size_other_than_the_manifests(home: Home) -> None:
    """The manifest's length against the header's."""
    one, two = good_parts()
    listed = [Part(one.name, one.data + b"x"), two]
    refused(home, forged([manifest_part(listed), one, two]), "pack-members")


def test_a_digest_that_does_not_match(home: Home) -> None:
    """That member is refused by name, with the record that needs it; the rest comes in."""
    one, two = good_parts()
    bad = Part(one.name, one.data.upper())
    alone = record_part(text="needs nothing")
    path = home.root.parent / "p.zip"
    records = sorted([two, alone], key=lambda part: str(part.name))
    path.write_bytes(pack_of(bad, *records))
    report = unpacked(home, path)
    assert {each.file for each in report.refused} == {one.name, two.name}
    assert report.added_records == 1
    assert recheck(home.open(), silent).damaged == ()


@pytest.mark.parametrize("spoil", ["crc", "truncated data", "garbage", "too long", "too short"])
def test_a_member_that_does_not_unpack(home: Home, spoil: str) -> None:
    """Refused by name, with any damage in its data; no more is read than was stated."""
    data = DATA * 50
    one = deflated(str(object_part(data).name), data)
    two = record_part(objects=(sha256(data),))
    assert one.packed is not None
    if spoil == "crc":
        one.crc = 1
    elif spoil == "truncated data":
        one.packed = one.packed[:-3]
    elif spoil == "garbage":
        one.packed = b"\xff" * len(one.packed)
    elif spoil == "too long":
        one.size = len(data) - 1
    else:
        one.size = len(data) + 1
    listed = Part(one.name, b"x" * (one.size or len(data)))
    path = home.root.parent / "p.zip"
    path.write_bytes(forged([manifest_part([listed, two]), one, two]))
    report = unpacked(home, path)
    assert {each.file for each in report.refused} == {one.name, two.name}
    assert (report.added_objects, report.added_records) == (0, 0)


def test_a_damaged_member_has_a_code_of_its_own() -> None:
    """Whoever reads one by itself is stated which, and what was expected."""
    one, two = good_parts()
    one.crc = 1
    pack = Pack(io.BytesIO(pack_of(one, two)), "x.zip")
    with pytest.raises(ParambakError) as caught:
        next(pack.pieces()).read()
    assert caught.value.code == "pack-damaged"
    assert caught.value.expected == "CRC-32 00000001"
    assert caught.value.file == one.name


def test_a_member_that_is_cut_off_after_it_was_listed_is_damaged() -> None:
    """A stick that loses its end while the pack is open: how much is missing is stated."""
    one, two = good_parts()
    data = pack_of(one, two)
    stream = io.BytesIO(data)
    pack = Pack(stream, "x.zip")
    pieces = list(pack.pieces())
    stream.truncate(data.index(one.data) + 5)
    with pytest.raises(ParambakError) as caught:
        pieces[0].read()
    assert (caught.value.code, caught.value.file) == ("pack-damaged", one.name)
    expected = f"{len(DATA) - 5} more bytes"
    assert (caught.value.expected, caught.value.found) == (expected, "the end of the file")


def test_a_member_shorter_than_it_says_is_damaged() -> None:
    """Unpacked whole, and fewer bytes than its header states."""
    data = DATA * 50
    one = deflated(str(object_part(data).name), data)
    one.size = len(data) + 1
    listed = Part(one.name, b"x" * one.size)
    two = record_part(objects=(sha256(data),))
    made = forged([manifest_part([listed, two]), one, two])
    with pytest.raises(ParambakError) as caught:
        next(Pack(io.BytesIO(made), "x.zip").pieces()).read()
    assert caught.value.expected == f"{len(data) + 1} bytes"
    assert caught.value.found == f"{len(data)} bytes"


def test_an_end_record_of_another_count_says_what_should_be_there(home: Home) -> None:
    """Both in hexadecimal."""
    data = bytearray(pack_of(*good_parts()))
    data[-12] ^= 1
    error = refused(home, bytes(data), "pack-central")
    right = bytes(data[-22:-12]) + bytes([data[-12] ^ 1]) + bytes(data[-11:])
    assert (error.expected, error.found) == (
        right.hex(" ").upper(),
        bytes(data[-22:]).hex(" ").upper(),
    )


def test_bytes_behind_a_members_data(home: Home) -> None:
    """Data that ends before the length that its header states hides something."""
    data = DATA * 50
    one = deflated(str(object_part(data).name), data)
    one.packed = (one.packed or b"") + b"hidden"
    path = home.root.parent / "p.zip"
    path.write_bytes(pack_of(one, record_part(objects=(sha256(data),))))
    assert str(one.name) in {each.file for each in unpacked(home, path).refused}


def test_a_ratio_over_the_cap(home: Home) -> None:
    """A member whose stated size is more than a hundred times its packed length."""
    data = bytes(1 << 20)
    one = deflated(str(object_part(data).name), data)
    error = refused(home, pack_of(one, record_part(objects=(sha256(data),))), "pack-size")
    assert "100 times" in (error.expected or "")


@pytest.mark.parametrize(("name", "size"), [("object", (64 << 20) + 1), ("record", (1 << 20) + 1)])
def test_a_member_over_its_cap(home: Home, name: str, size: int) -> None:
    """An object over 64 MiB, a record over 1 MiB: refused before a byte is unpacked."""
    one, two = good_parts()
    big = one if name == "object" else two
    big.packed, big.method, big.size = bytes(size // 90), 8, size
    refused(home, forged([manifest_part([one, two]), one, two]), "pack-size")


def test_a_bomb_that_lies_about_its_size(home: Home) -> None:
    """64 MiB after a header that states 16 bytes: they are counted while reading."""
    packer = zlib.compressobj(9, zlib.DEFLATED, -15)
    packed = b"".join(packer.compress(bytes(1 << 20)) for _ in range(64)) + packer.flush()
    one, two = good_parts()
    one.packed, one.method = packed, 8
    path = home.root.parent / "p.zip"
    path.write_bytes(forged([manifest_part([one, two]), one, two]))
    tracemalloc.start()
    report = unpacked(home, path)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert str(one.name) in {each.file for each in report.refused}
    assert peak < 8 << 20


def test_no_more_is_unpacked_than_was_stated() -> None:
    """The one piece that goes over the stated length is not passed on, and no later one is."""
    one, two = good_parts()
    packed = deflated("x", bytes(1 << 20)).packed
    one.packed, one.method = packed, 8
    stream = io.BytesIO(forged([manifest_part([one, two]), one, two]))
    member = zip_form.read_members(stream)[1]
    got: list[bytes] = []
    with pytest.raises(ParambakError) as caught:
        got.extend(zip_form.content(stream, member))
    assert caught.value.code == "pack-damaged"
    assert b"".join(got) == b""


def test_the_check_alone_names_what_is_damaged() -> None:
    """An object whose content does not fit its name, before anything is taken."""
    one, two = good_parts()
    pack = Pack(io.BytesIO(pack_of(Part(one.name, one.data.upper()), two)), "x.zip")
    assert [each.file for each in pack.check(silent)] == [one.name]


def test_too_many_members(home: Home, monkeypatch: pytest.MonkeyPatch) -> None:
    """Counted while reading; the end record does not decide."""
    monkeypatch.setattr(zip_form, "MAX_MEMBERS", 2)
    refused(home, pack_of(*good_parts()), "pack-size")


def test_a_total_over_the_cap(home: Home, monkeypatch: pytest.MonkeyPatch) -> None:
    """Of all members as their headers state it, which is more than is ever unpacked."""
    parts = good_parts()
    sizes = [len(part.data) for part in (manifest_part(parts), *parts)]
    monkeypatch.setattr(zip_form, "MAX_TOTAL", sum(sizes) - 1)
    refused(home, pack_of(*parts), "pack-size")
    monkeypatch.setattr(zip_form, "MAX_TOTAL", sum(sizes))
    assert Pack(io.BytesIO(pack_of(*parts)), "x.zip").check(silent) == ()


@pytest.mark.parametrize(("limit", "most"), [("MEMBERS", 1), ("TOTAL", len(DATA)), ("FILE", 60)])
def test_what_could_not_be_read_is_not_written(
    monkeypatch: pytest.MonkeyPatch, limit: str, most: int
) -> None:
    """The writer keeps to the same limits."""

    def write() -> None:
        writer = zip_form.Writer(io.BytesIO())
        writer.add("manifest.json", DATA)
        writer.add(str(object_part(DATA).name), DATA)
        writer.finish()

    write()
    monkeypatch.setattr(zip_form, f"MAX_{limit}", most)
    with pytest.raises(ParambakError) as caught:
        write()
    assert caught.value.code == "pack-size"


def test_a_file_over_the_cap(home: Home, monkeypatch: pytest.MonkeyPatch) -> None:
    """Above it the form would need ZIP64, which packs never have."""
    monkeypatch.setattr(zip_form, "MAX_FILE", 100)
    refused(home, pack_of(*good_parts()), "pack-size")


@pytest.mark.parametrize("flags", [0x1, 0x41, 0x2000])
def test_encrypted(home: Home, flags: int) -> None:
    """By any of the three flags of APPNOTE.TXT 4.4.4 that mean it."""
    one, two = good_parts()
    one.flags = flags
    error = refused(home, pack_of(one, two), "pack-encrypted")
    assert error.found == f"flags 0x{flags:04X} at {one.name!s}"


@pytest.mark.parametrize("method", [1, 9, 12, 14, 93, 99])
def test_an_unknown_method(home: Home, method: int) -> None:
    """Deflate64, bzip2, LZMA, Zstandard, AES and the old methods."""
    one, two = good_parts()
    one.method = method
    refused(home, pack_of(one, two), "pack-method")


def test_a_nested_archive(home: Home) -> None:
    """By its name, or as an object that nobody names; it is never opened."""
    inner = pack_of(*good_parts())
    refused(home, forged([manifest_part([]), Part("inner.zip", inner)]), "pack-name")
    refused(home, pack_of(object_part(inner), record_part()), "pack-unnamed-object")


def test_bytes_before_the_first_header(home: Home) -> None:
    """A program with a pack behind it, an HTML page, a byte-order mark."""
    good = [manifest_part(good_parts()), *good_parts()]
    for start in (b"MZ" + bytes(60), b"<html>", b"\xef\xbb\xbf", b"P"):
        assert refused(home, forged(good, start=start), "pack-not-one").offset == 0


def test_bytes_after_the_end(home: Home) -> None:
    """A comment, a second ZIP, one byte."""
    good = [manifest_part(good_parts()), *good_parts()]
    refused(home, forged(good, comment=b"hello"), "pack-beyond")
    refused(home, forged(good, behind=b"\0"), "pack-beyond")
    refused(home, forged(good) * 2, "pack-beyond")


def test_bytes_between_the_members(home: Home) -> None:
    """Where another reader would not look."""
    one, two = good_parts()
    two.before = b"hidden bytes that no header tells of, more than thirty"
    refused(home, pack_of(one, two), "pack-beyond")


@pytest.mark.parametrize(
    "words", [{"flags": 8}, {"flags": 0x800}, {"version": 45}, {"date": 0}, {"extra": b"\1\0\0\0"}]
)
def test_a_header_in_another_form(home: Home, words: dict[str, Any]) -> None:
    """A length that follows later, an extra field, another date: no pack has these."""
    one, two = good_parts()
    for name, value in words.items():
        setattr(one, name, value)
    refused(home, pack_of(one, two), "pack-header")


def test_a_stored_member_of_two_lengths(home: Home) -> None:
    """For stored bytes, both lengths are the same."""
    one, two = good_parts()
    one.size = len(DATA) + 1
    refused(home, pack_of(one, two), "pack-header")


def test_truncated_anywhere(home: Home) -> None:
    """Cut at each byte, it is refused; nothing is taken in."""
    whole = pack_of(*good_parts())
    codes = set()
    for length in range(len(whole)):
        with pytest.raises(PackRefused) as caught:
            Pack(io.BytesIO(whole[:length]), "cut.zip")
        codes.add(caught.value.code)
        if caught.value.code == "pack-truncated":
            assert caught.value.found == "the end of the file"
    assert codes == {"pack-not-one", "pack-truncated", "pack-name"}
    refused(home, whole[:-1], "pack-truncated")


def test_a_record_after_one_that_is_nowhere(home: Home) -> None:
    """Neither in the file nor in the vault: refused by name."""
    lost = "ab" * 32
    orphan = record_part(after=(lost,))
    path = home.root.parent / "p.zip"
    path.write_bytes(pack_of(orphan))
    report = unpacked(home, path)
    assert [each.file for each in report.refused] == [orphan.name]
    assert report.missing == (file_of(lost),)
    assert home.open().vessels() == ()


@pytest.mark.parametrize("vessel", ["f" * 32, None])
def test_a_record_about_another_vessel(home: Home, vessel: str | None) -> None:
    """Or about the vault itself: a pack that holds more than it lists is refused completely."""
    refused(home, pack_of(*good_parts()[:1], record_part(vessel)), "pack-other-vessel")


def test_an_object_that_no_record_names(home: Home) -> None:
    """Nothing rides along unseen."""
    refused(home, pack_of(object_part(b"stowaway"), record_part()), "pack-unnamed-object")


def test_a_member_that_is_no_record(home: Home) -> None:
    """The digest is right, but the content is no record: refused by name."""
    data = canonical({"format": 1, "kind": "note"})
    digest = sha256(data)
    path = home.root.parent / "p.zip"
    path.write_bytes(pack_of(Part(f"records/{digest[:2]}/{digest}.json", data)))
    assert len(unpacked(home, path).refused) == 1


def test_a_database_offered_as_the_catalogue(home: Home, tmp_path: Path) -> None:
    """As the file itself, or within it."""
    database = sqlite3.connect(tmp_path / "index.sqlite")
    database.execute("CREATE TABLE records (digest, bytes)")
    database.commit()
    database.close()
    data = (tmp_path / "index.sqlite").read_bytes()
    refused(home, data, "pack-not-one")
    refused(home, pack_of(*good_parts(), Part("index.sqlite", data)), "pack-name")


def test_any_other_archive(home: Home) -> None:
    """Tar, gzip, a ZIP of another program, 7z, RAR, an empty ZIP, an empty file."""
    tar = io.BytesIO()
    with tarfile.open(fileobj=tar, mode="w") as archive:
        archive.addfile(tarfile.TarInfo("manifest.json"))
    zipped = io.BytesIO()
    with zipfile.ZipFile(zipped, "w") as archive:
        archive.writestr("manifest.json", manifest_part(good_parts()).data)
    begins = (b"7z\xbc\xaf\x27\x1c", b"Rar!\x1a\x07\x01\0", b"PK\x05\x06" + bytes(18), b"", b"\0")
    for data in (tar.getvalue(), gzip.compress(b"x"), *begins):
        refused(home, data, "pack-not-one")
    refused(home, zipped.getvalue(), "pack-header")


def test_no_file(home: Home, tmp_path: Path) -> None:
    """Nothing, a folder, a pipe: refused, without waiting."""
    os.mkfifo(tmp_path / "pipe")
    for path in (tmp_path / "nothing", tmp_path, tmp_path / "pipe"):
        with pytest.raises(ParambakError) as caught, opened(path):
            pass
        assert caught.value.code == "pack-unreadable"
    assert not home.root.exists()


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_any_bytes_are_refused_or_harmless(data: st.DataObject) -> None:
    """Flip, cut and copy what is in a good pack: no error but ours, nothing foreign in it."""
    whole = bytearray(KEPT.read_bytes())
    good = {m.name for m in zip_form.read_members(io.BytesIO(whole))}
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(whole) - 1))
        what = data.draw(st.sampled_from(["flip", "cut", "copy"]))
        if what == "flip":
            whole[at] ^= data.draw(st.integers(1, 255))
        elif what == "cut":
            del whole[at : at + data.draw(st.integers(1, 40))]
        else:
            whole[at:at] = whole[: data.draw(st.integers(1, 60))]
        if not whole:
            return
    try:
        pack = Pack(io.BytesIO(whole), "x.zip")
        pack.check(silent)
        for piece in pack.pieces():
            assert piece.file in good
            assert sha256(piece.read()) == piece.digest
    except ParambakError:
        pass


def test_each_rotten_byte_is_found() -> None:
    """One flipped bit, at any byte of a pack: the file is refused, or a member is named.

    Except the few bits that fill up the last byte of deflated data, which have no meaning.
    """
    whole = KEPT.read_bytes()
    good = [piece.read() for piece in Pack(io.BytesIO(whole), "x.zip").pieces()]
    unseen = 0
    for at in range(len(whole)):
        rotten = bytearray(whole)
        rotten[at] ^= 1 << (at % 8)
        try:
            pack = Pack(io.BytesIO(rotten), "x.zip")
            damaged = pack.check(silent)
        except PackRefused:
            continue
        if not damaged:
            unseen += 1
            assert [piece.read() for piece in pack.pieces()] == good, f"byte {at}"
    assert unseen <= len(good)
