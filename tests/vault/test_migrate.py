from __future__ import annotations

import json
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import msgspec
import pytest

from parambak.errors import ParambakError
from parambak.memory.digests import sha256
from parambak.vault import versions
from parambak.vault.check.recheck import recheck
from parambak.vault.migrate import carry_over
from parambak.vault.records import Record, decode
from parambak.vault.versions import Older
from tests.vault.home import GREBE, Home

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

IDENTITY = "01d01d01" * 4
FORMAT = 0  # invented, for these tests alone: no program ever wrote it


def read_record(data: bytes) -> Record | None:
    """Return what a record of the invented older format tells: its `sort` is our `kind`."""
    try:
        told = json.loads(data)
        told["kind"] = told.pop("sort")
        told["format"] = 1
        return msgspec.convert(told, Record)
    except (ValueError, KeyError, TypeError, AttributeError, msgspec.MsgspecError):
        return None


def read_identity(table: Mapping[str, Any]) -> object:
    """Return the identity from the invented older vault.toml."""
    return table.get("name")


def old_record(kind: str, vessel: str | None, after: list[str], body: dict[str, Any]) -> bytes:
    """Return the bytes of a record of the invented older format."""
    told = {
        "after": sorted(after),
        "body": body,
        "clock": {"offset": 0, "utc": "2026-01-05T09:00:00Z"},
        "format": FORMAT,
        "objects": body.get("objects", []),
        "sort": kind,
        "writer": "0b" * 16,
        **({"vessel": vessel} if vessel else {}),
    }
    return json.dumps(told, sort_keys=True, separators=(",", ":")).encode() + b"\n"


def make_old(root: Path, count: int = 3) -> list[str]:
    """Make a vault of the invented older format; return the digests of its records."""

    def put(folder: str, data: bytes, ending: str = "") -> str:
        digest = sha256(data)
        path = root / folder / digest[:2] / (digest + ending)
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
        return digest

    root.mkdir(parents=True)
    marker = f'format = {FORMAT}\nname = "{IDENTITY}"\n'.encode()
    (root / "vault.toml").write_bytes(marker)
    first = {"vault": IDENTITY, "vault_toml": sha256(marker)}
    digests = [put("records", old_record("vault", None, [], first), ".json")]
    for number in range(count):
        content = put("objects", b"invented image %d" % number)
        body = {"n": number, "objects": [content]}
        after = digests[-1:] if number else []
        digests.append(put("records", old_record("note", GREBE, after, body), ".json"))
    return digests


@pytest.fixture
def old(home: Home, monkeypatch: pytest.MonkeyPatch) -> Home:
    """Return the home of a vault of the invented older format, known to the program."""
    older = MappingProxyType({FORMAT: Older(read_identity, read_record)})
    monkeypatch.setattr(versions, "OLDER", older)
    return home


def tree(root: Path) -> dict[str, tuple[bytes, int]]:
    """Return every file below a folder, with bytes and time."""
    return {
        file.relative_to(root).as_posix(): (file.read_bytes(), file.stat().st_mtime_ns)
        for file in sorted(root.rglob("*"))
        if file.is_file()
    }


@pytest.mark.parametrize("count", [3, 100])
def test_an_older_vault_opens_for_reading_only(old: Home, count: int) -> None:
    """Its records are read, small or so many that an index is built; its folder stays as it is."""
    digests = make_old(old.root, count)
    before = tree(old.root)
    vault = old.open()
    assert vault.older == FORMAT
    assert vault.identity == IDENTITY
    assert [stored.digest for stored in vault.records(GREBE)] == digests[1:]
    assert [stored.record.body["n"] for stored in vault.records(GREBE)] == list(range(count))
    assert [link.digest for link in vault.chain(GREBE)] == digests[1:]
    assert vault.warnings == ()
    assert recheck(vault, lambda _d, _of: None).damaged == ()
    assert tree(old.root) == before


def test_an_older_vault_is_never_written_to(old: Home) -> None:
    """The refusal names the command that carries it over; nothing is touched, no lock made."""
    make_old(old.root)
    before = tree(old.root)
    with pytest.raises(ParambakError) as refusal, old.open().writing():
        pass
    assert refusal.value.code == "vault-older"
    assert "migrate" in (refusal.value.next or "")
    assert tree(old.root) == before


@pytest.mark.parametrize("count", [3, 100])
def test_it_is_carried_over_byte_for_byte(old: Home, tmp_path: Path, count: int) -> None:
    """Every object and record under its own digest; a new marker and first record; sound."""
    make_old(old.root, count)
    before = tree(old.root)
    new = Home(tmp_path / "new", old.own)
    vault, joined = carry_over(old.open(), new.root, own=old.own, clock=old.clock)
    new.opened.append(vault)
    assert (joined.missing, joined.refused) == ((), ())
    assert tree(old.root) == before
    after = {name: data for name, (data, _) in tree(new.root).items()}
    kept = {name: data for name, (data, _) in before.items() if name != "vault.toml"}
    assert kept.items() <= after.items()
    assert after["vault.toml"].startswith(b"# A parambak vault.")
    added = set(after) - set(before) - {"lock", "index.sqlite"}
    (first,) = added
    assert decode(after[first]).body == {
        "vault": IDENTITY,
        "vault_toml": sha256(after["vault.toml"]),
    }
    again = new.open()
    assert (again.older, again.identity, again.warnings) == (None, IDENTITY, ())
    assert recheck(again, lambda _d, _of: None).damaged == ()
    assert again.records(GREBE) == old.open().records(GREBE)


