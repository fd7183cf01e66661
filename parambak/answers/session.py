"""The session of a question: the vault, the clock, and where progress is shown.

A session is one call of a command, or one `open_vault` of the Python API. Nothing in it
reads the environment or the clock by itself: both are passed in.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from functools import cache, cached_property
from typing import TYPE_CHECKING, Protocol

from parambak.answers import faults
from parambak.errors import ParambakError
from parambak.vault.files.given import folder_around, shipped

if TYPE_CHECKING:
    from collections.abc import Callable
    from contextlib import AbstractContextManager
    from datetime import datetime

    from parambak.keeping.assess import Assessor
    from parambak.keeping.chips import Chip, ChipTable
    from parambak.keeping.part_numbers import StatedChip
    from parambak.keeping.state.model import Fleet
    from parambak.vault.files.given import Folder
    from parambak.vault.vault import Vault

    Progress = Callable[[int, int], None]

FIRST_DAY = "1970-01-01"
MOST_LOST = 2  # notes on lost records next to an answer; of more, the first one alone


class Folders(Protocol):
    """Where the vault and the user's own folder are; each worked out at first use."""

    @property
    def vault_named(self) -> str | None:
        """Return the vault's folder as a person named it; None for the default."""

    @property
    def vault_folder(self) -> Folder:
        """Return the vault's folder."""

    @property
    def own_folder(self) -> Folder:
        """Return the user's own folder, which is never in the vault."""

    @property
    def cache_folder(self) -> Folder:
        """Return the folder for the indexes of vaults on sticks and shares."""

    @property
    def ssh_folder(self) -> Folder:
        """Return the folder of the user's own keys and known hosts for SSH."""


@contextmanager
def no_progress(doing: str) -> Iterator[Progress]:
    """Give a function that takes progress and shows nothing."""
    del doing
    yield lambda _done, _total: None


