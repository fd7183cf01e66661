"""Reading what the user names: dumps, layouts and sheets, each bounded and whole."""

from __future__ import annotations

import os
import stat
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from parambak.cli import faults
from parambak.errors import LayoutRefused
from parambak.memory.counted import counted
from parambak.memory.digests import sha256

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from parambak.dumps.dump import Dump, Terms
    from parambak.dumps.profile import Profile
    from parambak.keeping.recording.received import Incoming, LayoutFile, ProfileFile
    from parambak.reads.pairs import PairScheme
    from parambak.swap.card_sheet import Sheet

DUMP_BYTES = 64 * 1024 * 1024
TEXT_BYTES = 4 * 1024 * 1024


def read_whole(path: str, limit: int) -> tuple[bytes, os.stat_result]:
    """Return a file's bytes and its state; refuse what is absent, no file, too large or moving."""
    try:
        before = os.stat(path)  # noqa: PTH116 - the state is wanted, links followed
    except FileNotFoundError as error:
        raise faults.FILE_ABSENT.error(file=path, expected="a file", found="nothing") from error
    except (OSError, ValueError) as error:
        raise faults.FILE_KIND.error(file=path, expected="a file", found=str(error)) from error
    if not stat.S_ISREG(before.st_mode):
        raise faults.FILE_KIND.error(file=path, expected="a file", found=_kind(before.st_mode))
    if before.st_size > limit:
        raise faults.FILE_SIZE.error(
            file=path, expected=f"at most {limit} bytes", found=f"{before.st_size} bytes"
        )
    try:
        with Path(path).open("rb") as file:
            data = file.read(limit + 1)
            after = os.fstat(file.fileno())
    except OSError as error:
        raise faults.SYSTEM.error(
            file=path, expected="a file that can be read", found=error.strerror or str(error)
        ) from error
    if len(data) != before.st_size or _state(before) != _state(after):
        raise faults.FILE_CHANGED.error(
            file=path, expected=f"{before.st_size} bytes, unchanged", found=f"{len(data)} bytes"
        )
    return data, after


def _state(of: os.stat_result) -> tuple[int, int]:
    return of.st_size, of.st_mtime_ns


def _kind(mode: int) -> str:
    if stat.S_ISDIR(mode):
        return "a folder"
    return "a pipe" if stat.S_ISFIFO(mode) else "a device"


def read_dump_file(path: str, format_name: str | None, terms: Terms) -> Dump:
    """Return the dump that a file holds, by its own name and content."""
    return dump_of(path, read_whole(path, DUMP_BYTES)[0], format_name, terms)


def dump_of(path: str, data: bytes, format_name: str | None, terms: Terms) -> Dump:
    """Return the dump that a file's bytes hold, by its own name and content."""
    from parambak.dumps.registry import read_dump  # noqa: PLC0415 - only where a dump is read
    from parambak.errors import ParambakError  # noqa: PLC0415 - the same

    try:
        return read_dump(Path(path).name, data, format=format_name, terms=terms)
    except ParambakError as error:
        raise error.in_file(path) from error


def incoming(path: str, format_name: str | None, terms: Terms) -> Incoming:
    """Return a dump file ready to be archived, decoded a second time by unrelated code."""
    from parambak.dumps.second_opinion import second_opinion  # noqa: PLC0415 - for archiving only
    from parambak.errors import ParambakError  # noqa: PLC0415 - the same
    from parambak.keeping.recording.received import Incoming  # noqa: PLC0415 - the same
    from parambak.keeping.state.bodies import DumpEntry, FindingEntry  # noqa: PLC0415 - the same

    data, state = read_whole(path, DUMP_BYTES)
    dump = dump_of(path, data, format_name, terms)
    try:
        opinion = second_opinion(data, dump)
    except ParambakError as error:
        raise error.in_file(path) from error
    entry = DumpEntry(
        sha256=sha256(data),
        name=Path(path).name,
        format=dump.format,
        bytes=len(data),
        modified=state.st_mtime_ns,
        path_mark=sha256(str(Path(path).resolve()).encode("utf-8", "surrogateescape")),
        file_mark=sha256(f"{state.st_dev}:{state.st_ino}".encode()) if state.st_ino else None,
        accepted=tuple(sorted(terms.accepted)),
        findings=tuple(FindingEntry(code=f.code, text=f.text) for f in dump.findings),
        opinion=opinion.judge if opinion.agrees else None,
    )
    return Incoming(data, dump, entry)


