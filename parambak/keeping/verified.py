"""Whether a copy is verified: answered here alone, purely from what is handed in.

The four conditions: read twice, plausible, checks hold, intact. Each is met,
not met, or not known; "failed" and "not known" are two answers.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

from msgspec import Struct

from parambak.keeping.state.model import Condition
from parambak.keeping.state.read_facts import CONNECTED_TO_CARD

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.keeping.state.bodies import DumpEntry
    from parambak.keeping.state.model import Read
    from parambak.keeping.state.rules import Rules
    from parambak.memory.findings import Finding


class Pass(Protocol):
    """One pass of the reader: a read, or a dump read back from a loaded card."""

    @property
    def record(self) -> str:
        """The digest of its record."""

    @property
    def call(self) -> str:
        """What is common to the passes of one command."""

    @property
    def dumps(self) -> tuple[DumpEntry, ...]:
        """The files that it gave."""

    @property
    def untimed(self) -> bool:
        """Whether the files' times mean nothing."""


def made_apart(reads: Sequence[Pass]) -> int:
    """Return how many of the reads were made apart, at least 1 for any read at all."""
    groups: list[list[Pass]] = []
    for read in reads:
        same = [group for group in groups if any(_one_read(read, other) for other in group)]
        merged = [read, *(one for group in same for one in group)]
        groups = [group for group in groups if group not in same]
        groups.append(merged)
    return len(groups)


def _one_read(one: Pass, other: Pass) -> bool:
    """Tell whether two entries are one pass of the reader given twice."""
    if one.record == other.record:
        return True
    pairs = [(a, b) for a in one.dumps for b in other.dumps]
    if one.call == other.call and any(_same_file(a, b) for a, b in pairs):
        return True
    if one.untimed or other.untimed:
        return False
    return any(a.modified is not None and a.modified == b.modified for a, b in pairs)


def _same_file(one: DumpEntry, other: DumpEntry) -> bool:
    marks = (one.file_mark, other.file_mark), (one.path_mark, other.path_mark)
    return any(own is not None and own == other_mark for own, other_mark in marks)


class CopyEvidence(Struct, frozen=True):
    """All that the answer rests on.

    `agreeing` are the reads that gave this image outside volatile bytes;
    `disagreeing` says of each other read of the same day how far it is off.
    `suspicions` are the findings that speak against the image, `lifted` those
    declared normal, each with who says so. `checks` pairs each check's name
    with whether it holds; None where the position has no layout. `damage`
    is what hashing found wrong, empty where all is sound; `lost` says that the image
    cannot be had, so that nothing in it was judged. `wavering` says that on one day
    the chip gave this image, then another at least as often, then this one again.
    """

    agreeing: Sequence[Read]
    disagreeing: Sequence[str]
    compared_by_reader: bool
    suspicions: Sequence[Finding]
    lifted: Sequence[Finding]
    checks: Sequence[tuple[str, bool | None]] | None
    layout_fault: str | None
    damage: Sequence[str]
    lost: bool = False
    wavering: bool = False


class Verdict(Struct, frozen=True):
    """The answer: every condition in the order of the work."""

    conditions: tuple[Condition, ...]

    @property
    def verified(self) -> bool:
        """Return whether every condition is met."""
        return all(condition.met for condition in self.conditions)

    @property
    def unmet(self) -> tuple[Condition, ...]:
        """Return the conditions that are not met or not known."""
        return tuple(condition for condition in self.conditions if not condition.met)


_IN_CIRCUIT = (
    ", all of them in circuit: what falsifies one such read can falsify the next in the same way, "
    "so read the chip in a socket or by a clip where you can"
)
AFTER_UNVERIFIED = (
    "; but a file of it was released UNVERIFIED, and read back from the card loaded with it: that "
    "shows what the card holds, not that it is right"
)
_LOST = "the image is damaged or lost: there are no bytes to judge"


