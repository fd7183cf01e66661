"""Whether a copy is verified: answered here alone, purely from what is handed in.

The four conditions: read twice, plausible, checks hold, unchanged on disk. Each is met,
not met, or not known; "failed" and "not known" are two answers.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

from msgspec import Struct

from parambak.keeping.state.model import Condition
from parambak.keeping.state.read_facts import CONNECTED_TO_CARD
from parambak.memory.counted import counted

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
        """Whether equal file times do not mean one read."""


def separate_reads(passes: Sequence[Pass]) -> int:
    """Return how many of the passes are separate reads, at least 1 for any pass at all."""
    groups: list[list[Pass]] = []
    for read in passes:
        same = [group for group in groups if any(_same_pass(read, member) for member in group)]
        merged = [read, *(member for group in same for member in group)]
        groups = [group for group in groups if group not in same]
        groups.append(merged)
    return len(groups)


def _same_pass(first: Pass, second: Pass) -> bool:
    """Return whether two entries are one pass of the reader given twice."""
    if first.record == second.record:
        return True
    pairs = [(a, b) for a in first.dumps for b in second.dumps]
    if first.call == second.call and any(_same_file(a, b) for a, b in pairs):
        return True
    if first.untimed or second.untimed:
        return False
    return any(a.modified is not None and a.modified == b.modified for a, b in pairs)


def _same_file(first: DumpEntry, second: DumpEntry) -> bool:
    marks = (first.file_mark, second.file_mark), (first.path_mark, second.path_mark)
    return any(a is not None and a == b for a, b in marks)


class CopyEvidence(Struct, frozen=True):
    """All that the answer rests on.

    - `agreeing` are the reads that gave this image outside volatile bytes; `disagreeing` states
      for each other read of the same day in how many bytes it differs.
    - `suspicions` are the findings against the image; `lifted` those declared normal, with by whom.
    - `checks` pairs each check's name with whether it holds; None without a layout.
    - `damage` is what is wrong with the bytes on disk, empty if nothing is. With `lost` the image
      cannot be read, and nothing in it is judged.
    - `wavering`: on one day the chip gave this image, then another at least as often, then this
      one again.
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
    ", all of them in circuit. Other parts of the card can falsify such reads in the same way. If "
    "you can, read the chip in a socket or by a clip"
)
AFTER_UNVERIFIED = (
    "; but a file of this copy was released UNVERIFIED and loaded. Read-backs of that card show "
    "what the card holds, not that it is correct"
)
_LOST = "the image is damaged or missing: there are no bytes to judge"


def judge(evidence: CopyEvidence, rules: Rules) -> Verdict:
    """Return whether the copy is verified under the ship's rules, and why."""
    return Verdict(
        (
            _read_twice(evidence, rules),
            _plausible(evidence),
            _checks_hold(evidence, rules),
            _unchanged_on_disk(evidence),
        )
    )


def _read_twice(evidence: CopyEvidence, rules: Rules) -> Condition:
    name = "read-twice"
    made = [read for read in evidence.agreeing if not read.reconstructed_from]
    count, separate = len(made), separate_reads(made)
    # Shown also if the condition is met: a chip that reads in two ways is failing.
    against = "".join(f"; {read}" for read in evidence.disagreeing)
    if separate >= rules.reads and evidence.wavering:
        text = (
            "the chip alternates between this image and another. Reseat it and read it again until "
            "most reads give one image"
        )
        return Condition.no(name, text + against)
    if separate >= rules.reads:
        doubt = _IN_CIRCUIT if all(read.facts.how in CONNECTED_TO_CARD for read in made) else ""
        independent = [read for read in made if not read.after_unverified]
        if separate_reads(independent) < rules.reads:
            doubt += AFTER_UNVERIFIED
        return Condition.yes(name, f"{separate} separate reads gave this image{doubt}{against}")
    if not made:
        text = (
            "RECONSTRUCTED by a vote over reads that differ: no read gave this image. It is never "
            "verified by itself. Check its values by hand"
        )
    elif count > separate:
        text = (
            f"{count} dumps count as {counted(separate, 'read')}: the same file, or files of "
            "exactly the same time. Read the chip again and archive the new file. If the reader "
            "has no clock, archive it with --no-file-times"
        )
    else:
        reads = counted(separate, "read")
        compared = ", compared by the reader" if evidence.compared_by_reader else ""
        text = f"{reads} only{compared}; read the chip again and archive the new file"
    return Condition.no(name, text + against)


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
        return Condition.yes(
            name, "no layout: the checks stored in the memory cannot be calculated"
        )
    return _by_checks(name, evidence.checks)


def _by_checks(name: str, checks: Sequence[tuple[str, bool | None]]) -> Condition:
    failed = [check for check, holds in checks if holds is False]
    unknown = [check for check, holds in checks if holds is None]
    if failed:
        return Condition.no(name, f"stored check fails: {', '.join(failed)}")
    if unknown:
        return Condition.unknown(
            name, f"the dump has no bytes for the stored check: {', '.join(unknown)}"
        )
    if not checks:
        return Condition.yes(name, "the layout declares no stored check")
    return Condition.yes(
        name, "1 stored check holds" if len(checks) == 1 else f"{len(checks)} stored checks hold"
    )


def _unchanged_on_disk(evidence: CopyEvidence) -> Condition:
    if evidence.damage:
        return Condition.no("unchanged-on-disk", "; ".join(evidence.damage))
    return Condition.yes("unchanged-on-disk", "the bytes on disk match their recorded SHA-256")
