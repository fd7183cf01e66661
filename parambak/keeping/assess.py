"""Gathers the evidence for `verified.py`: bytes hashed at this moment, findings, checks."""

from __future__ import annotations

from contextlib import suppress
from typing import TYPE_CHECKING

from parambak.differences.reread import agrees
from parambak.errors import LayoutRefused, SheetRefused, VaultDamaged
from parambak.keeping.memory_size import BY_CHIP, BY_LAYOUT, BY_PERSON, memory_size, source_of
from parambak.keeping.state.rules import CAREFUL
from parambak.keeping.unstable import Content, disagreements, fading_fields, statements, tainted
from parambak.keeping.verified import (
    CopyEvidence,
    Verdict,
    evidence_of,
    judge,
    records_complete,
    separate_reads,
)
from parambak.memory.counted import counted
from parambak.memory.findings import Finding
from parambak.reads import plausibility
from parambak.vault.objects import file_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from parambak.keeping.chips import Chip
    from parambak.keeping.state.bodies import ImageEntry, LayoutEntry, Normal, SizeEntry
    from parambak.keeping.state.model import Condition, Copy, Position, Read
    from parambak.keeping.state.rules import Rules
    from parambak.keeping.state.unsettled import AcceptedLoss, Conflict, Unsettled
    from parambak.keeping.unstable import Disagreement
    from parambak.layouts.decode import Decoded
    from parambak.layouts.model import Layout
    from parambak.layouts.slots import Slot
    from parambak.memory.image import Image
    from parambak.vault.vault import Vault