def test_what_is_carried_over_goes_on(old: Home, tmp_path: Path) -> None:
    """The next record of the present format is after the newest of the older one."""
    digests = make_old(old.root)
    new = Home(tmp_path / "new", old.own)
    carry_over(old.open(), new.root, own=old.own, clock=old.clock)[0].close()
    new.note("in the present format")
    assert new.open().records(GREBE)[-1].record.after == (digests[-1],)


def test_damage_is_told_and_the_rest_carried(old: Home, tmp_path: Path) -> None:
    """A rotten object is refused and missing; its record comes over, and recheck names it."""
    make_old(old.root)
    rotten = next(iter((old.root / "objects").rglob("*/*")))
    rotten.write_bytes(b"rotten")
    new = Home(tmp_path / "new", old.own)
    vault, joined = carry_over(old.open(), new.root, own=old.own, clock=old.clock)
    new.opened.append(vault)
    name = rotten.relative_to(old.root).as_posix()
    assert joined.missing == (name,)
    assert [each.file for each in joined.refused] == [name]
    assert [each.file for each in recheck(vault, lambda _d, _of: None).damaged] == [name]


def test_a_strangers_file_is_not_carried(old: Home, tmp_path: Path) -> None:
    """Only what stands where an object or a record belongs."""
    make_old(old.root)
    (old.root / "objects" / "00").mkdir(exist_ok=True)
    (old.root / "objects" / "00" / "Thumbs.db").write_bytes(b"")
    (old.root / "photo.jpg").write_bytes(b"")
    vault, joined = carry_over(old.open(), tmp_path / "new", own=old.own, clock=old.clock)
    vault.close()
    assert joined.refused == ()
    assert not list((tmp_path / "new").rglob("Thumbs.db"))


def test_the_new_vault_lies_beside_the_old(old: Home) -> None:
    """Never within it, and never in a folder that holds something."""
    make_old(old.root)
    (old.root.parent / "full").mkdir()
    (old.root.parent / "full" / "file").write_bytes(b"")
    for folder, code in (
        (old.root / "new", "recover-inside"),
        (old.root, "recover-inside"),
        (old.root.parent / "full", "recover-not-empty"),
    ):
        with pytest.raises(ParambakError) as refusal:
            carry_over(old.open(), folder, own=old.own, clock=old.clock)
        assert refusal.value.code == code


def test_what_no_version_knows_is_refused(home: Home) -> None:
    """Without its entry the invented format is none: not guessed at."""
    make_old(home.root)
    with pytest.raises(ParambakError) as refusal:
        home.open()
    assert refusal.value.code == "vault-not-a-vault"


@pytest.mark.parametrize("number", [2, 999])
def test_a_newer_vault_is_refused_with_a_word(old: Home, number: int) -> None:
    """And untouched."""
    make_old(old.root)
    marker = old.root / "vault.toml"
    marker.write_bytes(marker.read_bytes().replace(b"format = 0", b"format = %d" % number))
    before = tree(old.root)
    with pytest.raises(ParambakError) as refusal:
        old.open()
    assert refusal.value.code == "vault-newer"
    assert tree(old.root) == before


def test_a_newer_record_is_refused_with_a_word(old: Home) -> None:
    """Though the vault is older: to go on without it would mislead."""
    make_old(old.root)
    path = next((old.root / "records").rglob("*.json"))
    data = path.read_bytes().replace(b'"format":0', b'"format":7')
    newer = old.root / "records" / sha256(data)[:2] / f"{sha256(data)}.json"
    newer.parent.mkdir(exist_ok=True)
    newer.write_bytes(data)
    with pytest.raises(ParambakError) as refusal:
        old.open()
    assert refusal.value.code == "vault-newer"


def test_the_first_format_is_the_only_one() -> None:
    """Whoever adds a format adds how the one before is read, and a vault of it to fixtures/."""
    assert (versions.PRESENT, dict(versions.OLDER)) == (1, {})


def test_the_vault_that_is_kept_opens_and_rechecks_clean(first: Home) -> None:
    """fixtures/vaults/first, of format 1: for ever."""
    vault = first.open()
    found = recheck(vault, lambda _d, _of: None)
    assert (found.objects, found.records, found.damaged, found.remarks) == (2, 6, (), ())
    assert vault.warnings == ()
    if versions.PRESENT == 1:
        assert vault.older is None
