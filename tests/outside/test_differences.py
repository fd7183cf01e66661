"""Differences against unrelated code: cmp of GNU diffutils, difflib, deepdiff."""

from __future__ import annotations

import difflib
import random
import shutil
import subprocess
from typing import TYPE_CHECKING

import pytest
from deepdiff import DeepDiff

from parambak.differences.bytes import runs
from parambak.differences.fields import changes
from parambak.differences.history import history
from parambak.differences.moves import moves_between
from parambak.layouts.decode import decode
from parambak.memory.image import Image
from tests.differences.invented_histories import LAYOUT, invented

if TYPE_CHECKING:
    from pathlib import Path

CMP = shutil.which("cmp")


def pair(seed: int) -> tuple[bytes, bytes]:
    """Return two invented memories: of many sizes, from the same to wholly different."""
    chance = random.Random(seed)
    size = chance.choice([1, 2, 255, 256, 257, 2048, 8192, 8193, 20_000])
    old = chance.randbytes(size) if chance.random() < 0.5 else b"\xff" * size
    new = bytearray(old)
    for _ in range(chance.choice([0, 1, 3, 40, size])):
        at = chance.randrange(size)
        new[at : at + chance.choice([1, 1, 2, 60])] = chance.randbytes(1)
    del new[size:]
    return old, bytes(new.ljust(size, b"\0"))


@pytest.mark.skipif(CMP is None, reason="cmp is not installed")
def test_bytes_differ_where_cmp_says(tmp_path: Path) -> None:
    """`cmp -l` on 300 invented pairs: every address, counted from 1, and both bytes in octal.

    They are one after the other in two files, each pair at addresses of its own, so that
    one run of cmp judges them all.
    """
    assert CMP is not None
    pairs = [pair(seed) for seed in range(300)]
    mine, start = [], 0
    for old, new in pairs:
        for run in runs(Image.of(old, start), Image.of(new, start)):
            both = zip(run.old, run.new, strict=True)
            mine += [(run.start + at + 1, *values) for at, values in enumerate(both)]
        start += len(old)
    for name, contents in zip(("old", "new"), zip(*pairs, strict=True), strict=True):
        (tmp_path / name).write_bytes(b"".join(contents))
    done = subprocess.run(
        [CMP, "-l", "old", "new"], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    rows = [line.split() for line in done.stdout.splitlines()]
    theirs = [(int(at), int(old, 8), int(new, 8)) for at, old, new in rows]
    assert len(theirs) > 100_000
    assert mine == theirs


@pytest.mark.parametrize("seed", range(12))
def test_a_shift_is_by_as_much_as_difflib_finds(seed: int) -> None:
    """The longest block that both hold, by the standard library, has the same shift."""
    chance = random.Random(seed)
    old = chance.randbytes(1024)
    start, end = chance.randrange(0, 300), chance.randrange(600, 1024)
    by = chance.randrange(1, 40)
    part = old[start:end]
    part = chance.choice([chance.randbytes(by) + part[:-by], part[by:] + chance.randbytes(by)])
    new = old[:start] + part + old[end:]
    sides = Image.of(old), Image.of(new)
    (one,) = moves_between(*sides, runs(*sides))
    judge = difflib.SequenceMatcher(None, old, new, autojunk=False)
    block = judge.find_longest_match(start, end, start, end)
    assert (one.kind, one.by) == ("shifted", block.b - block.a)
    assert one.start <= block.a
    assert one.length >= block.size


def test_exchanged_halves_are_two_blocks_of_difflib() -> None:
    """Each half is found complete in the place of the other."""
    old = random.Random(5).randbytes(512)
    new = old[256:] + old[:256]
    (one,) = moves_between(Image.of(old), Image.of(new), runs(Image.of(old), Image.of(new)))
    judge = difflib.SequenceMatcher(None, old, new, autojunk=False)
    found = judge.find_longest_match(0, 512, 0, 512)
    assert (one.kind, one.length, found.size) == ("halves-exchanged", 512, 256)


@pytest.mark.parametrize("seed", range(30))
def test_fields_differ_where_deepdiff_says(seed: int) -> None:
    """On the decoded trees of invented histories, from each read to the next."""
    images, _ = invented(seed)
    steps = {step.image: step for step in history(LAYOUT, images).steps}
    sides = [decode(LAYOUT, image) for image in images]
    for number in range(1, len(images)):
        trees = [
            {each.field: each.value for each in side.fields}
            | {each.check: each.stored or each.mark or str(each.holds) for each in side.checks}
            for side in sides[number - 1 : number + 1]
        ]
        judge = DeepDiff(*trees).get("values_changed", {})
        theirs = {path.removeprefix("root['").removesuffix("']") for path in judge}
        mine = {each.field for each in changes(*sides[number - 1 : number + 1])}
        assert mine == theirs
        if not any(step.moves for step in steps.values()):
            told = steps[number].fields if number in steps else ()
            assert {each.field for each in told} == theirs
