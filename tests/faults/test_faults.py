"""A share of every suite at each run of the tests; `python -m tests.faults` runs all of it."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from parambak.cli.main import COMMANDS
from tests.faults import fat, operations, power_loss, real, rot
from tests.faults.__main__ import killed
from tests.faults.commands import NEVER, TABLE

if TYPE_CHECKING:
    from collections.abc import Iterator

needs_proc = pytest.mark.skipif(
    not Path("/proc/self/fd").exists(), reason="the stand-ins ask /proc which file is meant"
)
needs_real_fat = pytest.mark.skipif(
    os.environ.get("PARAMBAK_REAL_FAT") != "1",
    reason="a real kernel's FAT takes long: set PARAMBAK_REAL_FAT=1, or `python -m tests.faults`",
)


@pytest.fixture
def seed() -> int:
    """Return one seed for all runs: a gate does not flicker. Others: `python -m tests.faults`."""
    return 20_261_125


def commands() -> Iterator[str]:
    """Yield each command's name, as it is typed."""
    for name, verbs in COMMANDS.items():
        yield from (f"{name} {verb}" for verb in verbs) if verbs else (name,)


def test_every_command_is_in_the_table_or_never_writes() -> None:
    """A new command that writes is tried by every suite here; one that does not write is listed."""
    in_table = {each.command for each in TABLE}
    assert in_table.isdisjoint(NEVER)
    assert sorted(commands()) == sorted({*in_table, *NEVER})
    assert len({each.name for each in TABLE}) == len(TABLE)


@needs_proc
def test_operations_that_fail(tmp_path: Path, seed: int) -> None:
    """Of every writing command, some operations by chance, in one of the ways to fail."""
    figures = operations.run(tmp_path, seed=seed, cases_each=2)
    assert figures.wrong == [], f"seed {seed}"
    assert figures.commands.keys() == {writes.name for writes in TABLE}


@needs_proc
def test_power_that_fails(tmp_path: Path, seed: int) -> None:
    """After some commands, kills and faults by chance: nothing acknowledged is lost."""
    found = power_loss.run(tmp_path, seed=seed, share=0.008, most=6)
    assert found.wrong == [], f"seed {seed}"


@needs_proc
@pytest.mark.parametrize("name", ["alone, archive, into nothing", "on FAT, archive, into nothing"])
def test_power_that_fails_while_a_vault_is_made(tmp_path: Path, name: str) -> None:
    """Each point of the first read of all."""
    figures = power_loss.Figures()
    chosen = [each for each in power_loss.sequences(1.0, 0) if each.name == name]
    power_loss.Storm(tmp_path, chosen[0], figures, 6).run()
    assert figures.wrong == []
    assert figures.total > 50


@needs_proc
def test_the_model_shows_what_a_missing_flush_costs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The model itself can fail: with no folder flushed, what was acknowledged may be lost."""
    monkeypatch.setattr("parambak.vault.files.disk.flush_folder", lambda _folder: None)
    figures = power_loss.Figures()
    chosen = power_loss.Sequence("no flush", (TABLE[0],))
    power_loss.Storm(tmp_path, chosen, figures, 12).run()
    assert any("was acknowledged, and is lost" in each for each in figures.wrong)


@needs_proc
def test_kills_at_random_moments(tmp_path: Path, seed: int) -> None:
    """Real processes, one or two at once: what they acknowledged is there; writing continues."""
    found = killed(tmp_path / "killed", 16, seed)
    assert found["wrong"] == [], f"seed {seed}"
    assert sum(found["kills"].values()) == 16


def test_bytes_that_rot(tmp_path: Path, seed: int) -> None:
    """Some bytes by chance: each found, named by its file alone, and repaired."""
    found = rot.run(tmp_path / "rot", seed=seed, share=0.02)
    assert found.wrong == [], f"seed {seed}"
    assert found.total > 20


@needs_proc
def test_fat_by_a_stand_in(tmp_path: Path) -> None:
    """Every command gives the same answer if links, permissions and folder flushes fail."""
    stand_in = fat.Fat(tmp_path)
    with stand_in.in_place():
        found = fat.run_on(tmp_path)
    assert found.wrong == []
    assert found.commands == len(TABLE)
    assert {"link", "chmod", "folder flush"} <= stand_in.refused


@needs_proc
def test_the_stand_in_is_as_strange_as_fat(tmp_path: Path) -> None:
    """It folds case, refuses names, and its times are of two seconds and none."""
    with fat.Fat(tmp_path).in_place():
        (tmp_path / "Read.hex").write_bytes(b"1")
        assert os.stat(tmp_path / "READ.HEX").st_size == 1  # noqa: PTH116 - what is stood for
        os.utime(tmp_path / "read.hex", ns=(0, 3_999_999_999))
        assert os.stat(tmp_path / "read.hex").st_mtime_ns == 2_000_000_000  # noqa: PTH116 - it
        for name in ("con", "Aux.txt", "a:b", "dot.", "what?"):
            with pytest.raises(OSError, match="Invalid argument"):
                os.mkdir(tmp_path / name)  # noqa: PTH102 - what is stood for


@needs_real_fat
def test_fat_for_real(tmp_path: Path) -> None:
    """Every command on the FAT of a Linux kernel, mounted here or in a kernel of its own."""
    try:
        _, count, wrong = real.commands_on(tmp_path, "fat")
    except OSError as reason:
        pytest.skip(f"no FAT image can be mounted here: {reason}")
    assert wrong == []
    assert count == len(TABLE)


@needs_real_fat
def test_power_that_is_really_cut(tmp_path: Path, seed: int) -> None:
    """Twice, on FAT, in a kernel that runs as a process."""
    try:
        found = real.cut_off(tmp_path, "fat", 2, seed)
    except OSError as reason:
        pytest.skip(f"no kernel whose power could be cut: {reason}")
    assert found.wrong == [], f"seed {seed}"
