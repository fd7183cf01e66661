from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest

from parambak.errors import ParambakError
from parambak.memory.digests import sha256
from parambak.vault.check.recheck import recheck
from parambak.vault.records import file_of

if TYPE_CHECKING:
    from pathlib import Path

    from tests.vault.home import Home


def tree(root: Path) -> dict[str, tuple[bytes, int]]:
    """Return every file below a folder, with bytes and time."""
    return {
        file.relative_to(root).as_posix(): (file.read_bytes(), file.stat().st_mtime_ns)
        for file in sorted(root.rglob("*"))
        if file.is_file()
    }


def put_record(home: Home, data: bytes) -> None:
    """Put the bytes of a record into the vault under their digest, as copying does."""
    path = home.root / file_of(sha256(data))
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(data)


def record_of_format(home: Home, number: int) -> bytes:
    """Return the bytes of a record of the vault, its format number changed."""
    path = next((home.root / "records").rglob("*.json"))
    return path.read_bytes().replace(b'"format":1', b'"format":%d' % number)


def with_format(home: Home, number: str) -> None:
    """Give vault.toml another format number, and a first record that fits it."""
    toml = home.root / "vault.toml"
    before = toml.read_bytes()
    after = before.replace(b"format = 1", f"format = {number}".encode())
    home.overwrite("vault.toml", after)
    for path in (home.root / "records").rglob("*.json"):
        data = path.read_bytes()
        if sha256(before).encode() in data:
            path.unlink()
            put_record(home, data.replace(sha256(before).encode(), sha256(after).encode()))


@pytest.mark.parametrize(
    ("number", "code"),
    [
        ("2", "vault-newer"),
        ("999", "vault-newer"),
        ("0", "vault-not-a-vault"),
        ("-1", "vault-not-a-vault"),
        ("true", "vault-not-a-vault"),
        ('"1"', "vault-not-a-vault"),
    ],
)
def test_an_unknown_format_number_is_refused(first: Home, number: str, code: str) -> None:
    """Both reading and writing, with the number; nothing is changed."""
    with_format(first, number)
    before = tree(first.root)
    with pytest.raises(ParambakError) as refusal:
        first.open()
    assert refusal.value.code == code
    assert refusal.value.found is not None
    assert re.search(
        rf"format (= )?{re.escape(number)}", refusal.value.found.replace("'", '"'), re.IGNORECASE
    )
    assert tree(first.root) == before


def test_a_newer_record_is_refused(first: Home) -> None:
    """To go on without it would mislead; the file is named and nothing is touched."""
    data = record_of_format(first, 7)
    put_record(first, data)
    before = tree(first.root)
    with pytest.raises(ParambakError) as refusal:
        first.open()
    assert refusal.value.code == "vault-newer"
    assert refusal.value.file is not None
    assert sha256(data) in refusal.value.file
    assert tree(first.root) == before


def test_a_record_of_format_0_is_no_record(first: Home) -> None:
    """There is no older format: it is damaged, left out, and named by recheck."""
    data = record_of_format(first, 0)
    put_record(first, data)
    vault = first.open()
    assert [finding.code for finding in vault.warnings] == ["vault-record-skipped"]
    damaged = recheck(vault, lambda _done, _of: None).damaged
    assert [each.file for each in damaged] == [file_of(sha256(data))]


def test_the_vault_that_is_kept_opens_and_rechecks_clean(first: Home) -> None:
    """fixtures/vaults/first, of format 1: permanently."""
    vault = first.open()
    checked = recheck(vault, lambda _done, _of: None)
    counts = (checked.objects, checked.records)
    assert (counts, checked.damaged, checked.remarks) == ((2, 6), (), ())
    assert vault.warnings == ()
