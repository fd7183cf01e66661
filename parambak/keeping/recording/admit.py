"""Whether reads may go on record: compared with the memory's size and the copies on record.

Everything here is checked before anything is written.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec.structs import asdict, replace

from parambak.dumps.faults import RAW_SIZE
from parambak.errors import CallRefused, DumpRefused, Fault, LayoutRefused
from parambak.keeping.assess import Assessor
from parambak.keeping.memory_size import BY_LAYOUT, memory_size, source_of
from parambak.keeping.recording.on_record import on_record, require_something_new
from parambak.keeping.recording.suspect import Suspect
from parambak.keeping.recording.texts import NAME, REMARK, check_date, check_texts
from parambak.keeping.recording.wrong_position import refuse_crossed_over
from parambak.keeping.state.bodies import ReaderSum, SizeEntry
from parambak.memory.digests import sha256
from parambak.reads import reader_sum
from parambak.reads.pairs import chips_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from parambak.keeping.chips import Chip
    from parambak.keeping.recording.filing import Filing
    from parambak.keeping.recording.received import Incoming, Request
    from parambak.keeping.state.model import Fleet
    from parambak.layouts.model import Layout
    from parambak.memory.image import Image
    from parambak.vault.vault import Vault

READER_SUM = Fault(
    "dump-reader-sum",
    DumpRefused,
    "the sum on the reader's screen does not match the dump",
    "Save the dump from the reader again, and type the sum as the screen shows it.",
)
READER_SUM_SHAPE = Fault(
    "dump-reader-sum-shape",
    CallRefused,
    "that is not a sum as a reader shows it",
    "Type 2, 4, 6 or 8 hexadecimal digits.",
)
CHIP_DIFFERS = Fault(
    "layout-chip-differs",
    LayoutRefused,
    "the layout is for a memory of another size than {chip} of this position",
    "Give the layout of this unit with --layout, or name the right chip with --chip. Of a pair, "
    "name the part on each chip. Correct a chip on record with `parambak correct WHERE --chip "
    "PART`.",
)
SIZE_BY_WHOM = Fault(
    "chip-size-by-whom",
    CallRefused,
    "the size of a chip that is not in the table is kept as a person's word",
    "Give your name.",
)
WRITTEN_BY = Fault(
    "written-by",
    CallRefused,
    "that the memory was written, or the chip is a new one, needs the name of a person",
    "Give --by NAME, or open a visit with --by NAME.",
)
PAST_MEMORY = Fault(
    "dump-past-memory",
    DumpRefused,
    "the dump holds addresses past the end of the memory",
    "Check which chip is selected on the reader, and which layout or chip is named here.",
)


class Admission:
    """Compares one request with the records of a vault.

    `admit` raises if a read may not go on record; `reader_sum` and `warnings` then hold what
    it noticed, and `recorded` which dumps are on record already.
    """

    def __init__(
        self,
        vault: Vault,
        chips: Mapping[str, Chip],
        fleet: Fleet,
        request: Request,
        filing: Filing,
    ) -> None:
        self._vault = vault
        self._fleet = fleet
        self._request = request
        self._position = filing.position
        self._vessel = filing.vessel
        self._new = filing.new
        self._assessor = Assessor(vault, chips)
        self._layout = self._layout_in_force()
        self.size = _size_of(request, filing, chips, self._layout)
        self._suspect = Suspect(self._assessor, fleet, request, filing, self._layout)
        self.reader_sum: ReaderSum | None = None
        self.warnings: tuple[str, ...] = ()
        self.recorded: tuple[str | int | None, ...] = ()

    def admit(self) -> None:
        """Compare every dump of the request with the sum shown, the memory and the copies."""
        _check_words(self._request)
        confirmed = self._request.position_confirmed
        self.warnings += refuse_crossed_over(
            self._vault, self._fleet, self._request.target, confirmed=confirmed
        )
        self._suspect.refuse_blank()
        self.reader_sum = self._matched_sum()
        self.recorded = on_record(
            self._position, self._request.dumps, untimed=self._request.facts.untimed
        )
        require_something_new(self.recorded, self._stated())
        for incoming in self._request.dumps:
            if self._layout is not None:
                _refuse_misfit(self._layout, incoming.image)
            _refuse_other_size(incoming, self.size)
        new = [
            incoming
            for incoming, recorded in zip(self._request.dumps, self.recorded, strict=True)
            if recorded is None
        ]
        self.warnings += self._suspect.doubts(new)

    def _stated(self) -> dict[str, object]:
        """Return what the call gives besides dumps, by its option."""
        request = self._request
        layout = self._position.layout if self._position is not None else None
        attached = layout.sha256 if layout is not None else ""
        return {
            "--layout": request.layout is not None and sha256(request.layout.data) != attached,
            "--chip": self._new,
            "--reader-sum": request.reader_sum,
            "--normal": request.normal,
            "--remark": request.remark,
            "--vote": request.vote,
            "--written": request.facts.written,
            "--new-chip": request.facts.new_chip,
        }

    def _layout_in_force(self) -> Layout | None:
        if self._request.layout is not None:
            return self._request.layout.layout
        return self._assessor.layout_of(self._position) if self._position is not None else None

    def _matched_sum(self) -> ReaderSum | None:
        """Return what the displayed sum is a sum of; raise if it fits none of the bytes."""
        shown = self._request.reader_sum
        if shown is None:
            return None
        digits = reader_sum.clean(shown)
        if digits is None:
            raise READER_SUM_SHAPE.error(expected="such as 3A7F", found=repr(shown))
        matched = [self._sum_of(incoming, digits) for incoming in self._request.dumps]
        return ReaderSum(shown=digits, matched=matched[-1])

    def _sum_of(self, incoming: Incoming, digits: str) -> str:
        """Return what the sum is a sum of in one read: the chip's bytes, or those of its files."""
        profile = self._request.profile
        only = profile.profile.sum if profile else None
        for image in (incoming.image, *(file.dump.image for file in incoming.files)):
            matched = reader_sum.matches(
                digits, image, self.size.bytes if self.size else None, only
            )
            if matched is not None:
                return matched
        plain = sum(incoming.image.content) & ((1 << len(digits) * 4) - 1)
        raise READER_SUM.error(
            file=incoming.entry.name,
            expected=f"{digits} as {only}" if only else f"a sum of {digits}",
            found=f"{plain:0{len(digits)}X} over the bytes; no other kind of sum fits",
        )


