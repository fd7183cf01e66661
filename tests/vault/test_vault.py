from __future__ import annotations

import errno
from typing import TYPE_CHECKING, Any

import pytest

from parambak.errors import ParambakError, VaultDamaged
from parambak.memory.digests import sha256
from parambak.vault import objects
from parambak.vault.check.recheck import recheck
from parambak.vault.files import disk
from tests.vault.home import AVOCET, GREBE

if TYPE_CHECKING:
    from parambak.vault.vault import Vault
    from tests.vault.home import Home

IDENTITY = "5ca1ab1e5ca1ab1e5ca1ab1e5ca1ab1e"


def codes(vault: Vault) -> set[str]:
    """Return the codes of a vault's warnings."""
    return {finding.code for finding in vault.warnings}


# --- opening ---


def test_the_first_vault_still_opens(first: Home) -> None:
    """A vault of format 1, made without our code, opens whole and in causal order."""
    vault = first.open()
    assert vault.identity == IDENTITY
    assert vault.warnings == ()
    assert not vault.made
    assert vault.vessels() == (GREBE, AVOCET)
    texts = [stored.record.body["text"] for stored in vault.records(GREBE)]
    assert texts == [
        "first note, invented",
        'on the stick: Überprüfung ✓ "quoted"\ttab',
        "on the laptop",
        "after both",
    ]
    assert [stored.record.kind for stored in vault.records(None)] == ["vault"]
    mark = vault.records(GREBE)[0].record.by
    assert mark is not None
    assert vault.person(mark) == "Ana Invented"
    assert recheck(vault, lambda _done, _of: None)[:5] == (2, 6, (), (), 0)


def test_reading_changes_nothing(first: Home) -> None:
    """A vault that is only read has the same files afterwards, and no own folder is made."""
    before = first.files()
    vault = first.open()
    vault.records(GREBE)
    recheck(vault, lambda _done, _of: None)
    assert first.files() == before
    assert not (first.root / "lock").exists()
    assert not first.own.exists()


@pytest.mark.parametrize("empty", [True, False])
def test_no_vault_is_refused_without_create(home: Home, empty: bool) -> None:
    """A missing and an empty folder are no vault, and none is made without `create`."""
    if empty:
        home.root.mkdir()
    with pytest.raises(ParambakError) as caught:
        home.open()
    assert caught.value.code == "vault-absent"
    assert caught.value.file == str(home.root)
    assert caught.value.exit_code == 2
    assert home.root.exists() == empty


@pytest.mark.parametrize("empty", [True, False])
def test_create_makes_one_with_the_first_writing(home: Home, empty: bool) -> None:
    """It reports that it is new; until something is written, nothing is on the disk."""
    if empty:
        home.root.mkdir()
    vault = home.open(create=True)
    assert vault.made
    assert vault.vessels() == ()
    assert vault.records(None) == ()
    assert list(home.root.parent.glob("vault/*")) == []
    with vault.writing():
        pass
    again = home.open()
    assert not again.made
    assert again.identity == vault.identity
    assert again.warnings == ()


def test_the_first_record_holds_the_digest_of_vault_toml(home: Home) -> None:
    """It shows an edited vault.toml."""
    vault = home.made()
    (stored,) = vault.records(None)
    digest = sha256((home.root / "vault.toml").read_bytes())
    assert stored.record.kind == "vault"
    assert stored.record.body == {"vault": vault.identity, "vault_toml": digest}


def test_a_folder_of_other_things_is_never_made_a_vault(home: Home) -> None:
    """Not even with create: a folder that holds a stranger's file stays as it is."""
    home.root.mkdir()
    (home.root / "letter.txt").write_text("dear")
    for create in (True, False):
        with pytest.raises(ParambakError) as caught:
            home.open(create=create)
        assert caught.value.code == "vault-not-a-vault"
    assert [file.name for file in home.root.iterdir()] == ["letter.txt"]


