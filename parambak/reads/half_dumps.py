"""Dumps that look like one half of a pair, or like words with their bytes swapped.

The evidence is words: names and remarks in technical English, which many memories keep as text.
A chip with the even bytes alone holds every second letter of them; a swapped dump holds the
letters in crossed order. Many small bytes, like the high bytes of small 16-bit values, prove
nothing of one dump alone: a table of small bytes looks the same. They count if the other chip of
the pair is given too, and is blank at the same addresses.
"""

from __future__ import annotations

import re
from functools import cache
from typing import TYPE_CHECKING, Final, NamedTuple

from parambak.memory.findings import Finding
from parambak.memory.relations import every_other, filling, interleaved, likeness, swapped

if TYPE_CHECKING:
    from parambak.memory.image import Image

WORDS: Final = tuple(
    """
    access address adjust alarm analog angle automatic auxiliary azimuth ballast battery
    bridge brake bus bypass cable calibration cancel channel clutch command communication
    configuration console control controller cooling counter coupling current cylinder
    default delay diesel digital direction disabled display drive emergency enabled engine
    error event failure fault feedback filter firmware frequency function generator governor
    hardware heading high hours hydraulic identification ignition indicator information
    input installation interlock language level limit linear local lubrication machinery
    maintenance manual manufacturer maximum measurement memory message minimum module
    monitor motor network nominal normal number offset operating operation operator output
    overload override overspeed parameter password pitch position potentiometer power
    pressure primary production program propeller propulsion protection pump range reference
    regulator release remote request reserve reset response revision rudder running safety
    sample scale secondary selection sensor sequence serial setpoint shutdown signal
    software solenoid speed standby starboard starting station status steering stepper stop
    supply switch synchronous system tachometer tank telegraph temperature tension terminal
    threshold throttle thruster timeout torque transfer transmitter trip turbine unit valve
    value version voltage warning winch
    """.upper().split()
)

_SHORTEST: Final = 5
_SHORTEST_HALF: Final = 4
_TEXT: Final = re.compile(rb"[ -~]{5,}")
_LOOKED_AT: Final = 1 << 20
"""Bytes of a dump that are examined: names and remarks are near the parameters."""
_MOST_TEXT: Final = 262_144
"""Bytes of text that are examined."""
_LETTERS: Final = 5
"""Letters beyond the third of all different words: short words occur by chance."""
_DENSE: Final = 0.04
_TELLING: Final = 48
_SMALL: Final = 0x10


class _Words(NamedTuple):
    """The different words in a text, and the share of its bytes that are words."""

    words: frozenset[str]
    share: float

    @property
    def readable(self) -> bool:
        """Return whether the words are too many for chance."""
        letters = sum(len(word) - _SHORTEST_HALF + 1 for word in self.words)
        return len(self.words) > 1 and letters >= _LETTERS and self.share >= _DENSE


def looks_like(image: Image) -> tuple[Finding, ...]:
    """Return whether a dump is swapped or half of a memory, with the evidence.

    `read-swapped`: text that is readable only with bytes swapped. `read-half`: text with only
    every second letter. Empty if any word is readable as the dump is.
    """
    content = image.content[:_LOOKED_AT]
    text = _text(content)
    plain = _words_in(text, _full_words())
    if plain.words:
        return ()
    swaps = []
    for size, unit, units in (
        (2, 1, "the two bytes of each 16-bit word"),
        (4, 1, "the four bytes of each 32-bit word"),
        (4, 2, "the two 16-bit words of each 32-bit word"),
    ):
        turned = _words_in(_text(swapped(content, size, unit)), _full_words())
        if turned.readable:
            swaps.append(Finding("read-swapped", _swapped_text(units, turned)))
    if swaps:
        return tuple(swaps[:1])
    half = _words_in(text, _half_words())
    return (Finding("read-half", _half_text(half)),) if half.readable else ()


