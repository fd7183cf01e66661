"""What the environment and the first options settle for every command."""

from __future__ import annotations

import os
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property, partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from collections.abc import Callable

    from parambak.answers.session import Session
    from parambak.cli.screen import Screen

VAULT_VARIABLE = "PARAMBAK_VAULT"
OWN_VARIABLE = "PARAMBAK_OWN"


if TYPE_CHECKING:
    from parambak.answers.forms import Answer as Answered
    from parambak.answers.forms import Question

Q = TypeVar("Q", bound="Question[Any]")
A = TypeVar("A", bound="Answered")


@dataclass
class Settings:
    """The folders of the vault and of the user as named, and whether to answer in JSON."""

    json: bool = False
    vault: str | None = None
    own: str | None = None

    @property
    def vault_named(self) -> str | None:
        """Return the vault's folder as it was named: --vault, else PARAMBAK_VAULT; or None."""
        return self.vault or os.environ.get(VAULT_VARIABLE) or None

    @property
    def vault_folder(self) -> Path:
        """Return the vault: the one that was named, else one in the user's documents."""
        if self.vault_named:
            return Path(self.vault_named)
        import platformdirs  # noqa: PLC0415 - asked only if no folder is named

        return platformdirs.user_documents_path() / "parambak-vault"

    @property
    def own_folder(self) -> Path:
        """Return the user's own folder, which is never in the vault."""
        named = self.own or os.environ.get(OWN_VARIABLE)
        if named:
            return Path(named)
        import platformdirs  # noqa: PLC0415 - asked only if no folder is named

        return platformdirs.user_data_path("parambak", appauthor=False)

    @property
    def cache_folder(self) -> Path:
        """Return the folder for the indexes of vaults on sticks and shares."""
        named = self.own or os.environ.get(OWN_VARIABLE)
        if named:
            return Path(named) / "cache"
        import platformdirs  # noqa: PLC0415 - asked only if no folder is named

        return platformdirs.user_cache_path("parambak", appauthor=False)

    @property
    def ssh_folder(self) -> Path:
        """Return the folder of the user's own keys and known hosts for SSH."""
        return Path.home() / ".ssh"

    @cached_property
    def session(self) -> Session:
        """Return what every question of this call is asked with."""
        from parambak.answers.session import Session  # noqa: PLC0415 - some calls ask nothing
        from parambak.cli.progress import Progress  # noqa: PLC0415 - the same

        return Session(self, self.clock, lambda doing: Progress(quiet=self.json, doing=doing))

    def ask(
        self,
        answer: Callable[[Session, Q], A],
        question: Q,
        page: Callable[[Screen, A], None],
    ) -> Answer:
        """Answer a question; return the answer for scripts, and the page that is made of it."""
        answered = answer(self.session, question)
        return Answer(
            lambda: members(answered),
            lambda screen: page(screen, answered),
            exit_code=answered.exit_code,
            warnings=self.session.notes(),
        )

    def notes(self) -> tuple[str, ...]:
        """Return the notes of the opened vault that go with any answer."""
        return self.session.vault_notes() if "session" in self.__dict__ else ()

    @staticmethod
    def clock() -> datetime:
        """Return the laptop's time with its offset."""
        return datetime.now().astimezone()


@dataclass(frozen=True)
class Answer:
    """What a command answers: a document for scripts, a page for people, an exit code.

    Of document and page the one that is asked for is made.
    """

    document: Callable[[], dict[str, Any]]
    page: Callable[[Screen], None]
    exit_code: int = 0
    warnings: tuple[str, ...] = field(default=())


pass_settings = click.make_pass_decorator(Settings)


def members(answer: Answered) -> dict[str, Any]:
    """Return an answer's members as plain values, by their keys in JSON.

    A lazy list stays one, to be written in parts; a member that is not set is left out.
    """
    from msgspec import UNSET, to_builtins  # noqa: PLC0415 - not needed for `--version`

    from parambak.answers.forms import LazyList  # noqa: PLC0415 - the same
    from parambak.cli.written import Listed  # noqa: PLC0415 - needed for JSON alone

    plain: dict[str, Any] = {}
    for name, key in zip(answer.__struct_fields__, answer.__struct_encode_fields__, strict=True):
        value = getattr(answer, name)
        if value is UNSET:
            continue
        lazy = isinstance(value, LazyList)
        plain[key] = Listed(partial(map, to_builtins, value)) if lazy else to_builtins(value)
    return plain
