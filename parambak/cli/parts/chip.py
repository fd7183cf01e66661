"""The option for the number printed on a chip; a terminal is asked what the number leaves open."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Any, TypeVar

import click

from parambak.answers.session import organisations
from parambak.cli.settings import Settings

if TYPE_CHECKING:
    from collections.abc import Callable

FC = TypeVar("FC", bound="Callable[..., Any]")
CHIP_HELP = "The number printed on the chip, such as AT28C16-15."


def chip_option(function: FC) -> FC:
    """Give a command the option --chip."""
    return click.option("--chip", metavar="PART", callback=with_organisation, help=CHIP_HELP)(
        function
    )


def with_organisation(
    context: click.Context, parameter: click.Parameter, printed: str | None
) -> str | None:
    """Return the number, at a terminal with the width of its words if it leaves that open."""
    del parameter
    settings = context.find_object(Settings)
    if printed is None or settings is None or settings.json or not sys.stdin.isatty():
        return printed
    names = organisations(printed)
    if not names:
        return printed
    click.echo(f"{printed}: {names[0]} has words of 8 bits, {names[1]} of 16 bits.", err=True)
    chosen = click.Choice(names, case_sensitive=False)
    return str(click.prompt("  Which one is it?", type=chosen, err=True))
