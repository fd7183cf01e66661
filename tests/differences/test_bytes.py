"""Two images byte by byte: against a plain loop, and against `cmp -l`."""

from __future__ import annotations

import random
import shutil
import subprocess
from typing import TYPE_CHECKING

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from parambak.differences.bytes import Run, beyond, changed_bits, differing_bytes, runs
from parambak.memory.image import Block, Image

if TYPE_CHECKING:
    from pathlib import Path

# Few addresses and few values, so that blocks meet, overlap and often agree.
SPARSE = st.dictionaries(st.integers(0, 40), st.integers(0, 2), max_size=40)
MASKS = st.dictionaries(st.integers(0, 40), st.integers(0, 255), max_size=10)


def image_of(held: dict[int, int]) -> Image:
    """Return the image that holds these bytes."""
    return Image.from_blocks(Block(address, bytes([value])) for address, value in held.items())


def naive(old: dict[int, int], new: dict[int, int]) -> list[Run]:
    """Return the runs by looking at each address in turn."""
    found: list[Run] = []
    for address in sorted({*old, *new}):
        mine, theirs = old.get(address), new.get(address)
        if mine == theirs:
            continue
        run = Run(
            address,
            b"" if mine is None else bytes([mine]),
            b"" if theirs is None else bytes([theirs]),
        )
        last = found[-1] if found else None
        alike = last and (bool(last.old), bool(last.new)) == (bool(run.old), bool(run.new))
        if last and alike and last.range.end == address:
            found[-1] = Run(last.start, last.old + run.old, last.new + run.new)
        else:
            found.append(run)
    return found


@given(SPARSE, SPARSE)
@example(dict.fromkeys(range(8, 20), 1), dict.fromkeys(range(3), 1))
@example(dict.fromkeys(range(20), 1), dict.fromkeys((2, 3, 8, 14, 15), 1))
def test_runs_are_those_of_a_plain_loop(old: dict[int, int], new: dict[int, int]) -> None:
    """Also if a side does not have the bytes: a run of its own, that side empty."""
    expected = naive(old, new)
    found = runs(image_of(old), image_of(new))
    assert list(found) == expected
    assert differing_bytes(image_of(old), image_of(new)) == sum(run.length for run in expected)
    turned = [Run(run.start, run.new, run.old) for run in expected]
    assert sorted(runs(image_of(new), image_of(old))) == sorted(turned)


@given(SPARSE, SPARSE, MASKS)
def test_masked_bits_are_left_out(
    old: dict[int, int], new: dict[int, int], masks: dict[int, int]
) -> None:
    """A byte counts if a bit outside its mask differs; an absent one unless all is masked."""
    count = 0
    for address in {*old, *new}:
        mine, theirs = old.get(address), new.get(address)
        bits = 0xFF if mine is None or theirs is None else mine ^ theirs
        count += bool(bits & ~masks.get(address, 0))
    assert differing_bytes(image_of(old), image_of(new), masks) == count


def test_an_image_does_not_differ_from_itself() -> None:
    """No runs; two empty images do not differ either."""
    image = Image.of(bytes(range(256)))
    assert runs(image, image) == ()
    assert runs(Image(()), Image(())) == ()
    assert runs(Image(()), image) == (Run(0, b"", bytes(range(256))),)


def test_a_run_says_what_differs_in_each_byte() -> None:
    """Addresses, bits, and those beyond a mask; a side without the byte differs in all bits."""
    run = Run(0x40, b"\x01\x0f", b"\x03\xff")
    assert list(changed_bits(run)) == [(0x40, 0x02), (0x41, 0xF0)]
    assert beyond(run, {0x40: 0x02, 0x41: 0x70}) == (0x41,)
    assert beyond(run, {0x40: 0x02, 0x41: 0xF0}) == ()
    assert list(changed_bits(Run(5, b"", b"ab"))) == [(5, 0xFF), (6, 0xFF)]
    assert (run.length, run.range.end) == (2, 0x42)


def test_many_small_blocks_are_compared_in_one_pass() -> None:
    """100,000 blocks on each side: each is found, as a naive loop finds it."""
    count = 100_000
    old = Image(tuple(Block(4 * n, b"a") for n in range(count)))
    new = Image(tuple(Block(4 * n + n % 2, b"b" if n % 3 else b"a") for n in range(count)))
    found = runs(old, new)
    naively = naive({4 * n: 97 for n in range(count)}, {b.start: b.data[0] for b in new.blocks})
    assert list(found) == naively


@pytest.mark.skipif(shutil.which("cmp") is None, reason="cmp is not installed here")
@pytest.mark.parametrize("seed", range(5))
def test_changed_bytes_are_those_that_cmp_lists(tmp_path: Path, seed: int) -> None:
    """Against `cmp -l` (GNU diffutils): byte number from 1, both bytes in octal."""
    chance = random.Random(seed)
    old = bytearray(chance.randbytes(4096))
    new = bytearray(old)
    for address in chance.sample(range(4096), 400):
        new[address] = chance.randrange(256)
    (tmp_path / "old").write_bytes(old)
    (tmp_path / "new").write_bytes(new)
    words = ["cmp", "-l", str(tmp_path / "old"), str(tmp_path / "new")]
    listed = subprocess.run(words, capture_output=True, text=True, check=False, timeout=60).stdout
    judge = [
        (int(number) - 1, int(mine, 8), int(theirs, 8))
        for number, mine, theirs in (line.split() for line in listed.splitlines())
    ]
    found = runs(Image.of(bytes(old)), Image.of(bytes(new)))
    ours = [
        (run.start + at, mine, theirs)
        for run in found
        for at, (mine, theirs) in enumerate(zip(run.old, run.new, strict=True))
    ]
    assert ours == judge
    assert len(judge) > 300
