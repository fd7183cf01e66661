"""Whether a copy is verified: answered here alone, purely from what is handed in.

The conditions: records complete, read twice, stable, plausible, checks hold, unchanged on disk.
Each is met, not met, or not known; "failed" and "not known" are two answers. `formats/verified.md`
gives the rule of each.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

from msgspec import Struct

from parambak.keeping.state.model import Condition
from parambak.keeping.state.read_facts import CONNECTED_TO_CARD
from parambak.keeping.unstable import Stability
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from parambak.keeping.state.bodies import DumpEntry
    from parambak.keeping.state.model import Read
    from parambak.keeping.state.rules import Rules
    from parambak.keeping.state.unsettled import Unsettled
    from parambak.memory.findings import Finding


READ_TWICE, STABLE = "read-twice", "stable"
VERIFIED, AS_READ, FADING = "verified", "verified-as-read", "fading"
NOT_VERIFIED, UNSTABLE, RECONSTRUCTED = "not-verified", "unstable", "reconstructed"
STATES = (VERIFIED, AS_READ, FADING, UNSTABLE, NOT_VERIFIED, RECONSTRUCTED)
"""The states of a copy: verified in the first three of them."""
HEADLINES = {
    VERIFIED: "VERIFIED",
    AS_READ: "VERIFIED AS READ",
    FADING: "VERIFIED, BUT FADING",
    UNSTABLE: "NOT VERIFIED: UNSTABLE",
    NOT_VERIFIED: "NOT VERIFIED",
    RECONSTRUCTED: "RECONSTRUCTED",
}
WHY = {
    AS_READ: (
        "The reads agree. There is no layout, so it is not shown that this is the right chip, or "
        "that its values and checks are right"
    ),
    FADING: (
        "Bits changed in one direction over the visits, and no check was renewed. Replace the chip"
    ),
    UNSTABLE: "The chip reads differently from one read to the next",
    RECONSTRUCTED: "It was made by a vote over reads that differ, and is never verified by itself",
}
"""What a state does not show, or why it is so."""


def headline(verdict: Verdict) -> str:
    """Return the headline of a copy: its state in capitals, and what may be fading."""
    fading = f": {', '.join(verdict.fading)}" if verdict.state == FADING else ""
    return HEADLINES[verdict.state] + fading


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


def evidence_of(reads: Iterable[Read]) -> list[Read]:
    """Return the reads that are evidence: made by a reader, and not of a card that was loaded."""
    return [read for read in reads if not read.loaded and not read.reconstructed_from]


def _same_pass(first: Pass, second: Pass) -> bool:
    """Return whether two entries are one pass of the reader given twice."""
    if first.record == second.record:
        return True
    pairs = [(a, b) for a in first.dumps for b in second.dumps]
    if first.call == second.call and any(same_file(a, b) for a, b in pairs):
        return True
    if first.untimed or second.untimed:
        return False
    return any(a.modified is not None and a.modified == b.modified for a, b in pairs)


def same_file(first: DumpEntry, second: DumpEntry) -> bool:
    """Return whether two dumps of one call were one file: one place on the disk, or one path."""
    marks = (first.file_mark, second.file_mark), (first.path_mark, second.path_mark)
    return any(a is not None and a == b for a, b in marks)


class CopyEvidence(Struct, frozen=True):
    """All that the answer rests on.

    - `agreeing` are the reads that gave this image outside running and volatile fields, and that
      are evidence for it; `loaded` is how many read-backs of a card loaded from it are not, and
      `doubtful` how many reads of a former chip that was unstable.
    - `stability` states where the chip read differently. `fading` are the fields and addresses that
      may be fading.
    - `suspicions` are the findings against the image; `lifted` those declared normal, with by whom.
    - `checks` pairs each check's name with whether it holds; None without a layout.
    - `damage` is what is wrong with the bytes on disk, empty if nothing is. With `lost` the image
      cannot be read, and nothing in it is judged.
    - `records` is whether every record about the vessel is there, and none in conflict.
    """

    agreeing: Sequence[Read]
    compared_by_reader: bool
    suspicions: Sequence[Finding]
    lifted: Sequence[Finding]
    checks: Sequence[tuple[str, bool | None]] | None
    layout_fault: str | None
    damage: Sequence[str]
    records: Condition
    lost: bool = False
    loaded: int = 0
    doubtful: int = 0
    stability: Stability = Stability()
    fading: Sequence[str] = ()


class Verdict(Struct, frozen=True):
    """The answer: every condition in the order of the work.

    `layout`: the memory has a layout. `fading` are the addresses or fields that may be fading.
    """

    conditions: tuple[Condition, ...]
    layout: bool = True
    fading: tuple[str, ...] = ()
    reconstructed: bool = False

    @property
    def verified(self) -> bool:
        """Return whether every condition is met."""
        return all(condition.met for condition in self.conditions)

    @property
    def unmet(self) -> tuple[Condition, ...]:
        """Return the conditions that are not met or not known."""
        return tuple(condition for condition in self.conditions if not condition.met)

    @property
    def unstable(self) -> bool:
        """Return whether the chip reads differently, or may do, and nobody explained it."""
        return any(condition.condition == STABLE for condition in self.unmet)

    @property
    def state(self) -> str:
        """Return the one word of `STATES` that a headline begins with."""
        if self.reconstructed:
            return RECONSTRUCTED
        if self.unstable:
            return UNSTABLE
        if not self.verified:
            return NOT_VERIFIED
        if self.fading:
            return FADING
        return VERIFIED if self.layout else AS_READ


_IN_CIRCUIT = (
    ", all of them in circuit. Other parts of the card can falsify such reads in the same way. If "
    "you can, read the chip in a socket or by a clip"
)
_LOADED = (
    "; {count} of a card that was loaded from this copy not counted: it shows what the card holds, "
    "not that the copy is correct"
)
_DOUBTFUL = "; {count} of the chip before, which was unstable, not counted"
_LOST = "the image is damaged or missing: there are no bytes to judge"


def judge(evidence: CopyEvidence, rules: Rules) -> Verdict:
    """Return whether the copy is verified under the ship's rules, and why."""
    return Verdict(
        (
            evidence.records,
            _read_twice(evidence, rules),
            _stable(evidence),
            _plausible(evidence),
            _checks_hold(evidence, rules),
            _unchanged_on_disk(evidence),
        ),
        layout=evidence.checks is not None or evidence.layout_fault is not None,
        fading=tuple(evidence.fading),
        reconstructed=bool(evidence.agreeing)
        and all(read.reconstructed_from for read in evidence.agreeing),
    )


