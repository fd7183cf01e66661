"""A stick that is pulled out while the vault on it is written to; its folder is moved away."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import pytest

from parambak.errors import VaultRefused
from parambak.vault.check.recheck import recheck
from tests.vault.home import GREBE

if TYPE_CHECKING:
    from pathlib import Path

    from tests.vault.home import Home


class _Pulled:
    """Moves a folder away at the n-th flush from now on."""

    def __init__(self, folder: Path, at: int) -> None:
        self.folder, self.left = folder, at
        self.away = folder.with_name("pulled")

    def flush(self, _descriptor: int) -> None:
        self.left -= 1
        if self.left == 0:
            self.folder.rename(self.away)


def _written(home: Home, text: str) -> str | None:
    """Write an object and a record that names it; None if it was refused."""
    vault = home.open()
    try:
        with vault.writing() as writing:
            image = writing.put(text.encode())
            return writing.add("note", GREBE, {"text": text}, relies_on=[image])
    except VaultRefused:
        return None


def test_what_was_acknowledged_is_on_the_stick_and_nothing_is_beside_it(
    home: Home, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Pulled at every flush in turn: no folder grows at the stick's path and takes the record."""
    home.note("the first")
    told = []
    for at in range(1, 9):
        pulled = _Pulled(home.root, at)
        monkeypatch.setattr(os, "fsync", pulled.flush)
        digest = _written(home, f"text {at}")
        told.append(digest)
        if pulled.left > 0:
            break
        assert not home.root.exists()
        pulled.away.rename(home.root)
        held = {stored.digest for stored in home.open().records(GREBE)}
        assert digest is None or digest in held
        assert recheck(home.open(), lambda _done, _of: None).damaged == ()
    assert told.count(None) >= 4
    assert told[-1] is not None


def test_another_stick_in_its_place_is_written_to_by_nobody(home: Home, other: Home) -> None:
    """Suddenly the path leads to another vault: refused, and that vault is unchanged."""
    home.note("the first")
    other.note("another's", None)
    before = other.files()
    vault = home.open()
    away = home.root.with_name("pulled")
    with pytest.raises(VaultRefused) as caught, vault.writing() as writing:  # noqa: PT012 - one act
        home.root.rename(away)
        other.root.rename(home.root)
        writing.add("note", GREBE, {"text": "lost"})
    assert caught.value.code == "vault-gone"
    assert caught.value.file == str(home.root)
    home.root.rename(other.root)
    assert other.files() == before
