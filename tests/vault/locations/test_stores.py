from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from parambak.errors import ParambakError
from parambak.vault.locations import store_fsspec
from parambak.vault.locations.address import kept_address, parse
from parambak.vault.locations.location import contents_at, open_store
from parambak.vault.locations.send import SendingFailed, send
from parambak.vault.locations.store_fsspec import FsspecStore
from parambak.vault.locations.store_sftp import PATIENCE
from parambak.vault.locations.stores import FolderStore, SshTerms
from tests.vault.home import AVOCET, GREBE, Home
from tests.vault.locations.placing import flip, made_location, nothing
from tests.vault.locations.test_send import PAGE, two_customers

if TYPE_CHECKING:
    from collections.abc import Iterator

fsspec = pytest.importorskip("fsspec")


@pytest.fixture
def full(home: Home) -> Home:
    """Return a home whose vault has two vessels."""
    two_customers(home)
    return home


@pytest.fixture
def memory() -> Iterator[Any]:
    """Return fsspec's store in memory, empty."""
    system = fsspec.filesystem("memory")
    system.store.clear()
    system.pseudo_dirs[:] = [""]
    yield system
    system.store.clear()


def in_memory(memory: Any, writer: str = "one") -> FsspecStore:
    """Return the store at memory://office/backup, for a writer."""
    del memory
    store = open_store(parse("memory://office/backup"), writer, SshTerms())
    assert isinstance(store, FsspecStore)
    return store


def held(memory: Any) -> dict[str, bytes]:
    """Return every file of the store in memory."""
    return {
        name.removeprefix("/office/backup/"): memory.cat_file(name)
        for name in memory.find("/office/backup")
    }


# --- any store of fsspec ---


def test_a_store_gets_the_vault_byte_for_byte(full: Home, memory: Any) -> None:
    """Through temporary names, of which none is left."""
    store = in_memory(memory)
    target = made_location(full.open(), store)
    assert send(full.open(), store, target, nothing).refused == ()
    there = held(memory)
    assert there.pop("backup-location.toml")
    assert there == full.files()
    assert send(full.open(), in_memory(memory), target, nothing).sent == 0


def test_either_side_is_repaired(full: Home, memory: Any) -> None:
    """As with a folder."""
    store = in_memory(memory)
    target = made_location(full.open(), store)
    send(full.open(), store, target, nothing)
    right = held(memory)
    for file in [f for f in right if f.startswith(("objects", "records"))][::5]:
        memory.pipe_file(f"/office/backup/{file}", b"wrong")
        assert send(full.open(), store, target, nothing).repaired_there == (file,)
        assert memory.cat_file(f"/office/backup/damaged/{Path(file).name}-1") == b"wrong"
        flip(full.root / file)
        assert send(full.open(), store, target, nothing).repaired_here == (file,)
    assert held(memory).items() >= right.items()


def test_a_limited_store_has_nothing_of_others(full: Home, memory: Any) -> None:
    """The same rule for every kind of backup location."""
    store = in_memory(memory)
    target = made_location(full.open(), store, frozenset({GREBE}))
    send(full.open(), store, target, nothing)
    assert AVOCET.encode() not in b"".join(held(memory).values())


