"""Unrelated code that decodes dumps: two libraries, handed the lines of a file in portions."""

from __future__ import annotations

from io import StringIO
from itertools import islice
from typing import TYPE_CHECKING, Any, Final

from parambak.dumps.format import Judge

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

_PORTION: Final = 4096
"""Lines that are handed over at a time: the libraries hold an object for each byte, or
search all their pieces for each record, so that all at once could take too much of either."""


def portions_of(lines: Iterable[bytes]) -> Iterator[list[str]]:
    """Yield the lines as text, blank ones left out, so many at a time as a library can take."""
    remaining = iter(lines)
    while portion := list(islice(remaining, _PORTION)):
        yield [line.decode("ascii") for line in portion if line.strip(b" \t")]


def by_intelhex(portions: Iterable[list[str]]) -> Judge:
    """Return intelhex as the judge of portions of Intel HEX."""
    import intelhex  # noqa: PLC0415 - heavy, and only dumps that are archived need it
    from intelhex.__version__ import version_str  # noqa: PLC0415 - the same

    def pieces() -> Iterator[tuple[int, bytes]]:
        for portion in portions:
            decoded: Any = intelhex.IntelHex(StringIO("\n".join(portion)))
            for start, end in decoded.segments():
                yield start, decoded.tobinstr(start=start, size=end - start)

    return Judge(f"intelhex {version_str}", pieces())


def by_bincopy(portions: Iterable[list[str]], add: str) -> Judge:
    """Return bincopy as the judge of portions that its method `add` takes."""
    import bincopy  # noqa: PLC0415 - heavy, and only dumps that are archived need it

    def pieces() -> Iterator[tuple[int, bytes]]:
        for portion in portions:
            decoded: Any = bincopy.BinFile()
            getattr(decoded, add)("\n".join(portion))
            for segment in decoded.segments:
                yield segment.address, bytes(segment.data)

    return Judge(f"bincopy {bincopy.__version__}", pieces())