def looks_paired(first: Image, second: Image) -> tuple[Finding, ...]:
    """Return whether two dumps look like the even and the odd bytes of one memory, and how.

    `read-pair`: joined, the two hold readable words that neither holds alone; or both are blank
    at the same addresses and one holds small values only, like the high bytes of 16-bit words.
    """
    if first.ranges != second.ranges or first == second:
        return ()
    first_bytes, second_bytes = first.content[:_LOOKED_AT], second.content[:_LOOKED_AT]
    alone = (
        _words_in(_text(first_bytes), _full_words()).words
        | _words_in(_text(second_bytes), _full_words()).words
    )
    for how, even, odd in (
        ("even-odd", first_bytes, second_bytes),
        ("odd-even", second_bytes, first_bytes),
    ):
        joined = _words_in(_text(interleaved(even, odd)), _full_words())
        if joined.readable and not alone:
            text = (
                f"joined as {how} bytes, the dumps hold {_list(joined)}, and neither dump alone "
                "holds a word: the two chips hold one memory"
            )
            return (Finding("read-pair", text),)
    return _small_half(first_bytes, second_bytes)


def _small_half(first: bytes, second: bytes) -> tuple[Finding, ...]:
    fill = filling(first)
    shown = bytes(0 if value == fill else 1 for value in range(256))
    first_marks, second_marks = first.translate(shown), second.translate(shown)
    together = int.from_bytes(first_marks, "little") | int.from_bytes(second_marks, "little")
    blank = len(first) - together.bit_count()
    if (
        fill not in (0x00, 0xFF)
        or fill != filling(second)
        or min(blank, first_marks.count(1), second_marks.count(1)) < _TELLING
        or likeness(first_marks, second_marks, 0) < 0.98
    ):
        return ()
    shares = [_small(data, fill) for data in (first, second)]
    if max(shares) < 0.9 or min(shares) > 0.5:
        return ()
    which = "first" if shares[0] > shares[1] else "second"
    text = (
        f"both are blank at the same {blank} addresses; in the {which}, {max(shares):.0%} of the "
        f"other bytes are below {_SMALL:02X}, like high bytes of 16-bit words: the two chips hold "
        "the even and the odd bytes of one memory"
    )
    return (Finding("read-pair", text),)


def _small(data: bytes, fill: int) -> float:
    """Return the share of small values among the bytes that are not filling."""
    telling = data.translate(None, bytes([fill]))
    large = telling.translate(None, bytes(range(_SMALL)))
    return 1 - len(large) / max(1, len(telling))


def _text(content: bytes) -> bytes:
    """Return the printable stretches of a content, in capitals, a line each, the first ones."""
    parts, length = [], 0
    for stretch in _TEXT.finditer(content):
        parts.append(stretch.group()[: _MOST_TEXT - length])
        length += len(parts[-1])
        if length >= _MOST_TEXT:
            break
    return b"\n".join(parts).upper()


def _words_in(text: bytes, words: re.Pattern[bytes]) -> _Words:
    hits = [match.group() for match in words.finditer(text)]
    letters = sum(map(len, hits))
    return _Words(frozenset(match.decode("ascii") for match in hits), letters / max(1, len(text)))


@cache
def _full_words() -> re.Pattern[bytes]:
    return _any_of({word for word in WORDS if len(word) >= _SHORTEST})


@cache
def _half_words() -> re.Pattern[bytes]:
    halves = {half for word in WORDS for half in every_other(word.encode("ascii"))}
    return _any_of({half.decode("ascii") for half in halves if len(half) >= _SHORTEST_HALF})


def _any_of(words: set[str]) -> re.Pattern[bytes]:
    longest_first = sorted(words, key=lambda word: (-len(word), word))
    return re.compile("|".join(longest_first).encode("ascii"))


def _list(read: _Words) -> str:
    shown = sorted(read.words, key=lambda word: (-len(word), word))[:3]
    return ", ".join(shown)


def _swapped_text(units: str, read: _Words) -> str:
    return (
        f"no word is readable, but with {units} swapped {len(read.words)} are, such as "
        f"{_list(read)}: the bytes of the dump are swapped"
    )


def _half_text(read: _Words) -> str:
    shown = []
    for half in sorted(read.words, key=lambda word: (-len(word), word))[:3]:
        word_of_half = next(word for word in WORDS if half in (word[0::2], word[1::2]))
        shown.append(f"{half} of {word_of_half}")
    return (
        f"no whole word is readable, but every second letter of {len(read.words)} is, such as "
        f"{', '.join(shown)}: the dump is one half of a pair, the even or the odd bytes"
    )