def layout_file(path: str) -> LayoutFile:
    """Return a layout and the files of its own folder that it includes."""
    from parambak.keeping.recording.received import LayoutFile  # noqa: PLC0415 - only where a layout is given
    from parambak.layouts.load import load  # noqa: PLC0415 - the same

    data = read_whole(path, TEXT_BYTES)[0]
    parts: dict[str, bytes] = {}

    def include(name: str) -> bytes:
        parts[name] = beside(path, name)
        return parts[name]

    try:
        layout = load(data, name=Path(path).name, include=include)
    except LayoutRefused as error:
        raise error.in_file(path) from error
    return LayoutFile(Path(path).name, data, layout, parts)


def beside(path: str, name: str) -> bytes:
    """Return a file in the same folder as `path`; refuse one that leaves it."""
    folder = Path(path).resolve().parent
    wanted = (folder / name).resolve()
    if not wanted.is_relative_to(folder):
        raise faults.FILE_ABSENT.error(
            file=name, expected="a file in the layout's folder", found="a path that leaves it"
        )
    return read_whole(str(wanted), TEXT_BYTES)[0]


def sheet_file(path: str) -> tuple[bytes, Sheet]:
    """Return a card sheet's bytes, and what it states."""
    from parambak.swap.card_sheet import read_sheet  # noqa: PLC0415 - only where a sheet is given

    data = read_whole(path, TEXT_BYTES)[0]
    return data, read_sheet(data, path)


def shipped(name: str) -> bytes:
    """Return a file of `shared/`, from inside the wheel or from the checkout."""
    import parambak  # noqa: PLC0415 - its own place on disk is asked

    package = Path(parambak.__file__).parent
    for folder in (package / "shared", package.parent / "shared"):
        if (folder / name).is_file():
            return (folder / name).read_bytes()
    raise faults.SHIPPED.error(expected=f"shared/{name} in the installation", found="nothing")


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
    from parambak.errors import ParambakError  # noqa: PLC0415 - only where a profile is given
    from parambak.keeping.recording.received import ProfileFile  # noqa: PLC0415 - the same

    data = read_whole(path, TEXT_BYTES)[0]
    try:
        return ProfileFile(Path(path).name, data, load_profile(data))
    except ParambakError as error:
        raise error.in_file(path) from error


class Taking(NamedTuple):
    """How the dumps of one command are to be taken.

    `size` is that of the whole memory in bytes, None where it is not known;
    `pair` says how two chips hold it, None where one does.
    """

    format_name: str | None = None
    accept: tuple[str, ...] = ()
    size: int | None = None
    profile: Profile | None = None
    pair: PairScheme | None = None


def reads_of(paths: Sequence[str], taking: Taking) -> list[Incoming]:
    """Return the reads that files are, each two of them one read where a pair is taken."""
    if taking.pair is None:
        return [_on_chip(_one(path, taking, taking.size), taking) for path in paths]
    if len(paths) % 2:
        raise faults.PAIR_COUNT.error(
            expected="dumps two by two", found=counted(len(paths), "dump")
        )
    halved = taking.size is not None and taking.pair != "duplicate"
    size = taking.size // 2 if halved and taking.size is not None else taking.size
    dumps = [_one(path, taking, size) for path in paths]
    return [
        _joined(first, second, taking, size)
        for first, second in zip(dumps[0::2], dumps[1::2], strict=True)
    ]


def _one(path: str, taking: Taking, size: int | None) -> Incoming:
    profile = taking.profile
    named = taking.format_name or (profile.format if profile else None)
    return incoming(path, named, terms_of(taking.accept, size, profile))


def _on_chip(read: Incoming, taking: Taking) -> Incoming:
    """Return the read with its image as it stands on the chip, by the reader's profile."""
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

    from parambak.errors import ParambakError  # noqa: PLC0415 - the same
    from parambak.reads.pairs import join  # noqa: PLC0415 - the same

    halves = [_on_chip(each, taking._replace(size=size)) for each in (first, second)]
    pair: PairScheme = taking.pair or "duplicate"
    try:
        image = join(halves[0].image, halves[1].image, pair, chip=size)
    except ParambakError as error:
        raise error.in_file(f"{first.entry.name} and {second.entry.name}") from error
    return replace(halves[0], on_chip=image, second=halves[1])
