"""What every command has: `--json` and `--vault` after its name too, and one real example."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Any

import click

from parambak.cli.settings import Settings

if TYPE_CHECKING:
    from collections.abc import Callable

COLUMNS = 80
FORMATS = ["intel-hex", "s-record", "raw"]
FORMAT_HELP = "Take the dump as this; else its name and content say."


def command(
    name: str, *, example: str, vault: bool = True
) -> Callable[[Callable[..., Any]], click.Command]:
    """Return the decorator of a command; `example` is one call as a user types it."""

    def decorate(function: Callable[..., Any]) -> click.Command:
        shown = textwrap.fill(
            example,
            COLUMNS - 4,
            initial_indent="  ",
            subsequent_indent="      ",
            break_on_hyphens=False,
        )
        made = click.command(name, epilog=f"Example:\n\n\b\n{shown}")(function)
        made.params += [_json_option(), *([_vault_option()] if vault else [])]
        return made

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
