"""The seal of a vessel: short enough to write by hand, and it shows a cut history.

formats/vault.md, "The seal". Check digits: ISO/IEC 7064:2003, system MOD 97-10.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, NamedTuple

from parambak.errors import CallRefused, Fault
from parambak.keeping.state.bodies import HeldBody
from parambak.vault.order import behind, heads

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from parambak.vault.records import Stored

DIGITS = 16  # of a record's digest
MOST = 16_384  # characters of one argument
_SEAL = re.compile(
    r"(?P<name>[a-z0-9.~-]{1,80}),"
    r"(?P<records>[0-9]{1,9})records?,?"
    rf"ends(?P<ends>[0-9a-f]{{{DIGITS}}}(?:,?and[0-9a-f]{{{DIGITS}}})*),?"
    r"check(?P<check>[0-9]{2})[.,;]?"
)
MISTYPED = Fault(
    "seal-mistyped",
    CallRefused,
    "this is not a seal, or it was mistyped",
    "Compare it with the seal written down, character by character: b and 6, 0 and o, 1 and l.",
)


class Seal(NamedTuple):
    """A vessel's name, the number of its records, and the first digits of the newest."""

    name: str
    records: int
    ends: tuple[str, ...]


class SealMatch(NamedTuple):
    """What one identity's records hold of a seal: its ends, and the number of records behind."""

    ends: frozenset[str]
    behind: int


class SealVerdict(NamedTuple):
    """The answer: `state` is "whole" or "cut"; `since` counts later records."""

    seal: Seal
    state: str
    text: str
    since: int | None = None
    next: str | None = None


def check_digits(number: str) -> str:
    """Return the two check digits of a number of decimal digits, by MOD 97-10."""
    rest = 0
    for digit in number:
        rest = (rest * 10 + ord(digit) - ord("0")) % 97
    return f"{98 - rest * 100 % 97:02d}"


def seal_of(name: str, histories: Iterable[Sequence[Stored]]) -> Seal:
    """Return the seal of a ship from the records about each of its identities, in causal order."""
    records = 0
    ends: set[str] = set()
    for stored in histories:
        lasting = _without_last_held(stored) or stored
        records += len(lasting)
        ends.update(head.digest[:DIGITS] for head in heads(lasting))
    return Seal(name.casefold(), records, tuple(sorted(ends)))


def _without_last_held(stored: Sequence[Stored]) -> list[Stored]:
    """Return the records without the `held` records at the end of the history.

    A location is sent none of them until another record comes after them, so a vault that was
    fetched from there is complete without them.
    """
    behind: set[str] = set()
    lasting = []
    for stored_record in reversed(stored):
        if stored_record.record.kind != HeldBody.kind or stored_record.digest in behind:
            lasting.append(stored_record)
            behind.update(stored_record.record.after)
    return lasting


def write(seal: Seal) -> str:
    """Return the seal as a person writes it down."""
    noun = "record" if seal.records == 1 else "records"
    ends = " and ".join(grouped(end) for end in seal.ends)
    return f"{seal.name}, {seal.records} {noun}, ends {ends}, check {_check(seal)}"


def read(text: str) -> tuple[Seal, ...]:
    """Return the seals in a text, in any case, with any spaces and line ends.

    Raises `seal-mistyped` if it holds none, or one with check digits that do not fit.
    """
    bare = "".join(text[:MOST].casefold().split())
    seals = []
    start = 0
    while start < len(bare):
        match = _SEAL.match(bare, start)
        if match is None or len(text) > MOST:
            raise MISTYPED.error(
                expected="NAME, N records, ends DIGITS, check NN", found=_shown(bare[start:])
            )
        ends = tuple(end.strip(",") for end in match["ends"].split("and"))
        seal = Seal(match["name"], int(match["records"]), ends)
        if _check(seal) != match["check"]:
            raise MISTYPED.error(
                expected="check digits that fit the rest of the seal", found=_shown(match[0])
            )
        seals.append(seal)
        start = match.end()
    if not seals:
        raise MISTYPED.error(expected="NAME, N records, ends DIGITS, check NN", found="nothing")
    return tuple(seals)


def match_seal(seal: Seal, stored: Sequence[Stored]) -> SealMatch:
    """Return what one identity's records hold of a seal."""
    after = {link.digest: link.record.after for link in stored}
    ends = [digest for digest in after if digest[:DIGITS] in seal.ends]
    return SealMatch(frozenset(digest[:DIGITS] for digest in ends), len(behind(ends, after)))


def judge(seal: Seal, matches: Iterable[SealMatch], now: int) -> SealVerdict:
    """Return whether the history up to a seal is whole.

    `matches` are of the ship's identities; `now` counts the ship's records.
    """
    present: set[str] = set()
    behind = 0
    for match in matches:
        present |= match.ends
        behind += match.behind
    gone = [end for end in seal.ends if end not in present]
    if gone:
        return SealVerdict(seal, "cut", _cut(seal, gone, now), next=_FETCH)
    if behind != seal.records:
        text = (
            f"the history of {seal.name} has changed: the seal is of {seal.records} records, "
            f"and {behind} of them {'is' if behind == 1 else 'are'} in this vault"
        )
        return SealVerdict(seal, "cut", text, next=_FETCH)
    since = max(now - seal.records, 0)
    word = "record" if since == 1 else "records"
    ends = " and ".join(grouped(end) for end in seal.ends)
    text = f"the history of {seal.name} is whole up to {ends}; {since} {word} since"
    return SealVerdict(seal, "whole", text, since=since)


_FETCH = (
    "Fetch the missing files from another copy of this vault, or from a backup location. Then "
    "run recheck with the same seal again."
)


def _cut(seal: Seal, gone: Sequence[str], now: int) -> str:
    digits = " and ".join(grouped(end) for end in gone)
    one = len(gone) == 1
    word = "record" if one else "records"
    verb = "is" if one else "are"
    left = f"; {now} of {seal.records} are left" if now else "; none is left"
    return (
        f"the history of {seal.name} was cut: its newest {word} at the seal, {digits}, {verb} not "
        f"in this vault{left if now < seal.records else ''}"
    )


def grouped(digits: str) -> str:
    """Return digits in groups of four."""
    return " ".join(digits[at : at + 4] for at in range(0, len(digits), 4))


def _check(seal: Seal) -> str:
    text = ",".join((seal.name, str(seal.records), *seal.ends))
    return check_digits("".join(f"{ord(character):03d}" for character in text))


def _shown(text: str) -> str:
    return repr(text[:80]) + (" …" if len(text) > 80 else "")
