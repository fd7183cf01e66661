"""A ship leaves the vault: packed whole, put on record, then removed.

formats/vault.md, "A vessel leaves": what each interruption leaves, and how it goes on.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from parambak.errors import CallRefused, Fault, VaultDamaged, VaultRefused
from parambak.keeping.recording.texts import NAME, REMARK, check_texts, kept_name
from parambak.keeping.state import select
from parambak.keeping.state.bodies import VesselLeftBody, body_of
from parambak.keeping.state.fold import fleet
from parambak.vault import objects
from parambak.vault.faults import RECORD_SKIPPED
from parambak.vault.leaving import LEFT, left, named_elsewhere, present, read_list, write_list

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from parambak.vault.packs.reading import PackFile, WrittenPack
    from parambak.vault.vault import Stored, Vault, Writing

    Progress = Callable[[int, int], None]

UNSOUND = Fault(
    "leave-damaged-record",
    VaultDamaged,
    "a record of this vault is damaged, so nobody knows whether it is about this vessel",
    "Run `parambak recheck`, and mend it from another copy of the vault; then call this again.",
)
OTHER_PACK = Fault(
    "leave-other-pack",
    CallRefused,
    "the vessel left into another pack, and part of its files is removed already",
    "Give --out the pack {pack} of SHA-256 {sha256}, wherever it is now.",
)
GROWN = Fault(
    "leave-in-no-pack",
    VaultRefused,
    "the vessel left, and there is something of it here that is in no pack",
    "Bring it back with `parambak unpack {pack} --bring-back`, then let it leave into a new pack.",
)


class Leaving(NamedTuple):
    """What is to leave: its handle and short name, all identities, how many records are here.

    `begun` is the record of a leaving that was broken off, or None.
    """

    handle: str
    short: str
    ids: frozenset[str]
    records: int
    begun: Stored | None


class Gone(NamedTuple):
    """What left: the pack's SHA-256, what is in it, and how many files were removed now.

    `kept` counts objects that stay, since something else in the vault needs them too.
    """

    pack_sha256: str
    records: int
    objects: int
    removed: int
    kept: int


def find_leaving(vault: Vault, name: str) -> Leaving:
    """Return what a name means here: a ship, or one whose leaving was broken off.

    Raises NotFound or CallRefused as `select.find_vessel` does.
    """
    gone = left(vault)
    known = fleet(vault)
    found = select.vessels_named(known, name)
    begun = _begun(gone, name)
    if not found and begun is not None:
        body = _body(begun)
        here = sum(len(vault.records(each)) for each in body.vessels)
        return Leaving(name, body.name, frozenset(body.vessels), here, begun)
    ship = select.find_vessel(known, name)
    marks = {each: gone[each] for each in ship.ids if each in gone}
    here = sum(len(vault.records(each)) for each in ship.ids)
    whole = marks if marks.keys() == ship.ids else {}  # else an identity came in since
    return Leaving(ship.handle, ship.short, ship.ids, here, next(iter(whole.values()), None))


def _begun(gone: dict[str, Stored], name: str) -> Stored | None:
    """Return the newest leaving of a ship of that name, of which no record is left."""
    found = None
    for stored in gone.values():
        if str(stored.record.body.get("name")).casefold() == name.casefold():
            found = stored
    return found


def leave(  # noqa: PLR0913 - what a leaving puts on record
    vault: Vault,
    leaving: Leaving,
    file: PackFile,
    progress: Progress,
    *,
    why: str,
    by: str | None = None,
) -> Gone:
    """Pack a ship into a new file, put its leaving on record, and remove it; or go on with that.

    Raises what `PackFile.write` does, VaultDamaged where the ship cannot be packed whole, and
    `leave-…` where something would be removed that is in no pack. Until the record is
    written, nothing is removed.
    """
    check_texts([("reason", why, REMARK), ("name of the person", by, NAME)])
    with vault.writing() as writing:
        _refuse_unknown(vault)
        if leaving.begun is not None:
            return _go_on(vault, writing, leaving.begun, file, progress)
        names = dict.fromkeys(sorted(leaving.ids), leaving.short)
        # Broken off before it was on record, the same pack may stand already.
        written = file.the_same(vault, names, progress) or file.write(vault, names, progress)
        files = _in_order(vault, sorted(leaving.ids), written)
        listed = writing.put(write_list(files))
        body = VesselLeftBody(
            vault=vault.identity,
            vessels=tuple(names),
            name=leaving.short,
            pack=kept_name(file.name),
            pack_sha256=written.sha256,
            records=written.packed.records,
            objects=written.packed.objects,
            listed=listed,
            why=why,
        )
        mark = writing.person(by, None) if by else None
        writing.add(LEFT, None, body.members(), by=mark, relies_on=[listed])
        return _remove(vault, writing, body, files, progress)


def _refuse_unknown(vault: Vault) -> None:
    """Raise where a damaged record may be the ship's, or need an object that would go."""
    for finding in vault.warnings:
        if finding.code == RECORD_SKIPPED:
            raise UNSOUND.error(found=finding.text)


def _in_order(vault: Vault, ids: Sequence[str], written: WrittenPack) -> list[str]:
    """Return the files to remove: records from the newest to the first, then objects."""
    newest_first = [stored.file for each in ids for stored in reversed(vault.records(each))]
    of_objects = [name for name in written.packed.files if name.startswith(objects.FOLDER)]
    return [*newest_first, *of_objects]


def _remove(
    vault: Vault, writing: Writing, body: VesselLeftBody, files: Sequence[str], progress: Progress
) -> Gone:
    there = present(vault, files)
    staying = named_elsewhere(vault, frozenset(body.vessels), there)
    going = [name for name in there if name not in staying]
    writing.remove(going, progress)
    return Gone(body.pack_sha256, body.records, body.objects, len(going), len(staying))


def _go_on(
    vault: Vault, writing: Writing, begun: Stored, file: PackFile, progress: Progress
) -> Gone:
    """Remove what is left of a ship that left, once its pack was seen to be whole."""
    body = _body(begun)
    files = read_list(vault.root, begun)
    listed = set(files)
    for each in body.vessels:
        for stored in vault.records(each):
            unlisted = (
                [stored.file]
                if stored.file not in listed
                else [
                    name
                    for name in map(objects.file_of, stored.record.objects)
                    if name not in listed
                ]
            )
            if unlisted:
                raise GROWN.error(file=str(vault.root / unlisted[0]), pack=body.pack)
    _see_pack(vault, body, files, file, progress)
    return _remove(vault, writing, body, files, progress)


def _see_pack(
    vault: Vault, body: VesselLeftBody, files: Sequence[str], file: PackFile, progress: Progress
) -> None:
    """Hold the pack against the list; where all is still here, another may be written."""
    names = dict.fromkeys(body.vessels, body.name)
    if not file.stands() and len(present(vault, files)) == len(files):
        file.write(vault, names, progress)
    with file.opened() as pack:
        damaged = pack.check(progress)
        packed = {piece.file for piece in pack.pieces()}
    lacking = sorted(set(files) - packed)
    if damaged or lacking:
        raise OTHER_PACK.error(
            file=str(file),
            expected=lacking[0] if lacking else damaged[0].file,
            found=damaged[0].text if damaged else "a pack without it",
            pack=body.pack,
            sha256=body.pack_sha256,
        )


def _body(stored: Stored) -> VesselLeftBody:
    return body_of(stored.record, stored.digest, VesselLeftBody)