RECORDS = "records-complete"
MOST_NAMED = 3  # lost records in a sentence


def records_complete(unsettled: Unsettled, where: str, accepted: Sequence[str]) -> Condition:
    """Return whether every record about a position's vessel is there, and none in conflict.

    `accepted` are the losses that a person accepted for it, in words.
    """
    texts = []
    if unsettled.lost:
        listed = [record.text for record in unsettled.lost[:MOST_NAMED]]
        more = len(unsettled.lost) - MOST_NAMED
        listed += [f"and {more} more"] if more > 0 else []
        texts.append(
            f"{'; '.join(listed)}. A lost record may state anything. Fetch it: `parambak recheck` "
            f"shows from where. If nobody has it: `parambak accept-loss {where} --by NAME "
            "--reason TEXT`"
        )
    texts += [
        f"UNDECIDED: the records state {conflict.fact} of {conflict.where} as "
        f"{' and as '.join(conflict.values)}. Settle it: `{conflict.command}`"
        for conflict in unsettled.conflicts
    ]
    if texts:
        return Condition.unknown(RECORDS, "; ".join((*texts, *accepted)))
    if accepted:
        return Condition.yes(RECORDS, "every other record is there; " + "; ".join(accepted))
    return Condition.yes(RECORDS, "every record about the vessel is there, and none in conflict")


def _read_twice(evidence: CopyEvidence, rules: Rules) -> Condition:
    name = READ_TWICE
    made = [read for read in evidence.agreeing if not read.reconstructed_from]
    count, separate = len(made), separate_reads(made)
    apart = _LOADED.format(count=counted(evidence.loaded, "read-back")) if evidence.loaded else ""
    if evidence.doubtful:
        apart += _DOUBTFUL.format(count=counted(evidence.doubtful, "read"))
    if separate >= rules.reads:
        doubt = _IN_CIRCUIT if all(read.facts.how in CONNECTED_TO_CARD for read in made) else ""
        return Condition.yes(name, f"{separate} separate reads gave this image{doubt}{apart}")
    if evidence.agreeing and not made:
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
    return Condition.no(name, text + apart)


def _stable(evidence: CopyEvidence) -> Condition:
    """Return whether the chip read the same each time, except what was written or explained."""
    stated = evidence.stability
    if stated.unstable:
        return Condition.no(STABLE, "; ".join((*stated.unstable, *stated.explained)))
    if stated.undecided:
        return Condition.unknown(STABLE, "; ".join(stated.undecided))
    fades = (
        f"; {', '.join(evidence.fading)} may be fading: bits changed in one direction over the "
        "visits, and no check was renewed. Replace the chip"
        if evidence.fading
        else ""
    )
    words = "; ".join(stated.explained) or "no two reads of this chip disagree"
    return Condition.yes(STABLE, words + fades)


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
