"""Published codewords, each through the [[check]] of a layout file, and an unrelated library.

They are in codewords.toml, every one with the package and the file in which it was read.
"""

from __future__ import annotations

import tomllib
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Literal, NamedTuple

import crccheck.crc
import pytest

from parambak.layouts.decode import decode
from parambak.layouts.load import load
from parambak.memory.image import Image

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from parambak.layouts.verdicts import CheckResult

LIBRARY = {each._names[0].lower(): each for each in crccheck.crc.ALLCRCCLASSES}
NEEDED = 300


class Codeword(NamedTuple):
    """A message, the bytes stored for it and their order, and where they are published."""

    algorithm: str
    order: Literal["little", "big"]
    message: bytes
    stored: bytes
    package: str

    @property
    def value(self) -> int:
        """The stored check value."""
        return int.from_bytes(self.stored, self.order)


def published() -> list[Codeword]:
    """Return all codewords of the file."""
    text = Path(__file__).with_name("codewords.toml").read_text(encoding="utf-8")
    found = []
    for source in tomllib.loads(text)["source"]:
        assert set(source) == {"package", "file", "as", "codewords"}
        assert source["as"] in {"bytes", "number"}
        for line in source["codewords"]:
            algorithm, order, message, stored = line.split()
            assert order in {"little", "big"}
            pair = bytes.fromhex(message), bytes.fromhex(stored)
            found.append(Codeword(algorithm, order, *pair, source["package"]))
    return found


CODEWORDS = published()
ALGORITHMS = sorted({word.algorithm for word in CODEWORDS})


def of(algorithm: str) -> list[Codeword]:
    """Return the codewords of one algorithm."""
    return [word for word in CODEWORDS if word.algorithm == algorithm]


def parameters(algorithm: str) -> str:
    """Return the lines of a check that give the algorithm by its parameters (crccheck's)."""
    peer = LIBRARY[algorithm]
    turned = [str(bool(each)).lower() for each in (peer._reflect_input, peer._reflect_output)]
    return (
        f'method = "crc"\nwidth = {peer._width}\npoly = {peer._poly:#x}\n'
        f"init = {peer._initvalue:#x}\nxor-out = {peer._xor_output:#x}\n"
        f"reflect-in = {turned[0]}\nreflect-out = {turned[1]}\n"
    )


def layout(words: Iterable[Codeword], how: str) -> str:
    """Return a layout of a memory that holds all the words, one behind the other."""
    checks, at = [], 0
    for number, word in enumerate(words):
        end = at + len(word.message)
        checks.append(
            f'[[check]]\nname = "word_{number}"\n{how}over = [[{at:#06x}, {end - 1:#06x}]]\n'
            f'at = {end:#06x}\nbyte-order = "{word.order}"\n'
        )
        at = end + len(word.stored)
    head = f'[layout]\ntitle = "Published codewords"\nmemory = {at}\nbyte-order = "big"\n'
    return head + "".join(checks)


def judged(algorithm: str, how: str, change: Callable[[bytes], bytes]) -> list[CheckResult]:
    """Return how a layout judges each word of an algorithm, when `change` was made to it."""
    words = of(algorithm)
    memory = b"".join(change(word.message + word.stored) for word in words)
    results = decode(load(layout(words, how).encode()), Image.of(memory)).checks
    assert len(results) == len(words)
    return list(results)


def ways(algorithm: str) -> list[str]:
    """Return the two ways to give the algorithm in a check: by its name, by parameters."""
    return [f'method = "{algorithm}"\n', parameters(algorithm)]


def with_bit(bit: int) -> Callable[[bytes], bytes]:
    """Return a change of one bit, counted from the start; below 0 from the end."""

    def change(word: bytes) -> bytes:
        mask = 1 << bit % (8 * len(word))
        return (int.from_bytes(word, "little") ^ mask).to_bytes(len(word), "little")

    return change


@pytest.mark.parametrize("algorithm", ALGORITHMS)
def test_each_published_codeword_holds(algorithm: str) -> None:
    """By name and by parameters, each holds, and its stored value is read as published."""
    for how in ways(algorithm):
        results = judged(algorithm, how, lambda word: word)
        for word, result in zip(of(algorithm), results, strict=True):
            assert result.holds is True, word
            assert int(result.stored or "", 16) == word.value, word


@pytest.mark.parametrize("algorithm", ALGORITHMS)
def test_none_holds_with_one_bit_changed(algorithm: str) -> None:
    """The first bit or another of the message, or a bit of the stored value: it is seen."""
    for how in ways(algorithm):
        for bit in (0, 7, 100, -1, -8):
            results = judged(algorithm, how, with_bit(bit))
            assert [result.holds for result in results] == [False] * len(results), bit


@pytest.mark.parametrize("algorithm", ALGORITHMS)
def test_another_library_says_the_same(algorithm: str) -> None:
    """Crccheck computes each published value from its message."""
    for word in of(algorithm):
        assert LIBRARY[algorithm].calc(word.message) == word.value, word


def test_they_are_many_and_of_many_sources() -> None:
    """More than needed, all distinct, of 40 algorithms and more, none mostly from one place."""
    distinct = {(word.algorithm, word.message, word.stored) for word in CODEWORDS}
    assert len(distinct) == len(CODEWORDS) >= 2 * NEEDED
    assert len(ALGORITHMS) >= 50
    most = Counter(word.package for word in CODEWORDS).most_common(1)[0][1]
    assert most <= len(CODEWORDS) // 4
    checks = [word for word in CODEWORDS if word.message == b"123456789"]
    assert not checks, "the check values of the catalogue are not counted here"
