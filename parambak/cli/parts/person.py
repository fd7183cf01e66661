"""Who does it: asked for once on a terminal, if no name is given and none is remembered."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from parambak.cli.settings import Settings


def asked_for(settings: Settings, by: str | None, vessel: str | None) -> str | None:
    """Return the name given, else the one that a person at a terminal types; else None.

    What is typed is remembered. `vessel` is that of the command, whose open visit may name one.
    """
    if by or settings.json or not sys.stdin.isatty():
        return by
    from parambak.answers.persons import person_missing, remember_person  # noqa: PLC0415 - on a terminal only

    if not person_missing(settings.session, vessel):
        return None
    typed = click.prompt("Your name", default="", show_default=False, err=True).strip()
    if not typed:
        click.echo("No name is recorded. --by names the person.", err=True)
        return None
    file = remember_person(settings.session, typed)
    click.echo(f"Remembered in {file}. --by names another person.", err=True)
    return str(typed)