class Assessor:
    """Works out, from a vault's bytes at this moment, whether copies are verified.

    Layouts read once are kept for the life of the assessor; image bytes are
    read and hashed each time they are asked for.
    """

    def __init__(self, vault: Vault, chips: Mapping[str, Chip] | None = None) -> None:
        self.vault = vault
        self._chips = {} if chips is None else chips
        self._layouts: dict[str, Layout] = {}
        self._rules: dict[str, Rules] = {}

    def rules(self, position: Position) -> Rules:
        """Return the ship's rules that hold for a position, else the default rules.

        Raise VaultDamaged if they are on record and cannot be read: weaker rules than the
        owner's never hold silently.
        """
        if position.rules is None:
            return CAREFUL
        from parambak.keeping.state.rules_file import load_rules  # noqa: PLC0415 - only with rules

        digest, _ = position.rules
        if digest not in self._rules:
            self._rules[digest] = load_rules(self.vault.read_object(digest))
        return self._rules[digest]

    def image(self, entry: ImageEntry) -> Image:
        """Return an image; raise VaultDamaged if its bytes are not those recorded."""
        return entry.image(self.vault.read_object(entry.sha256))

    def layout(self, entry: LayoutEntry) -> Layout:
        """Return a layout kept in the vault; raise LayoutRefused or VaultDamaged."""
        from parambak.layouts.load import load  # noqa: PLC0415 - slow to import, layouts only

        if entry.sha256 not in self._layouts:
            parts = {part.name: part.sha256 for part in entry.parts}
            self._layouts[entry.sha256] = load(
                self.vault.read_object(entry.sha256),
                name=entry.name,
                include=lambda name: self.vault.read_object(parts.get(name, "")),
            )
        return self._layouts[entry.sha256]

    def layout_of(self, position: Position) -> Layout | None:
        """Return the layout of a position, or None without one that can be used."""
        if position.layout is None:
            return None
        try:
            return self.layout(position.layout)
        except (LayoutRefused, VaultDamaged):
            return None

    def memory_size(self, position: Position, layout: Layout | None) -> int | None:
        """Return the size of the position's memory in bytes, None if nothing gives it."""
        size = self.size_entry(position, layout)
        return size.bytes if size is not None else None

    def size_entry(self, position: Position, layout: Layout | None) -> SizeEntry | None:
        """Return the size of the position's memory, and its source.

        If this table does not have the chip, the size that its newest read was judged by counts.
        """
        size = memory_size(
            position.chip,
            position.size,
            position.chips,
            self._chips,
            layout.memory if layout is not None else None,
        )
        if position.chip and (size is None or size.by == BY_LAYOUT):
            chip = position.chip.casefold()
            kept = [r.size for r in position.reads if r.size and r.size.by == BY_CHIP]
            of_chip = [entry for entry in kept if (entry.chip or "").casefold() == chip]
            return of_chip[-1] if of_chip else size
        return size

    def decoded(self, position: Position, copy: Copy) -> Decoded | None:
        """Return the copy's fields by the position's layout, or None without one."""
        from parambak.layouts.decode import decode  # noqa: PLC0415 - slow to import, layouts only

        layout = self.layout_of(position)
        return decode(layout, self.image(copy.image)) if layout is not None else None

    def verdict(self, position: Position, copy: Copy) -> Verdict:
        """Return whether the copy is verified now, and every condition's reason."""
        return judge(self._evidence(position, copy), self._rules_or_careful(position)[0])

    def records(self, position: Position, further: Sequence[Conflict] = ()) -> Condition:
        """Return whether every record about the vessel is there, and none in conflict.

        `further` are conflicts that matter besides, such as those of a card that goes in.
        """
        accepted = self.accepted_words(position.unsettled)
        return records_complete(position.unsettled.with_more(further), position.where, accepted)

    def accepted_words(self, unsettled: Unsettled) -> tuple[str, ...]:
        """Return in words the losses that a person accepted: first on every page."""
        return tuple(self.loss_words(loss) for loss in unsettled.accepted)

    def loss_words(self, loss: AcceptedLoss) -> str:
        """Return in words what was accepted as lost, by whom and why."""
        files = counted(len(loss.records) + len(loss.objects), "file")
        by = self.person(loss.by) if loss.by else "person not recorded"
        return f"the loss of {files} was ACCEPTED by {by} on {loss.on}: {loss.reason}"

    def _evidence(self, position: Position, copy: Copy) -> CopyEvidence:
        rules, faults = self._rules_or_careful(position)
        damage = (*self._damage(position, copy), *faults)
        layout, fault = self._layout_or_fault(position)
        image = self._image_or_none(copy)
        found = self.disagreements(position, layout)
        doubtful = tainted(position.reads, found)
        agreeing = [
            read
            for read in self._reads(position, copy, image, layout, rules.reads)
            if not read.loaded and (read.chip == copy.newest.chip or read.record not in doubtful)
        ]
        suspicions: tuple[Finding, ...] = ()
        lifted: tuple[Finding, ...] = ()
        checks = None
        if image is not None:
            suspicions, lifted = self._suspicions(position, layout, image)
            if layout is not None:
                checks = _checks(layout, image)
        return CopyEvidence(
            agreeing=agreeing,
            compared_by_reader=any(read.facts.compared for read in copy.reads),
            suspicions=suspicions,
            lifted=lifted,
            checks=checks,
            layout_fault=fault,
            damage=damage,
            records=self.records(position),
            lost=image is None,
            loaded=sum(read.loaded for read in copy.reads),
            doubtful=sum(
                read.record in doubtful and read.chip != copy.newest.chip for read in copy.reads
            ),
            fading=self._fading(position, copy, layout, found),
            stability=statements(position, copy, layout, found, self.person),
        )

    def _rules_or_careful(self, position: Position) -> tuple[Rules, tuple[str, ...]]:
        try:
            return self.rules(position), ()
        except (SheetRefused, VaultDamaged) as error:
            return CAREFUL, (f"the ship's rules on record cannot be read: {error.text}",)

    def _layout_or_fault(self, position: Position) -> tuple[Layout | None, str | None]:
        if position.layout is None:
            return None, None
        try:
            return self.layout(position.layout), None
        except (LayoutRefused, VaultDamaged) as error:
            return None, f"the layout cannot be used: {error.text}"

    def _image_or_none(self, copy: Copy) -> Image | None:
        try:
            return self.image(copy.image)
        except VaultDamaged:
            return None

    def damaged_files(self, position: Position, copy: Copy) -> dict[str, VaultDamaged]:
        """Return the vault's files that are damaged or missing of what the copy relies on.

        These are its image, the dumps of its reads, and the position's layout.
        """
        digests = [copy.sha256, *(d.sha256 for read in copy.reads for d in read.dumps)]
        if position.layout is not None:
            digests += [position.layout.sha256, *(part.sha256 for part in position.layout.parts)]
        damaged = {}
        for digest in dict.fromkeys(digests):
            try:
                if digest == copy.sha256:
                    self.image(copy.image)
                else:
                    self.vault.read_object(digest)
            except VaultDamaged as error:
                damaged[file_of(digest)] = error
        return damaged

    def _damage(self, position: Position, copy: Copy) -> tuple[str, ...]:
        damaged = self.damaged_files(position, copy).values()
        return tuple(dict.fromkeys(map(_words, damaged)))

    def _reads(
        self,
        position: Position,
        copy: Copy,
        image: Image | None,
        layout: Layout | None,
        enough: int,
    ) -> tuple[Read, ...]:
        """Return the reads that agree outside running fields; with enough of its own, those alone.

        Without a layout, and of an image that is lost, those alone too.
        """
        if image is None or layout is None or separate_reads(evidence_of(copy.reads)) >= enough:
            return copy.reads
        agreeing = list(copy.reads)
        for other in position.copies:
            content = self._image_or_none(other) if other.image != copy.image else None
            if content is not None and agrees(layout, image, content):
                agreeing += other.reads
        return tuple(agreeing)

    def disagreements(self, position: Position, layout: Layout | None) -> tuple[Disagreement, ...]:
        """Return every two reads of one chip on one occasion that differ without a write."""

        def content_of(entry: ImageEntry) -> Content:
            try:
                image = self.image(entry)
            except VaultDamaged:
                return Content(None, plausible=True)
            return Content(image, plausible=self.plausible(position, layout, image))

        return disagreements(position, layout, content_of)

    def _fading(
        self, position: Position, copy: Copy, layout: Layout | None, found: Sequence[Disagreement]
    ) -> tuple[str, ...]:
        """Return the fields and addresses of the copy's chip that may be fading by this copy."""

        def images() -> Iterator[tuple[Read, Image]]:
            for read in position.reads:
                if read.chip == copy.newest.chip and not read.reconstructed_from:
                    with suppress(VaultDamaged):
                        yield read, self.image(read.image)
                if read.record == copy.newest.record:
                    break

        return fading_fields(layout, images(), found, position.explanations)

    def plausible(self, position: Position, layout: Layout | None, image: Image) -> bool:
        """Return whether nothing that was not declared normal counts against an image."""
        return not self._suspicions(position, layout, image)[0]

    def _suspicions(
        self, position: Position, layout: Layout | None, image: Image
    ) -> tuple[tuple[Finding, ...], tuple[Finding, ...]]:
        """Return the findings against the image, and those that were declared normal."""
        declared = self._declared(position, layout)
        unlifted, lifted = [], []
        entry = self.size_entry(position, layout)
        size = entry.bytes if entry is not None else None
        for suspicion in _judged(layout, image, size, normal_of(layout)):
            finding = suspicion.finding
            if suspicion.lifted:
                lifted.append(Finding(finding.code, f"normal by the layout: {finding.text}"))
            elif (finding.code, suspicion.subject) in declared and not suspicion.fatal:
                normal, by = declared[finding.code, suspicion.subject]
                text = f"declared normal by {self.person(by)}, {normal.reason}: {finding.text}"
                lifted.append(Finding(finding.code, text))
            else:
                unlifted.append(finding)
        if size is None:
            reason = (
                f"chip {position.chip} is not in the table of chips"
                if position.chip
                else "no chip is on record"
            )
            lifted.append(Finding("no-chip", f"{reason}: the size was not checked"))
        elif entry is not None and entry.by == BY_PERSON:
            whose = self._whose_size(position, entry)
            lifted.append(Finding("size-stated", f"{size} bytes, {source_of(entry)}{whose}"))
        return tuple(unlifted), tuple(lifted)

    def _whose_size(self, position: Position, size: SizeEntry) -> str:
        """Return the name of the person of the newest read for which that size was stated."""
        for read in reversed(position.reads):
            if read.by and read.size and (read.size.by, read.size.bytes) == (BY_PERSON, size.bytes):
                return f" ({self.person(read.by)})"
        return ""

    def _declared(
        self, position: Position, layout: Layout | None
    ) -> dict[tuple[str, str], tuple[Normal, str]]:
        """Return what a person declared normal, and of what: as the read itself showed it.

        A declaration for one line that never changes does not hold for another line.
        """
        declared = {}
        size = self.memory_size(position, layout)
        for normal, read in position.normal:
            try:
                image = self.image(read.image)
            except VaultDamaged:
                continue
            for suspicion in _judged(layout, image, size, plausibility.Normal()):
                if read.by and suspicion.finding.code == normal.code:
                    declared[normal.code, suspicion.subject] = (normal, read.by)
        return declared

    def person(self, mark: str) -> str:
        """Return the name behind a mark, or words that it is lost."""
        try:
            return self.vault.person(mark)
        except VaultDamaged:
            return f"a person with a lost name ({mark[:8]})"