def test_cut_off_at_any_call_it_goes_on(
    full: Home, memory: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each call of the store fails in turn, by errors of every kind: no file is ever half there."""
    calls = ["open", "mv", "makedirs", "ls"]
    kind = type(memory)
    plain = {name: getattr(kind, name) for name in calls}
    left = [0]

    def failing(name: str) -> Any:
        def call(self: Any, *arguments: Any, **named: Any) -> Any:
            left[0] -= 1
            if left[0] == 0:
                raise (EOFError, RuntimeError, OSError, ConnectionResetError)[len(name) % 4]("cut")
            return plain[name](self, *arguments, **named)

        return call

    for name in calls:
        monkeypatch.setattr(kind, name, failing(name))
    target = made_location(full.open(), in_memory(memory))
    for cut in range(12, 400, 7):
        left[0] = cut
        for name in [name for name in memory.store if name.endswith(".json")]:
            del memory.store[name]
        try:
            send(full.open(), in_memory(memory), target, nothing)
        except (SendingFailed, ParambakError) as error:
            refusal = error.refusal if isinstance(error, SendingFailed) else error
            assert refusal.code in ("backup-lost", "backup-unreachable")
        left[0] = -1
        right = full.files()
        assert all(
            data == right[file]
            for file, data in held(memory).items()
            if file in right and not file.endswith(".tmp")
        )
    send(full.open(), in_memory(memory), target, nothing)
    assert held(memory).items() >= full.files().items()


def test_this_writers_own_left_overs_are_removed(full: Home, memory: Any) -> None:
    """Another writer's are not: it may be writing just now."""
    store = in_memory(memory, "one")
    target = made_location(full.open(), store)
    mine, others = (in_memory(memory, who)._mark + "12345678.tmp" for who in ("one", "two"))
    folder = next(iter(full.files())).rpartition("/")[0]
    for name in (mine, others):
        memory.pipe_file(f"/office/backup/{folder}/{name}", b"half")
    send(full.open(), in_memory(memory, "one"), target, nothing)
    names = [name.rpartition("/")[2] for name in held(memory)]
    assert mine not in names
    assert others in names


def test_what_reads_back_otherwise_never_gets_its_name(
    full: Home, memory: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A store that loses bytes on the way is noticed before the file has its name."""
    plain = FsspecStore._write

    def lossy(self: FsspecStore, path: str, data: bytes) -> None:
        plain(self, path, data[:-1])

    monkeypatch.setattr(FsspecStore, "_write", lossy)
    with pytest.raises(ParambakError) as caught:
        made_location(full.open(), in_memory(memory))
    assert (caught.value.code, caught.value.found) == (
        "backup-lost",
        "The bytes read back are not the bytes written (EIO)",
    )
    assert held(memory) == {}


# --- addresses ---


def test_the_page_has_the_patience_of_the_program() -> None:
    """A limit that changes in one backup location changes in the other."""
    assert f"without an answer for {PATIENCE:g} s" in PAGE


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", "backup-address"),
        ("a" * 1001, "backup-address"),
        ("stick\n", "backup-address"),
        ("zip://a.zip::file:///x", "backup-address"),
        ("simplecache::sftp://h/x", "backup-address"),
        ("://x", "backup-address"),
        ("s p://x", "backup-address"),
        ("generic://sftp://h/x", "backup-address"),
        ("http://h/x", "backup-address"),
        ("reference://x", "backup-address"),
        ("sftp://h", "backup-address"),
        ("sftp:///x", "backup-address"),
        ("sftp://h:99999/x", "backup-address"),
        ("sftp://[h/x", "backup-address"),
        ("sftp://ana:secret@h/x", "backup-address-password"),
        ("ftp://ana:@h/x", "backup-address-password"),
        ("s3://bucket/x?token=secret", "backup-address-password"),
        ("s3://bucket/x#secret", "backup-address-password"),
    ],
)
def test_what_is_no_address_is_refused(text: str, code: str) -> None:
    """And a secret in it is not repeated."""
    with pytest.raises(ParambakError) as caught:
        parse(text)
    assert caught.value.code == code
    assert caught.value.expected
    assert caught.value.found
    assert "secret" not in str(caught.value.document())


def test_a_url_without_a_host_or_scheme_that_can_be_is_no_url() -> None:
    """And a folder of the vault's own is no other disk."""
    for text in ("sftp://h:99999/x", "s p://x"):
        with pytest.raises(ParambakError) as caught:
            parse(text)
        assert caught.value.expected == "a URL"


def test_a_folder_in_or_around_the_vault_is_no_location(tmp_path: Path) -> None:
    """The refusal names the vault."""
    vault = tmp_path / "vault"
    for folder in (tmp_path, vault, vault / "backup"):
        with pytest.raises(ParambakError) as caught:
            kept_address(str(folder), vault)
        assert caught.value.code == "backup-inside-vault"
        assert (caught.value.file, caught.value.found) == (str(folder), str(vault.resolve()))
    assert kept_address(str(tmp_path / "stick"), vault) == str(tmp_path / "stick")


def test_a_character_that_does_not_print_is_named() -> None:
    """Its number, because it is invisible."""
    with pytest.raises(ParambakError) as caught:
        parse("stick\n")
    assert caught.value.found == "a character that does not print, U+000A"


def test_an_address_is_taken_apart() -> None:
    """Host, port, user and path; a folder has no scheme."""
    parsed = parse("sftp://ana%20b@office.example:2222/srv/back%20up")
    assert parsed[1:] == ("sftp", "/srv/back up", "office.example", 2222, "ana b")
    assert parse("/media/red").scheme == ""
    assert parse("file:///media/red").path == "/media/red"
    assert parse("E:\\backup").path == "E:\\backup"
    assert parse("file://server/share").path == "//server/share"


def test_a_folder_opens_as_a_folder(tmp_path: Path) -> None:
    """Without any library."""
    store = open_store(parse(str(tmp_path)), "w", SshTerms())
    assert isinstance(store, FolderStore)
    store.close()


def test_an_unknown_kind_of_address_is_refused() -> None:
    """A scheme that fsspec does not have."""
    with pytest.raises(ParambakError) as caught:
        open_store(parse("pigeon://loft/x"), "w", SshTerms())
    assert caught.value.code == "backup-address"


@pytest.mark.parametrize(
    ("address", "library", "install"),
    [
        ("memory://x", "fsspec", "parambak[store]"),
        ("sftp://h/x", "paramiko", "parambak[sftp]"),
        ("s3://bucket/x", "s3fs", "what `found` names"),
    ],
)
def test_a_library_that_is_not_there_is_named(
    monkeypatch: pytest.MonkeyPatch, address: str, library: str, install: str
) -> None:
    """With the command that brings it."""
    monkeypatch.setitem(sys.modules, library, None)
    with pytest.raises(ParambakError) as caught:
        open_store(parse(address), "w", SshTerms())
    assert caught.value.code == "backup-library"
    assert library in str(caught.value.found)
    assert install in str(caught.value.next)


def test_a_store_that_fails_at_once_is_not_reached(monkeypatch: pytest.MonkeyPatch) -> None:
    """After any error of its library."""

    def fail(*_: object, **__: object) -> None:
        raise KeyError("no such bucket")

    monkeypatch.setattr(fsspec.core, "url_to_fs", fail)
    with pytest.raises(ParambakError) as caught:
        open_store(parse("memory://x"), "w", SshTerms())
    assert caught.value.code == "backup-unreachable"


def test_a_store_is_asked_anew_each_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """No listing from before is believed."""
    asked: dict[str, object] = {}

    def reach(_text: str, **words: object) -> tuple[object, str]:
        asked.update(words)
        return object(), "x"

    monkeypatch.setattr(fsspec.core, "url_to_fs", reach)
    open_store(parse("memory://x"), "w", SshTerms())
    assert asked == {"skip_instance_cache": True, "use_listings_cache": False}


def test_a_store_that_cannot_be_listed_is_not_reached(
    memory: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """If it can still be opened."""
    store = in_memory(memory)

    def fail(*_: object, **__: object) -> None:
        raise RuntimeError("no")

    monkeypatch.setattr(store_fsspec.FsspecStore, "_names", fail)
    with pytest.raises(ParambakError) as caught:
        contents_at(store)
    assert caught.value.code == "backup-unreachable"