def _refuse_misfit(layout: Layout, image: Image) -> None:
    from parambak.layouts.decode import require_fit  # noqa: PLC0415 - slow to import, layouts only

    require_fit(layout, image)


def _check_words(request: Request) -> None:
    """Raise for a text or a date that a record cannot hold."""
    texts = [
        ("name of the person", request.by, NAME),
        ("remark", request.remark, REMARK),
        ("part number", request.target.chip, NAME),
        ("part number", request.printed, NAME),
    ]
    facts = asdict(request.facts)
    texts += [(name, value, NAME) for name, value in facts.items() if isinstance(value, str)]
    for normal in request.normal:
        texts += [("finding", normal.code, NAME), ("reason", normal.reason, REMARK)]
    check_texts(texts)
    if (request.facts.written or request.facts.new_chip) and not request.by:
        raise WRITTEN_BY.error(expected="--by NAME", found="no name")
    if request.read_on is not None:
        check_date(request.read_on)
    if request.target.size is not None and request.by is None:
        raise SIZE_BY_WHOM.error(expected="--size with a name", found="no name")


def _size_of(
    request: Request, filing: Filing, chips: Mapping[str, Chip], layout: Layout | None
) -> SizeEntry | None:
    """Return the size of the memory that is read, its source, and the number on the chip."""
    position = filing.position
    number = max(chips_of(request.facts.pair), position.chips if position is not None else 1)
    size = agreed_size(filing.chip, filing.size, number, chips, layout)
    if size is None or size.by == BY_LAYOUT:
        return size
    return replace(size, printed=request.printed)


def agreed_size(
    chip: str | None,
    stated: int | None,
    number: int,
    chips: Mapping[str, Chip],
    layout: Layout | None,
) -> SizeEntry | None:
    """Return the memory's size and its source; raise if the chip and the layout disagree."""
    memory = layout.memory if layout is not None else None
    size = memory_size(chip, stated, number, chips, memory)
    if size is not None and memory not in (None, size.bytes):
        raise CHIP_DIFFERS.error(
            chip=source_of(size), expected=f"{size.bytes} bytes", found=f"{memory} bytes"
        )
    return size


def _refuse_other_size(incoming: Incoming, size: SizeEntry | None) -> None:
    """Raise if a raw dump is not of the memory's size, or any dump runs past its end."""
    image = incoming.image
    if size is None:
        return
    if incoming.dump.format == "raw" and image.size != size.bytes:
        raise RAW_SIZE.error(
            file=incoming.entry.name,
            expected=f"{size.bytes} bytes, the size of {source_of(size)}",
            found=f"{image.size} bytes",
        )
    if image.end > size.bytes:
        raise PAST_MEMORY.error(
            file=incoming.entry.name,
            offset=size.bytes,
            expected=f"addresses up to 0x{size.bytes - 1:04X}, the last of {source_of(size)}",
            found=f"a byte at 0x{image.end - 1:04X}",
        )
