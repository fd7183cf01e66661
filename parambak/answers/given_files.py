"""The files that a question names: dumps, layouts, sheets, limits and profiles, read and parsed."""

from __future__ import annotations

from pathlib import PurePath
from typing import TYPE_CHECKING, NamedTuple

from parambak.answers import faults
from parambak.errors import ParambakError, in_file
from parambak.memory.counted import counted
from parambak.memory.digests import sha256
from parambak.vault.files.given import read_beside, read_given

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from parambak.dumps.dump import Dump, Terms
    from parambak.dumps.profile import Profile
    from parambak.keeping.recording.received import Incoming, LayoutFile, ProfileFile
    from parambak.reads.pairs import PairScheme
    from parambak.swap.card_sheet import Sheet
    from parambak.swap.limits import Limits

DUMP_BYTES = 64 * 1024 * 1024
TEXT_BYTES = 4 * 1024 * 1024
MOST_REFUSED = 50


def read_dump_file(path: str, format_name: str | None, terms: Terms) -> Dump:
    """Return the dump that a file holds, by its own name and content.

    An allowance that the file does not need is refused.
    """
    dump = dump_of(path, read_given(path, DUMP_BYTES).data, format_name, terms)
    refuse_unused(terms.accepted, [dump])
    return dump


def refuse_unused(accepted: Iterable[str], dumps: Iterable[Dump]) -> None:
    """Raise CallRefused for an allowance that none of the dumps needs."""
    used = frozenset[str]().union(*(dump.used for dump in dumps))
    unused = sorted(set(accepted) - used)
    if unused:
        raise faults.ACCEPT_UNUSED.error(
            expected=", ".join(sorted(used)) or "no --accept", found=", ".join(unused)
        )


def dump_of(
    path: str, data: bytes, format_name: str | None, terms: Terms, profile: Profile | None = None
) -> Dump:
    """Return the dump that a file's bytes hold, by its own name and content."""
    from parambak.dumps.registry import read_dump  # noqa: PLC0415 - only where a dump is read

    with in_file(path):
        return read_dump(
            PurePath(path).name,
            data,
            format=format_name,
            usual=profile.format if profile else None,
            terms=terms,
        )


def incoming(
    path: str, format_name: str | None, terms: Terms, profile: Profile | None = None
) -> Incoming:
    """Return a dump file ready to be archived, decoded a second time by unrelated code."""
    from parambak.dumps.second_opinion import second_opinion  # noqa: PLC0415 - for archiving only
    from parambak.keeping.recording.received import Incoming  # noqa: PLC0415 - the same
    from parambak.keeping.state.bodies import DumpEntry, FindingEntry  # noqa: PLC0415 - the same

    file = read_given(path, DUMP_BYTES)
    dump = dump_of(path, file.data, format_name, terms, profile)
    with in_file(path):
        opinion = second_opinion(file.data, dump)
    entry = DumpEntry(
        sha256=sha256(file.data),
        name=file.name,
        format=dump.format,
        bytes=len(file.data),
        modified=file.modified,
        path_mark=sha256(file.path.encode("utf-8", "surrogateescape")),
        file_mark=sha256(file.inode.encode()) if file.inode else None,
        accepted=tuple(sorted(dump.used)),
        findings=tuple(FindingEntry(code=f.code, text=f.text) for f in dump.findings),
        opinion=opinion.judge if opinion.agrees else None,
    )
    return Incoming(file.data, dump, entry)


def layout_file(path: str) -> LayoutFile:
    """Return a layout and the files of its own folder that it includes."""
    from parambak.keeping.recording.received import LayoutFile  # noqa: PLC0415 - only where a layout is given
    from parambak.layouts.load import load  # noqa: PLC0415 - the same

    data = read_given(path, TEXT_BYTES).data
    parts: dict[str, bytes] = {}

    def include(name: str) -> bytes:
        parts[name] = read_beside(path, name, TEXT_BYTES)
        return parts[name]

    with in_file(path):
        layout = load(data, name=PurePath(path).name, include=include)
    return LayoutFile(PurePath(path).name, data, layout, parts)


def sheet_file(path: str) -> tuple[bytes, Sheet]:
    """Return a card sheet's bytes, and what it states."""
    from parambak.swap.card_sheet import read_sheet  # noqa: PLC0415 - only where a sheet is given

    data = read_given(path, TEXT_BYTES).data
    return data, read_sheet(data, path)


def limits_file(path: str) -> tuple[str, bytes, Limits]:
    """Return the name and the bytes of a file of limits, and what it states."""
    from parambak.swap.limits import load_limits  # noqa: PLC0415 - the same

    data = read_given(path, TEXT_BYTES).data
    with in_file(path):
        return PurePath(path).name, data, load_limits(data)


