"""`migrate`: an older format, invented in tests/vault/test_migrate.py, as a user meets it."""

from __future__ import annotations

import json
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import pytest

from parambak.cli.main import answered
from parambak.cli.settings import Settings
from parambak.vault import versions
from parambak.vault.versions import Older
from tests.vault.test_migrate import make_old, read_identity, read_record, tree

if TYPE_CHECKING:
    from pathlib import Path


class Here:
    """The command line in this process, where the invented format is known."""

    def __init__(self, folder: Path, capture: pytest.CaptureFixture[str]) -> None:
        self.folder = folder
        self._capture = capture

    def run(self, *words: str, json_too: bool = True) -> tuple[int, Any]:
        """Return exit code and document, or the page."""
        settings = Settings(
            json=json_too, vault=str(self.folder / "old"), own=str(self.folder / "own")
        )
        code = answered([*(["--json"] if json_too else []), *words], settings)
        out = self._capture.readouterr().out
        return code, json.loads(out) if json_too else " ".join(out.split())


@pytest.fixture
def here(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> Here:
    """Return the command line before a vault of the invented format."""
    older = MappingProxyType({0: Older(read_identity, read_record)})
    monkeypatch.setattr(versions, "OLDER", older)
    make_old(tmp_path / "old")
    return Here(tmp_path, capsys)


def test_an_older_vault_answers_and_is_carried_over(here: Here) -> None:
    """Reading works, writing is refused, `migrate` makes the new vault, whose line is the same."""
    before = tree(here.folder / "old")
    code, lines = here.run("closing-line")
    assert code == 0
    code, refused = here.run("visit", "open", "grebe", "--by", "A. Person")
    assert (code, refused["error"]["code"]) == (2, "vault-older")
    code, found = here.run("recheck")
    assert (code, found["damaged"]) == (0, [])
    new = str(here.folder / "new")
    code, carried = here.run("migrate", "--to", new)
    assert (code, carried["carried"], carried["missing"]) == (0, True, [])
    assert here.run("closing-line", "--vault", new) == (0, lines)
    assert here.run("recheck", "--vault", new)[0] == 0
    assert tree(here.folder / "old") == before


def test_damage_answers_1_and_is_named(here: Here) -> None:
    """On the page too, with what to do next."""
    rotten = next(iter((here.folder / "old" / "objects").rglob("*/*")))
    rotten.write_bytes(b"rotten")
    code, page = here.run("migrate", "--to", str(here.folder / "new"), json_too=False)
    assert code == 1
    assert f"MISSING objects/{rotten.parent.name}" in page
    assert "REFUSED" in page
    assert page.count("Do next") == 1


def test_the_present_format_has_nothing_to_carry(here: Here) -> None:
    """Exit 0, and no folder is made."""
    new, newer = str(here.folder / "new"), here.folder / "newer"
    here.run("migrate", "--to", new)
    code, found = here.run("migrate", "--vault", new, "--to", str(newer))
    assert (code, found["carried"], found["format"]) == (0, False, 1)
    assert not newer.exists()
