"""`demo`: an invented scenario, run for real in a folder of its own."""

from __future__ import annotations

import io
import os
import shlex
import sys
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from parambak.cli import faults
from parambak.cli.command import command as parambak_command
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.demo.scenario import scenario
from parambak.demo.steps import Call, File
from parambak.vault.files.given import shipped

if TYPE_CHECKING:
    from parambak.cli.screen import Screen

LAYOUTS = ("thruster.toml", "towing-winch.toml")
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
    layouts = {name: shipped(f"layouts/{name}") for name in LAYOUTS}
    if not settings.json:
        click.echo(f"An invented scenario, run for real in the folder {folder}.\n")
    steps = []
    before = Path.cwd()
    os.chdir(place)
    try:
        for step in scenario(layouts, shipped("limits/thruster.toml")):
            if isinstance(step, File):
                _write(step)
            else:
                steps.append(_run(step, quiet=settings.json))
    finally:
        os.chdir(before)
    told = [step for step in steps if step["exit_code"] != step["expected"]]
    return Answer(
        {"folder": folder, "vault": str(Path(folder) / "vault"), "steps": steps},
        lambda screen: _page(screen, folder, as_told=not told),
        exit_code=1 if told else 0,
    )


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


def _run(call: Call, *, quiet: bool) -> dict[str, Any]:
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
    return {
        "why": call.why,
        "command": typed,
        "exit_code": code,
        "expected": call.exit_code,
        "output": kept.getvalue() if quiet else None,
    }


def _page(screen: Screen, folder: str, *, as_told: bool) -> None:
    if as_told:
        screen.good("The demo is done; every step answered as it should.")
    else:
        screen.bad("The demo did not go as it should: see the exit codes above.")
    screen.say(f"Go on with its vault: cd {folder}, then parambak --vault vault catalogue")
