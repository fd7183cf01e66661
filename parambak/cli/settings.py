"""What the environment and the first options settle for every command."""

from __future__ import annotations

import os
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from collections.abc import Callable

    from parambak.cli.screen import Screen

VAULT_VARIABLE = "PARAMBAK_VAULT"
OWN_VARIABLE = "PARAMBAK_OWN"
FIRST_DAY = "1970-01-01"


@dataclass
class Settings:
    """The folders of the vault and of the user as named, and whether to answer in JSON."""

    json: bool = False
    vault: str | None = None
    own: str | None = None
    said: list[Callable[[], tuple[str, ...]]] = field(default_factory=list)
    told: set[str] = field(default_factory=set)  # notes that the answer itself gives

    @property
    def vault_named(self) -> str | None:
        """Return the vault's folder as it was named: --vault, else PARAMBAK_VAULT; or None."""
        return self.vault or os.environ.get(VAULT_VARIABLE) or None

    @property
    def vault_folder(self) -> Path:
        """Return the vault: the one that was named, else one in the user's documents."""
        if self.vault_named:
            return Path(self.vault_named)
        import platformdirs  # noqa: PLC0415 - asked only where no folder is named

        return platformdirs.user_documents_path() / "parambak-vault"

    @property
    def own_folder(self) -> Path:
        """Return the user's own folder, which is never in the vault."""
        named = self.own or os.environ.get(OWN_VARIABLE)
        if named:
            return Path(named)
        import platformdirs  # noqa: PLC0415 - asked only where no folder is named

        return platformdirs.user_data_path("parambak", appauthor=False)

    @property
    def cache_folder(self) -> Path:
        """Return the folder for the indexes of vaults on sticks and shares."""
        named = self.own or os.environ.get(OWN_VARIABLE)
        if named:
            return Path(named) / "cache"
        import platformdirs  # noqa: PLC0415 - asked only where no folder is named

        return platformdirs.user_cache_path("parambak", appauthor=False)

    def notes(self) -> tuple[str, ...]:
        """Return what the vaults that were opened have to say beside any answer."""
        every = dict.fromkeys(note for said in self.said for note in said())
        return tuple(note for note in every if note not in self.told)

    @staticmethod
    def clock() -> datetime:
        """Return the laptop's time with its offset."""
        return datetime.now().astimezone()


@dataclass(frozen=True)
class Answer:
    """What a command answers: a document for scripts, a page for people, an exit code."""

    document: dict[str, Any]
    page: Callable[[Screen], None]
    exit_code: int = 0
    warnings: tuple[str, ...] = field(default=())


pass_settings = click.make_pass_decorator(Settings)


def past_day(text: str) -> str:
    """Return a day that is not yet to come; raise CallRefused for another."""
    from parambak.cli import faults  # noqa: PLC0415 - only where a day is typed
    from parambak.keeping.recording.texts import check_date  # noqa: PLC0415 - the same

    day, today = check_date(text), Settings.clock().date()
    if not FIRST_DAY <= day <= today.isoformat():
        raise faults.DAY_TO_COME.error(expected=f"a day from {FIRST_DAY} to {today}", found=day)
    return day