def terms_of(
    accept: Iterable[str], memory_size: int | None = None, profile: Profile | None = None
) -> Terms:
    """Return the terms on which dumps are read; refuse an allowance that does not exist."""
    from parambak.dumps.dump import ALLOWANCES, Terms  # noqa: PLC0415 - only where a dump is read

    for name in accept:
        if name not in ALLOWANCES:
            raise faults.ACCEPT_NAME.error(expected=", ".join(sorted(ALLOWANCES)), found=repr(name))
    return Terms(
        accepted=frozenset(accept),
        memory_size=memory_size,
        base=profile.base if profile else 0,
        left_out=profile.left_out if profile else None,
    )


def profile_file(path: str) -> ProfileFile:
    """Return a reader profile and its bytes."""
    from parambak.dumps.profile import load_profile  # noqa: PLC0415 - the same
    from parambak.keeping.recording.received import ProfileFile  # noqa: PLC0415 - the same

    data = read_given(path, TEXT_BYTES).data
    with in_file(path):
        return ProfileFile(PurePath(path).name, data, load_profile(data))


class Taking(NamedTuple):
    """How the dumps of one command are read.

    `size` is that of the whole memory in bytes, None if it is not recorded;
    `pair` is how two chips hold it, None for one chip.
    """

    format_name: str | None = None
    accept: tuple[str, ...] = ()
    size: int | None = None
    profile: Profile | None = None
    pair: PairScheme | None = None


def reads_of(paths: Sequence[str], taking: Taking) -> list[Incoming]:
    """Return the reads in files; with a pair, two files are one read."""
    if taking.pair is None:
        return [_on_chip(read, taking) for read in _all(paths, taking, taking.size)]
    if len(paths) % 2:
        raise faults.PAIR_COUNT.error(
            expected="an even number of dumps", found=counted(len(paths), "dump")
        )
    halved = taking.size is not None and taking.pair != "duplicate"
    size = taking.size // 2 if halved and taking.size is not None else taking.size
    dumps = _all(paths, taking, size)
    return [
        _joined(first, second, taking, size)
        for first, second in zip(dumps[0::2], dumps[1::2], strict=True)
    ]


def _all(paths: Sequence[str], taking: Taking, size: int | None) -> list[Incoming]:
    """Return every dump as received; raise if any is refused, and name each that is."""
    terms = terms_of(taking.accept, size, taking.profile)
    taken, refused = [], []
    for path in paths:
        try:
            taken.append(incoming(path, taking.format_name, terms, taking.profile))
        except ParambakError as error:
            refused.append(error)
    if len(refused) == 1:
        raise refused[0]
    if refused:
        raise faults.DUMPS_REFUSED.error(
            number=len(refused),
            expected="dumps that can be read",
            found="; ".join(_in_words(error) for error in refused[:MOST_REFUSED]),
        )
    refuse_unused(terms.accepted, [read.dump for read in taken])
    return taken


def _in_words(error: ParambakError) -> str:
    """Return a refusal in a line: the file, the line in it, what is wrong, and the code."""
    line = f", line {error.line}" if error.line is not None else ""
    return f"{error.file}{line}: {error.text} ({error.code})"


def _on_chip(read: Incoming, taking: Taking) -> Incoming:
    """Return the read with its image as it is on the chip, by the reader's profile."""
    if taking.profile is None:
        return read
    from msgspec.structs import replace  # noqa: PLC0415 - only with a profile

    from parambak.dumps.profile import as_on_chip  # noqa: PLC0415 - the same
    from parambak.keeping.state.bodies import FindingEntry  # noqa: PLC0415 - the same

    image, notes = as_on_chip(read.dump.image, taking.profile, taking.size)
    entries = tuple(FindingEntry(code=note.code, text=note.text) for note in notes)
    entry = replace(read.entry, findings=(*read.entry.findings, *entries))
    return replace(read, on_chip=image, entry=entry)


def _joined(first: Incoming, second: Incoming, taking: Taking, size: int | None) -> Incoming:
    from msgspec.structs import replace  # noqa: PLC0415 - only for a pair

    from parambak.reads.pairs import join  # noqa: PLC0415 - the same

    halves = [_on_chip(half, taking._replace(size=size)) for half in (first, second)]
    pair: PairScheme = taking.pair or "duplicate"
    with in_file(f"{first.entry.name} and {second.entry.name}"):
        image = join(halves[0].image, halves[1].image, pair, chip=size)
    return replace(halves[0], on_chip=image, second=halves[1])
