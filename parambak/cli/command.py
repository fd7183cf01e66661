"""What every command has: `--json` and `--vault` after its name too, and one real example."""

from __future__ import annotations

import textwrap
from functools import update_wrapper
from importlib import import_module
from typing import TYPE_CHECKING, Any, TypeVar

import click

from parambak.cli.settings import Answer, Settings, pass_settings

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from parambak.answers.forms import Answer as Answered
    from parambak.answers.forms import Question
    from parambak.cli.screen import Screen

A = TypeVar("A", bound="Answered")

COLUMNS = 80
FORMAT_HELP = "The dump's format. Default: by its name and content."


class LateChoice(click.ParamType[str]):
    """A choice whose words are imported when one is typed or shown, and not before."""

    name = "choice"

    def __init__(self, words: Callable[[], tuple[str, ...]]) -> None:
        self._words = words

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Return the word; refuse any other."""
        return self._choice().convert(value, param, ctx)

    def get_metavar(self, param: click.Parameter, ctx: click.Context) -> str | None:
        """Return the choice as help shows it."""
        return self._choice().get_metavar(param, ctx)

    def get_missing_message(self, param: click.Parameter, ctx: click.Context | None) -> str | None:
        """Return what there is to choose from."""
        return self._choice().get_missing_message(param, ctx)

    def _choice(self) -> click.Choice[str]:
        return click.Choice(self._words())


class FormatName(LateChoice):
    """The name of a dump format: one of those that the registry has."""

    def __init__(self) -> None:
        super().__init__(_formats)


class AddressWidth(LateChoice):
    """The bits of an address: those that any format can write."""

    def __init__(self) -> None:
        super().__init__(_widths)


def _formats() -> tuple[str, ...]:
    from parambak.dumps.registry import FORMATS  # noqa: PLC0415 - if a format is named

    return tuple(FORMATS)


def _widths() -> tuple[str, ...]:
    from parambak.dumps.registry import FORMATS  # noqa: PLC0415 - if a width is named

    return tuple(map(str, sorted({bits for form in FORMATS.values() for bits in form.widths})))


def command(
    name: str, *, example: str, more: Sequence[str] = (), vault: bool = True, **words: str
) -> Callable[[Callable[..., Any]], click.Command]:
    """Return the decorator of a command; `example` is a call as a user types it, `more` are others.

    `words` are put in for their names in braces in the command's docstring.
    """

    def decorate(function: Callable[..., Any]) -> click.Command:
        shown = "\n".join(map(_example, (example, *more)))
        noun = "Example" if not more else "Examples"
        text = (function.__doc__ or "").format(**words) if words else None
        made = click.command(name, help=text, epilog=f"{noun}:\n\n\b\n{shown}")(function)
        made.params += [_json_option(), *([_vault_option()] if vault else [])]
        return made

    return decorate


def _example(text: str) -> str:
    return textwrap.fill(
        text,
        COLUMNS - 4,
        initial_indent="  ",
        subsequent_indent="      ",
        break_on_hyphens=False,
    )


def asks(
    question: type[Question[A]], *, example: str, more: Sequence[str] = (), vault: bool = True
) -> Callable[[Callable[[Screen, A], None]], click.Command]:
    """Return the decorator of a page: a command that asks a question and prints its answer so.

    The command has the name of the question's module, and an option for each of its members.
    The docstring of the page is the help.
    """
    module = question.__module__
    name = module.rpartition(".")[2].replace("_", "-")

    def decorate(page: Callable[[Screen, A], None]) -> click.Command:
        def ask(settings: Settings, /, **options: Any) -> Answer:
            answer = import_module(module).answer
            return settings.ask(answer, question(**options), page)

        made = command(name, example=example, more=more, vault=vault)
        return made(pass_settings(update_wrapper(ask, page)))

    return decorate


def _json_option() -> click.Option:
    return click.Option(
        ["--json"],
        is_flag=True,
        expose_value=False,
        callback=_set_json,
        help="Answer with one JSON document.",
    )


def _vault_option() -> click.Option:
    return click.Option(
        ["--vault"],
        metavar="DIR",
        expose_value=False,
        callback=_set_vault,
        help="The vault's folder.",
    )


def _set_json(ctx: click.Context, _: click.Parameter, value: bool) -> None:  # noqa: FBT001 - click's shape
    if value:
        ctx.ensure_object(Settings).json = True


def _set_vault(ctx: click.Context, _: click.Parameter, value: str | None) -> None:
    if value:
        ctx.ensure_object(Settings).vault = value
