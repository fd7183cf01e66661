"""`demo`: an invented scenario, run for real in a folder of its own."""

from __future__ import annotations

import io
import os
import shlex
import sys
from contextlib import redirect_stderr, redirect_stdout
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from parambak.answers.demo import DemoQuestion, StepShown, answer
from parambak.cli import faults
from parambak.cli.command import command as parambak_command
from parambak.cli.settings import Answer, Settings, pass_settings

if TYPE_CHECKING:
    from parambak.answers.demo import DemoAnswer
    from parambak.cli.screen import Screen
    from parambak.demo.steps import Call, File

FOLDER = "parambak-demo"


@parambak_command("demo", example="parambak demo parambak-demo", vault=False)
@click.argument("folder", metavar="[DIR]", required=False)
@pass_settings
def command(settings: Settings, folder: str | None) -> Answer:
    """Walk an invented scenario through the whole job, in DIR.

    Two sister harbour tugs, two visits, and three swaps: loaded wrongly and
    caught, refused, and done well. Everything is written under DIR, the vault in DIR/vault; without
    DIR in parambak-demo, or parambak-demo-2 where that is there already.
    """
    folder = folder or _free_name()
    place = _empty_folder(folder)
    if not settings.json:
        click.echo(f"An invented scenario, run for real in the folder {folder}.\n")
    walk = partial(answer, write=_write, run=partial(_run, quiet=settings.json))
    before = Path.cwd()
    os.chdir(place)
    try:
        return settings.ask(walk, DemoQuestion(folder=folder), _page)
    finally:
        os.chdir(before)


def _free_name() -> str:
    later = (f"{FOLDER}-{number}" for number in range(2, 1000))
    return next((name for name in (FOLDER, *later) if not Path(name).exists()), FOLDER)


def _empty_folder(folder: str) -> Path:
    place = Path(folder)
    if place.exists() and (not place.is_dir() or any(place.iterdir())):
        raise faults.DEMO_FOLDER.error(
            file=folder, expected="an empty folder, or none", found="something is there"
        )
    place.mkdir(parents=True, exist_ok=True)
    return place


def _write(file: File) -> None:
    path = Path(file.name)
    path.write_bytes(file.data)
    os.utime(path, (file.modified, file.modified))


def _run(call: Call, *, quiet: bool) -> StepShown:
    """Run one command as a user would, its output shown, or kept where it is not."""
    from parambak.cli.main import answered  # noqa: PLC0415 - the root imports this module

    words = ["--vault", "vault", *call.words]
    typed = f"parambak {shlex.join(words)}"
    kept = io.StringIO()
    if quiet:
        with redirect_stdout(kept), redirect_stderr(kept):
            code = answered(words, Settings(own="own"))
    else:
        click.echo(f"# {call.why}\n$ {typed}")
        with redirect_stderr(sys.stdout):
            code = answered(words, Settings(own="own"))
        click.echo(f"(exit code {code})\n")
    output = kept.getvalue() if quiet else None
    return StepShown(call.why, typed, code, call.exit_code, output)


def _page(screen: Screen, demo: DemoAnswer) -> None:
    if not demo.exit_code:
        screen.good("The demo is done; every step answered as it should.")
    else:
        screen.bad("The demo did not go as it should: see the exit codes above.")
    screen.say(f"Go on with its vault: cd {demo.folder}, then parambak --vault vault catalogue")
