"""`recover` as a user calls it, on what a fallen laptop left."""

from __future__ import annotations

import json
import shutil
from typing import TYPE_CHECKING, Any

from tests.cli.invented import WHERE, archive_two, changed, dump

if TYPE_CHECKING:
    from pathlib import Path

    from tests.cli.conftest import Ship


def scattered(ship: Ship) -> Path:
    """Return a folder with the vault's files under names of a disk repair."""
    archive_two(ship)
    ship.write("c.hex", dump(changed(0x0023)), second=5)
    assert ship.run("archive", "c.hex", *WHERE).code == 0
    heap = ship.folder / "heap"
    for number, path in enumerate(sorted(ship.vault.rglob("*"))):
        if path.is_file():
            folder = heap / str(number % 3)
            folder.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(path, folder / f"FILE{number:04}.CHK")
    return heap


def catalogue(ship: Ship, vault: str) -> Any:
    """Return what a vault's catalogue says."""
    return ship.answer("--vault", vault, "catalogue").document


def holding(heap: Path, data: bytes) -> Path:
    """Return the file of a heap whose bytes hold these."""
    found = [p for p in heap.rglob("*") if p.is_file() and data in p.read_bytes()]
    return min(found, key=lambda path: path.stat().st_size)


def test_all_that_survived_is_the_vault_again(ship: Ship) -> None:
    """Exit 0, the same catalogue, a clean recheck; the heap as it was."""
    heap = scattered(ship)
    before = {path: path.read_bytes() for path in heap.rglob("*") if path.is_file()}
    result = ship.answer("recover", "heap", "--vault", "new")
    assert result.code == 0
    assert result.document["missing"] == []
    assert result.document["identity_known"] is True
    assert catalogue(ship, "new") == catalogue(ship, "vault")
    assert ship.answer("--vault", "new", "recheck").code == 0
    assert {path: path.read_bytes() for path in heap.rglob("*") if path.is_file()} == before


def test_holes_are_told_by_position_and_stay_holes(ship: Ship) -> None:
    """Exit 1; what is missing, and what was lost with it; recheck says it again with 3."""
    heap = scattered(ship)
    holding(heap, b"invented, for the tests").unlink()
    holding(heap, changed(0x0023)).unlink()
    result = ship.answer("recover", "heap", "--vault", "new")
    assert result.code == 1
    texts = [loss["text"] for each in result.document["missing"] for loss in each["lost"]]
    assert "the layout layout.toml of grebe/port-thruster/U12" in texts
    assert any(text.startswith("the bytes of copy 2 of grebe/port-thruster/U12") for text in texts)
    recheck = ship.answer("--vault", "new", "recheck")
    assert recheck.code == 3
    missing = {each["file"] for each in result.document["missing"]}
    assert {each["file"] for each in recheck.document["damaged"]} == missing
    page = ship.run("recover", "heap", "--vault", "newer")
    assert page.code == 1
    assert "MISSING objects/" in " ".join(page.out.split())
    assert "2 files MISSING" in page.out
    assert page.out.count("Do next") == 1


def test_a_pack_is_a_source(ship: Ship) -> None:
    """A vessel that was packed comes back from its pack alone, under a new identity."""
    archive_two(ship)
    assert ship.run("pack", "grebe", "--out", "grebe.zip").code == 0
    result = ship.answer("recover", "grebe.zip", "--vault", "new")
    assert (result.code, result.document["missing"]) == (0, [])
    assert result.document["identity_known"] is False
    assert catalogue(ship, "new") == catalogue(ship, "vault")


def test_refusals(ship: Ship) -> None:
    """No such folder; a vault that is there already; nothing to be proven: exit 2 each."""
    scattered(ship)
    (ship.folder / "empty").mkdir()
    for words, code in (
        (("recover", "nowhere", "--vault", "new"), "file-absent"),
        (("recover", "heap"), "recover-not-empty"),
        (("recover", "heap", "--vault", "heap/new"), "recover-inside"),
        (("recover", "empty", "--vault", "new"), "recover-nothing"),
    ):
        result = ship.answer(*words)
        assert (result.code, result.document["error"]["code"]) == (2, code)
    assert not (ship.folder / "new").exists()


def test_what_was_lost_without_a_trace_is_in_doubt(ship: Ship) -> None:
    """The newest record's file is rotten, and nothing else names it: exit 1, the file is named."""
    scattered(ship)
    shutil.copytree(ship.vault, ship.folder / "old")
    newest = _newest(ship.folder / "old")
    newest.chmod(0o644)
    newest.write_bytes(b"rotten")
    result = ship.answer("recover", "old", "--vault", "new")
    assert (result.code, result.document["missing"]) == (1, [])
    assert [each["file"].endswith(newest.name) for each in result.document["refused"]] == [True]
    page = ship.run("recover", "old", "--vault", "newer")
    assert page.code == 1
    assert "1 file could not be used, and may hold what is lost" in " ".join(page.out.split())
    assert "nothing is known to be missing" not in page.out


def _newest(vault: Path) -> Path:
    """Return the file of a record about a vessel that no other record is after."""
    every = {path: json.loads(path.read_bytes()) for path in vault.rglob("records/*/*.json")}
    named = {digest for record in every.values() for digest in record["after"]}
    ends = (path for path, record in every.items() if record.get("vessel"))
    return next(path for path in ends if path.stem not in named)