def judge(evidence: CopyEvidence, rules: Rules) -> Verdict:
    """Return whether the copy is verified under the ship's rules, and why."""
    return Verdict(
        (
            _read_twice(evidence, rules),
            _plausible(evidence),
            _checks_hold(evidence, rules),
            _intact(evidence),
        )
    )


def _read_twice(evidence: CopyEvidence, rules: Rules) -> Condition:
    name = "read-twice"
    made = [read for read in evidence.agreeing if not read.reconstructed_from]
    count, apart = len(made), made_apart(made)
    # Said also where the condition is met: a chip that reads in two ways is failing.
    against = "".join(f"; {read}" for read in evidence.disagreeing)
    if apart >= rules.reads and evidence.wavering:
        text = (
            "the chip gives now this image and now another, as often: read it again, reseated, "
            "until one of them prevails"
        )
        return Condition.no(name, text + "".join(f"; {read}" for read in evidence.disagreeing))
    if apart >= rules.reads:
        doubt = _IN_CIRCUIT if all(read.facts.how in CONNECTED_TO_CARD for read in made) else ""
        own = [read for read in made if not read.after_unverified]
        if made_apart(own) < rules.reads:
            doubt += AFTER_UNVERIFIED
        return Condition.yes(name, f"{apart} reads made apart gave this image{doubt}{against}")
    if not made:
        text = (
            "RECONSTRUCTED by a vote over reads that differ: no read gave this image, and it is "
            "never verified by itself. Check its values by hand"
        )
    elif count > apart:
        text = (
            f"{count} dumps count as {_reads(apart)}: the same file, or files of the very same "
            "time. Read the chip again and archive the new file; if the reader has no clock, "
            "archive it with --no-file-times"
        )
    else:
        compared = ", compared by the reader" if evidence.compared_by_reader else ""
        text = f"{_reads(apart)} only{compared}; read the chip again and archive the new file"
    return Condition.no(name, text + against)


def _reads(number: int) -> str:
    return "1 read" if number == 1 else f"{number} reads"


def _plausible(evidence: CopyEvidence) -> Condition:
    name = "plausible"
    if evidence.lost:
        return Condition.unknown(name, _LOST)
    lifted = "".join(f" ({finding.text})" for finding in evidence.lifted)
    if evidence.suspicions:
        return Condition.no(name, "; ".join(f.text for f in evidence.suspicions) + lifted)
    return Condition.yes(name, "the image is plausible for its chip" + lifted)


def _checks_hold(evidence: CopyEvidence, rules: Rules) -> Condition:
    name = "checks-hold"
    if evidence.layout_fault:
        return Condition.unknown(name, evidence.layout_fault)
    if evidence.lost:
        return Condition.unknown(name, _LOST)
    if evidence.checks is None and rules.layout:
        text = "no layout, and the ship's rules require one; give it with --layout"
        return Condition.no(name, text)
    if evidence.checks is None:
        return Condition.yes(name, "no layout: nothing is known of checks inside")
    return _by_checks(name, evidence.checks)


def _by_checks(name: str, checks: Sequence[tuple[str, bool | None]]) -> Condition:
    failed = [check for check, holds in checks if holds is False]
    unknown = [check for check, holds in checks if holds is None]
    if failed:
        return Condition.no(name, f"check fails: {', '.join(failed)}")
    if unknown:
        return Condition.unknown(name, f"bytes of the check are absent: {', '.join(unknown)}")
    if not checks:
        return Condition.yes(name, "the layout declares no check")
    return Condition.yes(
        name, "1 check holds" if len(checks) == 1 else f"{len(checks)} checks hold"
    )


def _intact(evidence: CopyEvidence) -> Condition:
    if evidence.damage:
        return Condition.no("unchanged-on-disk", "; ".join(evidence.damage))
    return Condition.yes("unchanged-on-disk", "the bytes on disk hash to the recorded digest")
