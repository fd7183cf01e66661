"""The options by which a condition of a swap is accepted unmet: the same in every command."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from collections.abc import Callable

REASON_HELP = "With --accept: why."
BY_HELP = "With --accept: who accepts it."


def accept_options(
    *, by: str | None = BY_HELP, reason: str = REASON_HELP
) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Return the decorator that adds --accept, --by and --reason; `by` None leaves --by out."""

    def decorate(function: Callable[..., Any]) -> Callable[..., Any]:
        options = [
            click.option(
                "--accept",
                metavar="CONDITION",
                multiple=True,
                help="Accept this condition although it is not met. Needs --by and --reason.",
            ),
            *([click.option("--by", metavar="PERSON", help=by)] if by is not None else []),
            click.option("--reason", metavar="TEXT", help=reason),
        ]
        for option in reversed(options):
            function = option(function)
        return function

    return decorate