def test_a_file_is_no_vault(home: Home) -> None:
    """A file where the folder should be is refused."""
    home.root.write_text("no folder")
    with pytest.raises(ParambakError) as caught:
        home.open(create=True)
    assert caught.value.code == "vault-not-a-vault"


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", "vault-toml-missing"),
        ("format = 1\n", "vault-toml-damaged"),
        (f'format = 1\nvault = "{IDENTITY[:-1]}"\n', "vault-toml-damaged"),
        ('format = 1\nvault = "../../../../etc/passwd/0123456"\n', "vault-toml-damaged"),
        (f'format = true\nvault = "{IDENTITY}"\n', "vault-toml-damaged"),
        (f'format = 0\nvault = "{IDENTITY}"\n', "vault-toml-damaged"),
        ("format = 1\nformat = 1\n", "vault-toml-damaged"),
        ("[" * 3000, "vault-toml-damaged"),
        ("a = " + "9" * 4000, "vault-toml-damaged"),
        ("\ufeffformat = 1", "vault-toml-damaged"),
        (f'format = 2\nvault = "{IDENTITY}"\n', "vault-toml-damaged"),
        ("# " + "x" * 5000, "vault-unreadable"),
    ],
)
def test_a_vault_toml_that_is_none_is_refused(first: Home, text: str, code: str) -> None:
    """What is not this format's, or is a newer one's, is refused, and nothing is touched."""
    (first.root / "vault.toml").write_text(text, encoding="utf-8")
    before = first.files()
    with pytest.raises(ParambakError) as caught:
        first.open(create=True)
    assert caught.value.code == code
    assert caught.value.file == str(first.root / "vault.toml")
    assert first.files() == before


def test_a_flipped_digit_of_the_format_is_damage_and_mended_by_hand(first: Home) -> None:
    """The first record holds the digest: the refusal gives the right lines."""
    path = first.root / "vault.toml"
    whole = path.read_bytes()
    path.write_bytes(whole.replace(b"format = 1", b"format = 3"))
    with pytest.raises(VaultDamaged) as caught:
        first.open()
    assert caught.value.code == "vault-toml-damaged"
    assert caught.value.expected == f'format = 1, vault = "{IDENTITY}"'
    assert "format = 3" in str(caught.value.found)
    path.write_bytes(whole)
    assert codes(first.open()) == set()


@pytest.mark.parametrize("told_by", ["a record of a later format", "the first record", "nothing"])
def test_a_newer_vault_is_not_called_damaged(first: Home, told_by: str) -> None:
    """If a record states that a newer version wrote it, or none shows what was written."""
    path = first.root / "vault.toml"
    data = path.read_bytes().replace(b"format = 1", b"format = 2")
    path.write_bytes(data)
    known = next(
        f for f in first.root.rglob("records/*/*.json") if b'"vault_toml"' in f.read_bytes()
    )
    record = known.read_bytes()
    if told_by == "a record of a later format":
        record = record.replace(b'"format":1', b'"format":2')
    else:
        old = sha256(data.replace(b"format = 2", b"format = 1"))
        record = record.replace(old.encode(), sha256(data).encode())
    new = first.root / "records" / sha256(record)[:2] / f"{sha256(record)}.json"
    new.parent.mkdir(exist_ok=True)
    new.write_bytes(record)
    if told_by == "nothing":
        new.unlink()
        known.unlink()
    with pytest.raises(ParambakError) as caught:
        first.open()
    assert caught.value.code == "vault-newer"


def test_an_edited_vault_toml_is_said(first: Home) -> None:
    """With the same meaning it opens, and a warning names it."""
    (first.root / "vault.toml").write_text(f'vault = "{IDENTITY}"\r\nformat = 1\r\n')
    assert codes(first.open()) == {"vault-toml-changed"}


def test_a_newer_record_closes_the_vault_to_us(first: Home) -> None:
    """To go on without a record that we cannot read could hide a correction."""
    data = b'{"format":2,"kind":"note"}\n'
    path = first.root / "records" / sha256(data)[:2]
    path.mkdir(exist_ok=True)
    (path / f"{sha256(data)}.json").write_bytes(data)
    with pytest.raises(ParambakError) as caught:
        first.open()
    assert caught.value.code == "vault-newer"
    assert str(caught.value.file).endswith(f"{sha256(data)}.json")


# --- writing ---


def test_a_read_of_two_objects_is_written_and_found_again(home: Home) -> None:
    """Objects, person and record are there after closing and opening."""
    vault = home.open(create=True)
    with vault.writing() as writing:
        image, dump = writing.put(b"image"), writing.put(b"dump")
        mark = writing.person("Ana Invented", GREBE)
        digest = writing.add("note", GREBE, {"n": 1}, by=mark, relies_on=[image, dump])
    again = home.open()
    (stored,) = again.records(GREBE)
    assert stored.digest == digest
    assert stored.file == f"records/{digest[:2]}/{digest}.json"
    assert sha256((home.root / stored.file).read_bytes()) == digest
    assert stored.record.objects == tuple(sorted([image, dump, mark]))
    assert stored.record.clock.utc == "2026-11-25T13:49:40Z"
    assert stored.record.clock.offset == 60
    assert stored.record.writer == again.writer == vault.writer
    assert again.read_object(image) == b"image"
    assert again.has_object(dump)
    assert again.person(mark) == "Ana Invented"


