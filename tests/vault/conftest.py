from __future__ import annotations

import os
import shutil
from typing import TYPE_CHECKING

import pytest

from tests.vault.home import FIRST, Home

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


@pytest.fixture(autouse=True)
def _no_waiting_for_the_disk(monkeypatch: pytest.MonkeyPatch) -> None:
    """Flush nothing: what a flush is good for shows only when the power fails."""
    monkeypatch.setattr(os, "fsync", lambda _descriptor: None)


@pytest.fixture
def home(tmp_path: Path) -> Iterator[Home]:
    """Return an empty home: no vault, no own folder yet."""
    place = Home(tmp_path / "vault", tmp_path / "own")
    yield place
    for vault in place.opened:
        vault.close()


@pytest.fixture
def other(tmp_path: Path) -> Iterator[Home]:
    """Return a second laptop's home."""
    place = Home(tmp_path / "other" / "vault", tmp_path / "other" / "own")
    yield place
    for vault in place.opened:
        vault.close()


@pytest.fixture
def first(home: Home) -> Home:
    """Return a home whose vault is a copy of fixtures/vaults/first."""
    shutil.copytree(FIRST, home.root)
    return home


@pytest.fixture
def stick(tmp_path: Path) -> Path:
    """Return the folder of a stick."""
    folder = tmp_path / "stick"
    folder.mkdir()
    return folder