class Session:
    """The vault of one call, what is worked out from it once, and the notes on its answer.

    `clock` gives the local time with its offset. `progress` names the work and gives a
    function that is called with how many are done and how many there are.
    """

    def __init__(
        self,
        folders: Folders,
        clock: Callable[[], datetime],
        progress: Callable[[str], AbstractContextManager[Progress]] = no_progress,
    ) -> None:
        self.folders = folders
        self.clock = clock
        self.progress = progress
        self.chips = chip_table()
        self.answered: set[str] = set()  # notes of the vault that the answer itself has
        self._vault: Vault | None = None
        self._notes: list[str] = []

    @property
    def vault(self) -> Vault:
        """Return the vault, opened at first use; raise VaultRefused or NotFound."""
        return self._vault or self.open()

    def open(self, *, create: bool = False) -> Vault:
        """Open the vault; `create` makes one if there is none.

        A vault that was named is not made if the folder around it is missing too: that is the
        path of a stick that is not plugged in.
        """
        from parambak.vault.vault import Vault  # noqa: PLC0415 - some questions need none

        folder = self.folders.vault_folder
        around = folder_around(folder)
        if create and self.folders.vault_named and around is not None:
            raise faults.VAULT_FOLDER.error(
                file=str(folder), expected="a folder", found=f"no {around}"
            )
        self._vault = Vault.open(
            folder,
            own=self.folders.own_folder,
            clock=self.clock,
            create=create,
            cache=self.folders.cache_folder,
        )
        return self._vault

    def begin(self) -> None:
        """Begin another question: what it puts on record is a command of its own."""
        if self._vault is not None:
            self._vault.begin_command()

    def take(self, vault: Vault) -> None:
        """Make a vault that the question made the vault of this call."""
        self._vault = vault

    def fleet(self) -> Fleet:
        """Return the state of the records; ask again after something is put on record."""
        from parambak.keeping.state.fold import fleet  # noqa: PLC0415 - some questions need none

        return fleet(self.vault)

    @cached_property
    def assessor(self) -> Assessor:
        """Return what works out whether copies are verified."""
        from parambak.keeping.assess import Assessor  # noqa: PLC0415 - some questions need none

        return Assessor(self.vault, self.chips)

    def chip(self, printed: str) -> Chip:
        """Return the chip on which that number is printed; note what it was taken as.

        Raise CallRefused if the table does not have it.
        """
        from parambak.keeping.part_numbers import read_marking  # noqa: PLC0415 - where one is typed

        marking = read_marking(printed, self.chips.table)
        if not marking.exact:
            self.note(marking.words)
        return marking.chip

    def stated_chip(self, printed: str | None, size: int | None) -> StatedChip:
        """Return the chip that a person states; note what its number was taken as."""
        from parambak.keeping.part_numbers import stated_chip  # noqa: PLC0415 - where one is typed

        chip = stated_chip(printed, size, self.chips.table)
        if chip.words is not None:
            self.note(chip.words)
        return chip

    def past_moment(self, text: str) -> tuple[str, str | None]:
        """Return a day and the hour with it, if there is one; neither may be in the future."""
        from parambak.keeping.recording.texts import check_moment  # noqa: PLC0415 - where one is typed

        day, hour = check_moment(text)
        now = self.clock()
        self.past_day(day)
        if hour is not None and f"{day}T{hour}" > now.strftime("%Y-%m-%dT%H:%M"):
            expected = f"an hour until {now:%H:%M}"
            raise faults.DAY_TO_COME.error(expected=expected, found=f"{day} {hour}")
        return day, hour

    def past_day(self, text: str) -> str:
        """Return a day that is not in the future; raise CallRefused for another."""
        from parambak.keeping.recording.texts import check_date  # noqa: PLC0415 - where one is typed

        day, today = check_date(text), self.clock().date()
        if not FIRST_DAY <= day <= today.isoformat():
            raise faults.DAY_TO_COME.error(expected=f"a day from {FIRST_DAY} to {today}", found=day)
        return day

    def note(self, *texts: str) -> None:
        """Keep notes to show with the answer; they stop nothing."""
        self._notes += texts

    def vault_notes(self) -> tuple[str, ...]:
        """Return the vault's notes, which go with any answer, an error too."""
        vault = self._vault
        warnings = vault.warnings if vault is not None else ()
        findings = [finding for finding in warnings if finding.text not in self.answered]
        if vault is None or not findings:
            return ()
        from parambak.keeping.state.lost_records import accepted_anywhere  # noqa: PLC0415 - rare
        from parambak.vault.faults import LOSSES  # noqa: PLC0415 - the same

        try:
            accepted = accepted_anywhere(vault)
        except ParambakError:  # the notes of an error: if nothing can be read, show every loss
            accepted = frozenset()
        lost, texts = [], []
        for finding in findings:
            if finding.code not in LOSSES:
                texts.append(finding.text)
            elif not any(digest in finding.text for digest in accepted):
                lost.append(finding.text)
        if len(lost) > MOST_LOST:
            lost = [f"{lost[0]} {len(lost) - 1} more are lost; `parambak recheck` lists them."]
        return (*lost, *texts)

    def notes(self) -> tuple[str, ...]:
        """Return all notes on the answer, each once."""
        vault = self._vault
        made = (f"a new vault was made in {vault.root}",) if vault and vault.made else ()
        return tuple(dict.fromkeys((*made, *self.vault_notes(), *self._notes)))


class ShippedChips(Mapping[str, "Chip"]):
    """The shipped chips by name in lower case; read at first use."""

    @cached_property
    def table(self) -> ChipTable:
        """Return the table itself."""
        from parambak.keeping.chips import chips  # noqa: PLC0415 - most calls name no chip

        return chips(shipped("chips.toml"))

    def __getitem__(self, name: str) -> Chip:
        return self.table[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self.table)

    def __len__(self) -> int:
        return len(self.table)


def organisations(printed: str) -> tuple[str, ...]:
    """Return the two parts that a printed number may be, by bytes and by words; else none."""
    from parambak.keeping.part_numbers import organisations_of  # noqa: PLC0415 - where one is typed

    return organisations_of(printed, chip_table().table)


@cache
def chip_table() -> ShippedChips:
    """Return the shipped table of memory chips, by name in lower case."""
    return ShippedChips()