def test_after_names_all_newest_records_of_that_vessel(home: Home) -> None:
    """Each record follows the last about its own vessel, and no other's."""
    first, sister, second = home.note("1"), home.note("1", AVOCET), home.note("2")
    vault = home.open()
    assert [s.record.after for s in vault.records(GREBE)] == [(), (first,)]
    assert [s.record.after for s in vault.records(AVOCET)] == [()]
    with vault.writing() as writing:
        third = writing.add("note", GREBE, {})
        writing.add("note", AVOCET, {})
    assert [s.record.after for s in vault.records(GREBE)][2] == (second,)
    assert [s.record.after for s in vault.records(AVOCET)][1] == (sister,)
    assert vault.records(GREBE)[2].digest == third


def test_the_next_record_closes_a_fork(first: Home) -> None:
    """If there are two histories side by side, the next record is after both."""
    joined = (
        first.root
        / "records/71/71d6e46971cab47de2d0a8c61bcd59f3066d2cd8d556669c18bc99875c413394.json"
    )
    joined.unlink()
    first.note("closing")
    assert len(first.open().records(GREBE)[-1].record.after) == 2


def test_a_writer_sees_what_another_wrote_meanwhile(home: Home) -> None:
    """Two open vaults take turns, and each record is after the other's."""
    one, two = home.made(), home.open()
    digests: list[str] = []
    for vault in (one, two, one):
        with vault.writing() as writing:
            digests.append(writing.add("note", GREBE, {"n": len(digests)}))
    assert [s.record.after for s in one.records(GREBE)] == [(), (digests[0],), (digests[1],)]


def test_two_that_make_the_same_vault_share_it(home: Home) -> None:
    """The second writer takes the vault of the first, and makes none."""
    one, two = home.open(create=True), home.open(create=True)
    for vault in (one, two):
        with vault.writing() as writing:
            writing.add("note", GREBE, {"by": vault is one})
    assert one.made
    assert not two.made
    assert two.identity == one.identity
    assert len(two.records(GREBE)) == 2
    assert len(two.records(None)) == 1


def test_the_writer_is_the_users_and_not_in_the_vault(home: Home, other: Home) -> None:
    """One identity for all of a user's vaults, 32 digits, made once."""
    writer = home.made().writer
    assert len(writer) == 32
    assert home.open().writer == writer
    assert other.made().writer != writer
    assert all(writer not in name for name in home.files())


def test_a_record_that_names_a_missing_object_is_not_written(home: Home) -> None:
    """The record would never be whole."""
    vault = home.made()
    before = home.files()
    with pytest.raises(VaultDamaged) as caught, vault.writing() as writing:
        writing.add("note", GREBE, {}, relies_on=["ab" * 32])
    assert caught.value.code == "vault-missing-object"
    assert home.files() == before


def test_a_refused_record_leaves_no_objects_behind(home: Home) -> None:
    """Objects that were new and that no record names are removed again."""
    vault = home.made()
    with vault.writing() as writing:
        kept = writing.put(b"kept")
        writing.add("note", GREBE, {}, relies_on=[kept])
    before = home.files()
    with pytest.raises(ParambakError) as caught, vault.writing() as writing:  # noqa: PT012 - whole
        assert writing.put(b"kept") == kept
        new = writing.put(b"new")
        writing.add("note", GREBE, {"value": 0.5}, relies_on=[new, kept])
    assert caught.value.code == "vault-record-unfit"
    assert home.files() == before


def test_what_was_recorded_before_a_failure_stays(home: Home) -> None:
    """A later record's refusal takes nothing from an earlier one."""
    vault = home.made()
    with pytest.raises(ZeroDivisionError), vault.writing() as writing:  # noqa: PT012 - whole
        image = writing.put(b"image")
        writing.add("note", GREBE, {}, relies_on=[image])
        writing.put(b"more")
        raise ZeroDivisionError
    again = home.open()
    assert len(again.records(GREBE)) == 1
    assert again.read_object(image) == b"image"
    assert recheck(again, lambda _done, _of: None).damaged == ()
    assert not again.has_object(sha256(b"more"))


