"""Takes reads in: one record for each read; new entities go into the first."""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec
from msgspec import Struct

from parambak.keeping.assess import Assessor
from parambak.keeping.recording.admit import Admission
from parambak.keeping.recording.filing import Filing, file_under, new_identity
from parambak.keeping.recording.received import entry_of, objects_of, put_layout, put_profile
from parambak.keeping.state import bodies, select
from parambak.keeping.state.fold import Folding
from parambak.keeping.state.model import Fleet
from parambak.memory.digests import sha256

if TYPE_CHECKING:
    from collections.abc import Mapping

    from parambak.keeping.chips import Chip
    from parambak.keeping.recording.received import Request
    from parambak.keeping.state.model import Copy, Position
    from parambak.keeping.verified import Verdict
    from parambak.reads.vote import Vote
    from parambak.vault.vault import Vault, Writing


class TakenIn(Struct, frozen=True):
    """The answer: the position and copy, what is new (in words), and whether it is verified.

    `reads` is how many were put on record; `already` are the dumps that were on record already.
    """

    position: Position
    copy: Copy
    verdict: Verdict
    made: tuple[str, ...]
    reader_sum: str | None
    warnings: tuple[str, ...]
    vote: Vote | None = None
    reads: int = 0
    already: tuple[str, ...] = ()


def take_in(
    vault: Vault, request: Request, chips: Mapping[str, Chip], folding: Folding | None = None
) -> TakenIn:
    """Put every read on record, or raise and leave the vault as it was.

    For a vault that is not on disk yet the reads are checked first without its lock, so that a
    refusal leaves nothing behind. What `folding` has read before is not read again.
    """
    folding = folding or Folding(vault)
    if vault.made:
        _admit(vault, chips, Fleet(()), request)
    with vault.writing() as writing:
        filing, admission = _admit(vault, chips, folding.fleet(), request)
        _write(writing, request, filing, admission)
    return _answer(folding, request, chips, filing, admission)


def _admit(
    vault: Vault, chips: Mapping[str, Chip], fleet: Fleet, request: Request
) -> tuple[Filing, Admission]:
    if request.vote:
        _voted(request)  # raises if no vote is possible
    filing = file_under(fleet, request.target)
    admission = Admission(vault, chips, fleet, request, filing)
    admission.admit()
    return filing, admission


def _write(writing: Writing, request: Request, filing: Filing, admission: Admission) -> None:
    """Write the objects, one record a read, and one for the image of a vote over them."""
    layout = put_layout(writing, request.layout) if request.layout else None
    profile = put_profile(writing, request.profile)
    fresh = None in admission.recorded
    by = writing.person(request.by, filing.vessel) if request.by and fresh else None
    common = _common(request, filing, admission, layout, profile)
    kept = [*objects_of(layout), *([profile.sha256] if profile else [])]
    records: list[str] = []
    new = filing.new
    for incoming, recorded in zip(request.dumps, admission.recorded, strict=True):
        image = writing.put(incoming.image.content, again=False)
        dumps = [writing.put(file.data, again=False) for file in incoming.files]
        if recorded is not None:  # its files were put all the same, which repairs damaged ones
            records.append(recorded if isinstance(recorded, str) else records[recorded])
            continue
        body = msgspec.structs.replace(
            common,
            new=new,
            image=bodies.ImageEntry.of(incoming.image, image),
            dumps=tuple(entry_of(file) for file in incoming.files),
        )
        new = ()
        relies_on = [image, *dumps, *kept]
        records.append(
            writing.add(body.kind, filing.vessel, body.members(), by=by, relies_on=relies_on)
        )
    if request.vote:
        voted = _voted(request).image
        image = writing.put(voted.content, again=False)
        body = msgspec.structs.replace(
            common,
            image=bodies.ImageEntry.of(voted, image),
            reader_sum=None,
            reconstructed_from=tuple(dict.fromkeys(records)),
        )
        writing.add(body.kind, filing.vessel, body.members(), by=by, relies_on=[image, *kept])


def _voted(request: Request) -> Vote:
    from parambak.reads.vote import vote  # noqa: PLC0415 - votes are rare

    return vote([incoming.image for incoming in request.dumps])


def _common(
    request: Request,
    filing: Filing,
    admission: Admission,
    layout: bodies.LayoutEntry | None,
    profile: bodies.ProfileEntry | None,
) -> bodies.ReadBody:
    """Return what the reads of one call have in common; image and dumps differ."""
    return bodies.ReadBody(
        call=new_identity(),
        position=filing.id,
        image=bodies.ImageEntry(sha256="", ranges=()),
        dumps=(),
        read_on=request.read_on,
        read_at=request.read_at,
        layout=layout,
        reader_sum=admission.reader_sum,
        size=admission.size,
        normal=tuple(request.normal),
        position_confirmed=request.position_confirmed,
        remark=request.remark,
        visit=request.visit,
        profile=profile,
        **msgspec.structs.asdict(request.facts),
    )


def _answer(
    folding: Folding,
    request: Request,
    chips: Mapping[str, Chip],
    filing: Filing,
    admission: Admission,
) -> TakenIn:
    """Read the vault again, and judge the copy that the last dump gave."""
    position = select.find_position(folding.fleet(), filing.where)
    voted = _voted(request) if request.vote else None
    image = voted.image if voted else request.dumps[-1].image
    entry = bodies.ImageEntry.of(image, sha256(image.content))
    copy = next(copy for copy in position.copies if copy.image == entry)
    return TakenIn(
        position=position,
        copy=copy,
        verdict=Assessor(folding.vault, chips).verdict(position, copy),
        made=filing.made,
        reader_sum=admission.reader_sum.matched if admission.reader_sum else None,
        warnings=admission.warnings,
        reads=sum(recorded is None for recorded in admission.recorded),
        already=tuple(
            incoming.entry.name
            for incoming, recorded in zip(request.dumps, admission.recorded, strict=True)
            if recorded is not None
        ),
        vote=voted,
    )