def _judged(
    layout: Layout | None, image: Image, size: int | None, normal: plausibility.Normal
) -> tuple[plausibility.Suspicion, ...]:
    """Return the suspicions against an image, by its bytes alone and by its layout."""
    suspicions = plausibility.judge(image, memory_size=size, normal=normal)
    if layout is None:
        return suspicions
    blank = blank_runs(layout, image)
    return (
        *suspicions,
        *(plausibility.Suspicion(finding, subject=subject) for finding, subject in blank),
    )


def _words(error: VaultDamaged) -> str:
    return f"{error.text} ({error.file})"


def _checks(layout: Layout, image: Image) -> list[tuple[str, bool | None]]:
    from parambak.layouts.decode import decode  # noqa: PLC0415 - slow to import, layouts only

    return [(check.check, check.holds) for check in decode(layout, image).checks]


def normal_of(layout: Layout | None) -> plausibility.Normal:
    """Return what the layout declares normal for its memory."""
    if layout is None:
        return plausibility.Normal()
    return plausibility.Normal(
        mirrored="mirrored" in layout.normal,
        blocks=tuple((block.at, block.mirror_at, block.length) for block in layout.mirrored),
        seven_bit="seven-bit" in layout.normal,
        constant_line="constant-line" in layout.normal,
    )