def test_a_vault_that_could_not_be_begun_leaves_nothing(
    home: Home, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No vault.toml without its first record: the folder is still free for another."""
    write = disk.write_sealed

    def full(path: Any, *rest: Any, **words: Any) -> Any:
        if path.suffix == ".json":
            raise disk.write_refusal(OSError(errno.ENOSPC, "No space left"), path)
        return write(path, *rest, **words)

    monkeypatch.setattr(disk, "write_sealed", full)
    with pytest.raises(ParambakError) as caught:
        home.made()
    assert caught.value.code == "vault-disk-full"
    assert home.files() == {}


def test_an_object_that_is_wrong_is_repaired_by_writing_it_again(home: Home) -> None:
    """Present ones are hashed, not trusted."""
    vault = home.made()
    with vault.writing() as writing:
        digest = writing.put(b"image")
    home.overwrite(objects.file_of(digest), b"imagf")
    with pytest.raises(VaultDamaged):
        vault.read_object(digest)
    with vault.writing() as writing:
        assert writing.put(b"image") == digest
    assert vault.read_object(digest) == b"image"


def test_an_object_over_the_limit_is_refused(home: Home, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing of it is written."""
    vault = home.made()
    monkeypatch.setattr(objects, "MAX_BYTES", 4)
    before = home.files()
    with pytest.raises(ParambakError) as caught, vault.writing() as writing:
        writing.put(b"12345")
    assert caught.value.code == "vault-object-too-large"
    assert home.files() == before


def test_an_empty_object_is_an_object(home: Home) -> None:
    """No bytes have a digest too."""
    with home.made().writing() as writing:
        digest = writing.put(b"")
        assert writing.put(b"") == digest
    assert home.open().read_object(digest) == b""


# --- reading objects ---


@pytest.mark.parametrize(
    ("change", "code"),
    [
        (lambda path: path.write_bytes(b"imagf"), "vault-damaged-object"),
        (lambda path: path.write_bytes(b""), "vault-damaged-object"),
        (lambda path: path.write_bytes(b"image" * 2), "vault-damaged-object"),
        (lambda path: path.unlink(), "vault-missing-object"),
        (lambda path: (path.unlink(), path.mkdir()), "vault-damaged-object"),
    ],
    ids=["flipped", "emptied", "longer", "removed", "a folder"],
)
def test_a_wrong_object_is_never_handed_out(home: Home, change: object, code: str) -> None:
    """What is read is hashed at that moment; the refusal names the file, exit 3."""
    vault = home.made()
    with vault.writing() as writing:
        digest = writing.put(b"image")
    path = home.root / objects.file_of(digest)
    path.chmod(0o644)
    assert callable(change)
    change(path)
    with pytest.raises(VaultDamaged) as caught:
        vault.read_object(digest)
    assert caught.value.code == code
    assert caught.value.file == str(path)
    assert caught.value.exit_code == 3
    if path.is_file():
        assert caught.value.found == sha256(path.read_bytes())


@pytest.mark.parametrize("digest", ["", "../vault.toml", "AB" * 32, "ab" * 32 + "\n", "ab" * 31])
def test_a_digest_is_no_path(home: Home, digest: str) -> None:
    """What is not 64 lower-case digits names no object, with any file in the folder."""
    vault = home.made()
    assert not vault.has_object(digest)
    with pytest.raises(VaultDamaged) as caught:
        vault.read_object(digest)
    assert caught.value.code == "vault-missing-object"


# --- persons ---


def test_one_name_is_one_person_within_a_vessel(home: Home) -> None:
    """The same name has the same mark there, and another in another vessel."""
    vault = home.open(create=True)
    marks = []
    for vessel in (GREBE, GREBE, AVOCET):
        with vault.writing() as writing:
            marks.append(writing.person("Ana Invented", vessel))
            writing.add("note", vessel, {}, by=marks[-1])
    assert marks[0] == marks[1] != marks[2]
    assert {vault.person(mark) for mark in marks} == {"Ana Invented"}
    names = b"".join(data for name, data in home.files().items() if name.startswith("records"))
    assert b"Ana" not in names


@pytest.mark.parametrize("name", ["", "x" * 201, "\ud800"])
def test_a_name_that_is_none_is_refused(home: Home, name: str) -> None:
    """Empty, endless or no Unicode."""
    with pytest.raises(ParambakError) as caught, home.made().writing() as writing:
        writing.person(name, GREBE)
    assert caught.value.code == "vault-record-unfit"


@pytest.mark.parametrize(
    "data", [b"image", b"{}\n", b'{"name":"","salt":"' + b"0" * 32 + b'"}\n', b"[" * 9999]
)
def test_an_object_that_is_no_person_is_refused(home: Home, data: bytes) -> None:
    """A mark that leads to other bytes is damage, named by its file."""
    vault = home.made()
    with vault.writing() as writing:
        mark = writing.put(data)
    with pytest.raises(VaultDamaged) as caught:
        vault.person(mark)
    assert caught.value.code == "vault-not-a-person"
    assert mark in str(caught.value.file)
