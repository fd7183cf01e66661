"""Opening the vault, and what commands take from it by the names a user types."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from parambak.cli import faults
from parambak.cli.parts import files_in
from parambak.keeping.assess import Assessor
from parambak.keeping.state import select
from parambak.keeping.state.fold import fleet
from parambak.memory.names import nearest
from parambak.vault.vault import Vault

if TYPE_CHECKING:
    from parambak.cli.settings import Settings
    from parambak.keeping.chips import Chip
    from parambak.keeping.state.model import Copy, Fleet, Position
    from parambak.layouts.model import Layout
    from parambak.memory.image import Image


def open_vault(settings: Settings, *, create: bool = False) -> Vault:
    """Return the vault that the settings name; `create` makes it where there is none.

    One that was named is not made where the folder around it is missing too: so looks the path
    of a stick that is not plugged in.
    """
    around = settings.vault_folder.absolute().parent
    if create and settings.vault_named and not around.is_dir():
        raise faults.VAULT_FOLDER.error(
            file=str(settings.vault_folder), expected="a folder", found=f"no {around}"
        )
    vault = Vault.open(
        settings.vault_folder,
        own=settings.own_folder,
        clock=settings.clock,
        create=create,
        cache=settings.cache_folder,
    )
    settings.said.append(lambda: _notes(vault))
    return vault


def _notes(vault: Vault) -> tuple[str, ...]:
    return tuple(finding.text for finding in vault.warnings)


class _ChipTable(Mapping[str, "Chip"]):
    """The shipped chips by name in lower case; read where one is first asked for."""

    def __init__(self) -> None:
        self._read: Mapping[str, Chip] | None = None

    def _chips(self) -> Mapping[str, Chip]:
        from parambak.keeping.chips import chips  # noqa: PLC0415 - most calls name no chip

        if self._read is None:
            self._read = chips(files_in.shipped("chips.toml"))
        return self._read

    def __getitem__(self, name: str) -> Chip:
        return self._chips()[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._chips())

    def __len__(self) -> int:
        return len(self._chips())


@cache
def chip_table() -> Mapping[str, Chip]:
    """Return the shipped table of memory chips, by name in lower case."""
    return _ChipTable()


def chip_named(table: Mapping[str, Chip], name: str) -> Chip:
    """Return the chip of that part number; raise CallRefused with the nearest ones."""
    if name.casefold() not in table:
        raise faults.CHIP_NAME.error(
            expected=" or ".join(table[each].name for each in nearest(name, table))
            or "a part of the table",
            found=repr(name),
            known=", ".join(sorted(chip.name for chip in table.values())),
        )
    return table[name.casefold()]


def warnings_of(vault: Vault) -> tuple[str, ...]:
    """Return what the vault has to say that stops nothing, and that it was made."""
    made = (f"a new vault was made in {vault.root}",) if vault.made else ()
    return (*made, *_notes(vault))


def namesakes(vault: Vault) -> tuple[str, ...]:
    """Return a note for each name that several vessels have, as after a merge of two laptops."""
    by_name: dict[str, list[str]] = {}
    for vessel in fleet(vault).vessels:
        if vessel.handle != vessel.short:
            by_name.setdefault(vessel.short.casefold(), []).append(vessel.handle)
    return tuple(
        f"{len(handles)} vessels have one name: {' and '.join(sorted(handles))}; where they are "
        "one ship, give each its IMO number (`parambak amend … --imo`), and they count as one"
        for handles in by_name.values()
        if len(handles) > 1
    )


@dataclass(frozen=True)
class Given:
    """The bytes that a COPY or a file names, and what is known of them.

    `position`, `copy` and `assessor` are None for a file.
    """

    name: str
    image: Image
    layout: Layout | None = None
    position: Position | None = None
    copy: Copy | None = None
    assessor: Assessor | None = None


def given(settings: Settings, text: str) -> Given:
    """Return what a COPY names; an existing file, or one written with a folder, goes first."""
    return every_given(settings, (text,))[0]


def every_given(settings: Settings, texts: Iterable[str]) -> list[Given]:
    """Return what each COPY names, as `given`; the vault is opened once, where one is in it."""
    opened: list[tuple[Assessor, Fleet]] = []
    return [_given(settings, text, opened) for text in texts]


def _given(settings: Settings, text: str, opened: list[tuple[Assessor, Fleet]]) -> Given:
    if _is_file(text):
        dump = files_in.read_dump_file(text, None, files_in.terms_of(()))
        return Given(Path(text).name, dump.image)
    if not opened:
        vault = open_vault(settings)
        opened.append((Assessor(vault, chip_table()), fleet(vault)))
    assessor, known = opened[0]
    position, copy = select.find_copy(known, text)
    layout = assessor.layout(position.layout) if position.layout else None
    name = select.copy_name(position, copy)
    if copy.reconstructed:
        name += " (RECONSTRUCTED by a vote, never verified by itself)"
    return Given(name, assessor.image(copy.image), layout, position, copy, assessor)


def _is_file(text: str) -> bool:
    dotted = text.startswith(("./", "../", ".\\", "..\\", "/", "~"))
    return dotted or Path(text).exists() or ("@" not in text and "/" not in text)