FEWEST_FIELDS = 3
FEWEST_BYTES = 16


def blank_runs(layout: Layout, image: Image) -> tuple[tuple[Finding, str], ...]:
    """Return each run of blank single fields, with its subject: its first and last field."""
    blank = []
    for run in _runs(layout, image):
        if len(run) >= FEWEST_FIELDS and sum(slot.length for slot in run) >= FEWEST_BYTES:
            first, last = run[0], run[-1]
            text = (
                f"{len(run)} fields in a row, {first.name} to {last.name} at "
                f"0x{first.at:04X}-0x{last.end - 1:04X}, are all {layout.blank:02X}: the reader "
                "lost contact for a time, or these fields were never set"
            )
            subject = f"{first.name} {last.name}"
            blank.append((Finding("read-blank-fields", text, offset=first.at), subject))
    return tuple(blank)


def _runs(layout: Layout, image: Image) -> Iterator[list[Slot]]:
    from parambak.layouts.slots import slots  # noqa: PLC0415 - slow to import, layouts only

    blank = bytes([layout.blank])
    run: list[Slot] = []
    for slot in slots(layout):
        if slot.kind != "field" or slot.prefix or slot.again:
            continue
        if image.read(slot.at, slot.length) == blank * slot.length:
            run.append(slot)
            continue
        yield run
        run = []
    yield run


def size_doubts(assessor: Assessor, position: Position, part: str, size: int) -> tuple[str, ...]:
    """Return, in words, which of the layout and the latest copy differ in size from the chip.

    `part` is its number, and `size` that of one chip in bytes.

    Only a person can decide which is wrong: the chip, the layout or the read.
    """
    doubts = []
    memory = size * position.chips
    has = f"{part} has {memory} bytes"
    if position.chips > 1:
        has = f"{position.chips} chips {part} have {memory} bytes"
    layout = assessor.layout_of(position)
    if layout is not None and position.layout is not None and layout.memory != memory:
        doubts.append(
            f"{has}, and the layout on record here, {position.layout.name}, is for "
            f"{layout.memory}: nothing more can be archived here until one of them is corrected. "
            "Give the right layout with `archive --layout`, or the right chip with `correct --chip`"
        )
    latest = position.latest
    if latest is not None:
        held = sum(length for _, length in latest.image.ranges)
        if held != memory:
            doubts.append(
                f"{has}, and the latest copy, {latest.sha256[:8]}, holds {held}: it is not "
                "verified as long as this chip is on record"
            )
    return tuple(doubts)
