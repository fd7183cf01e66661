"""The root of the command line, and the one place that catches every error.

Commands are imported only when they are called, so that a short answer stays
quick.
"""

from __future__ import annotations

import gc
import os
import sys
from contextlib import suppress
from importlib import import_module
from typing import TYPE_CHECKING, Any, NoReturn

import click

from parambak.cli import faults
from parambak.cli.menu import SECTIONS
from parambak.cli.settings import Answer, Settings
from parambak.errors import ParambakError
from parambak.vault.files.given import SYSTEM
from parambak.version import __version__

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

# The verbs of each group. The module of a command is the file of its name under `commands/`.
GROUPS: dict[str, tuple[str, ...]] = {
    "visit": ("open", "close"),
    "report": ("copy", "visit", "swap"),
    "swap": ("open", "answer", "select", "check", "load-file", "read-back", "close"),
    "card": ("add", "list", "blank", "program", "record", "compare", "cross-over"),
    "rules": ("record",),
    "backup": ("add", "send", "list", "remove"),
    "layout": ("check", "map", "draft", "find", "attach"),
    "unit": ("add",),
    "position": ("add",),
}
COMMANDS = {name: GROUPS.get(name, ()) for lines in SECTIONS.values() for name in lines}
GROUP_HELP = {
    "rules": "Keep the ship's rules: what its owner requires before a swap.",
    "swap": "Replace a processor card, from opening the swap to closing it.",
    "report": "Write pages to print, of a copy, a visit or a swap.",
    "visit": "Open and close an attendance aboard.",
    "backup": "Keep the vault in a second folder, stick or server.",
    "card": "Record processor cards: where each is, what it carries, what its unit requires.",
    "layout": "Write, check, search and attach field layouts: which byte means what.",
    "unit": "Record the units of a vessel.",
    "position": "Record the positions of a unit.",
}
INTERRUPTED = 130
MOST_HELP = 240  # characters of one command in a list of them


class UnknownCommand(click.UsageError):
    """A word that is no command; `intended` are the commands that it may be typed for."""

    def __init__(self, ctx: click.Context, word: str, intended: tuple[str, ...]) -> None:
        super().__init__(f"there is no command `{ctx.command_path} {word[:40]}`", ctx)
        self.intended = intended


class LazyGroup(click.Group):
    """A group whose commands are imported when they are called."""

    def __init__(
        self, verbs: Mapping[str, tuple[str, ...]], folder: str = "", **attrs: Any
    ) -> None:
        super().__init__(**attrs)
        self._verbs, self._folder = verbs, folder

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names in the order of the work."""
        del ctx
        return list(self._verbs)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import the command of that name."""
        del ctx
        if cmd_name not in self._verbs:
            return None
        verbs = self._verbs[cmd_name]
        if verbs:
            of_group = dict.fromkeys(verbs, ())
            return LazyGroup(of_group, cmd_name, name=cmd_name, help=GROUP_HELP[cmd_name])
        folder = f"{self._folder}." if self._folder else ""
        module = import_module(f"parambak.cli.commands.{folder}{cmd_name.replace('-', '_')}")
        command: click.Command = module.command
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Return the command that the first word names; refuse a word that names none."""
        word = args[0]
        if word in self._verbs or word.startswith("-"):
            return super().resolve_command(ctx, args)
        from parambak.cli.intended import intended  # noqa: PLC0415 - for a mistyped word only

        raise UnknownCommand(ctx, word, intended(self._folder, word, self._verbs))

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write what each command does, over two lines rather than cut off."""
        commands = [(name, self.get_command(ctx, name)) for name in self._verbs]
        with formatter.section("Commands"):
            formatter.write_dl(
                [
                    (name, command.get_short_help_str(MOST_HELP))
                    for name, command in commands
                    if command
                ]
            )


class Root(LazyGroup):
    """The root: its commands listed by the work, with the question that each answers."""

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the sections, the lines of all of them in one column."""
        del ctx
        wide = max(map(len, self._verbs))
        for title, lines in SECTIONS.items():
            with formatter.section(title):
                formatter.write_dl([(name.ljust(wide), line) for name, line in lines.items()])


@click.command(
    cls=Root,
    verbs=COMMANDS,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80},
    epilog="Exit codes: 0 yes, same, done; 1 a negative answer; 2 wrong call or file; "
    "3 the vault is damaged; 130 interrupted.",
)
@click.option(
    "--vault",
    metavar="DIR",
    help="The folder of the vault. Default: that in PARAMBAK_VAULT, else parambak-vault in your "
    "documents.",
)
@click.option("--json", "as_json", is_flag=True, help="Answer with one JSON document.")
@click.version_option(__version__, prog_name="parambak", message="%(prog)s %(version)s")
@click.pass_obj
def root(settings: Settings, vault: str | None, as_json: bool) -> None:  # noqa: FBT001 - click passes flags so
    """Keep, verify, decode and compare the parameter memories of control units.

    Parambak never alters a parameter. It compares bytes; it does not show
    that a unit is safe.

    WHERE is VESSEL/UNIT/POSITION, as `parambak catalogue` lists them. The
    help of each command ends with an example.
    """
    settings.vault = vault or settings.vault
    settings.json = settings.json or as_json


def run(arguments: Sequence[str] | None = None) -> NoReturn:
    """Run one command, print its answer, and exit by the contract."""
    # A call is short and holds no cycles worth looking for every 700 objects.
    gc.set_threshold(100_000, 20, 100)
    sys.exit(call(list(sys.argv[1:] if arguments is None else arguments)))


def call(words: list[str]) -> int:
    """Run one command with the words given, print its answer; return its exit code."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")
    return answered(words, Settings(json="--json" in words))


def answered(given: list[str], settings: Settings) -> int:
    """Run the command and print; return the exit code, which is 2 for a mistake of our own."""
    try:
        return _answered(given, settings)
    except KeyboardInterrupt:
        return _interrupted()
    except OSError as error:
        return _unprinted(error)
    except Exception:  # noqa: BLE001 - a mistake in this program: Python's 1 would say "no"
        return _own_mistake()


def _answered(given: list[str], settings: Settings) -> int:
    try:
        answer = root.main(args=given, obj=settings, prog_name="parambak", standalone_mode=False)
    except ParambakError as error:
        _print_warnings(settings.notes())
        return _print_error(error.document(), error.exit_code, settings)
    except click.ClickException as error:
        return _wrong_call(error, settings)
    except (KeyboardInterrupt, click.Abort):
        return _interrupted()
    except (MemoryError, OSError) as error:
        return _print_error(_system(error), 2, settings)
    if isinstance(answer, Answer):
        return _print_answer(answer, settings)
    return answer if isinstance(answer, int) else 0


def _wrong_call(error: click.ClickException, settings: Settings) -> int:
    """Print what is wrong with a call; of a program or group called alone the help."""
    if settings.json or not isinstance(error, click.exceptions.NoArgsIsHelpError):
        return _print_error(_usage(error), 2, settings)
    is_group = error.ctx.parent is not None
    click.echo(error.ctx.get_help(), err=is_group)
    return 2 if is_group else 0


def _interrupted() -> int:
    click.echo("parambak: interrupted; the vault is whole", err=True)
    return INTERRUPTED


def _own_mistake() -> int:
    """Print all that is needed to correct the program; return "no answer"."""
    import traceback  # noqa: PLC0415 - needed after an error alone

    traceback.print_exc()
    click.echo(
        "parambak: no answer, because of a mistake in the program itself; the vault is whole. "
        "Send the lines above to the maintainers.",
        err=True,
    )
    return 2


def _unprinted(error: OSError) -> int:
    """Return "no answer" if the answer could not be printed: 1 would be taken for a "no"."""
    with suppress(OSError, ValueError):
        # What is left in the buffer must not fail once more when the program ends.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    if not isinstance(error, BrokenPipeError):
        text = f"parambak: the command ran, and its answer could not be printed: {error.strerror}"
        with suppress(OSError):
            click.echo(text, err=True)
    return 2


def _print_json(document: Mapping[str, Any]) -> None:
    from parambak.cli.written import pieces  # noqa: PLC0415 - needed for JSON alone

    for text in pieces(document):
        click.echo(text, nl=False)
    click.echo()


def _print_answer(answer: Answer, settings: Settings) -> int:
    _print_warnings(tuple(dict.fromkeys((*answer.warnings, *settings.notes()))))
    if settings.json:
        _print_json(answer.document())
        return answer.exit_code
    from parambak.cli.screen import Screen  # noqa: PLC0415 - not needed for JSON

    answer.page(Screen())
    return answer.exit_code


def _print_warnings(warnings: Sequence[str]) -> None:
    """Print notes on stderr, never within a JSON document."""
    if not warnings:
        return
    from parambak.cli.screen import Screen  # noqa: PLC0415 - not needed for JSON

    screen = Screen(stderr=True)
    for warning in warnings:
        screen.say(f"note: {warning}")


def _print_error(document: dict[str, Any], exit_code: int, settings: Settings) -> int:
    if settings.json:
        _print_json({"error": document})
        return exit_code
    from parambak.cli.screen import Screen  # noqa: PLC0415 - not needed for JSON

    screen = Screen(stderr=True)
    at = document["file"] or ""
    if document["line"] is not None:
        at += f", line {document['line']}"
    elif document["offset"] is not None:
        at += f", at 0x{document['offset']:04X}"
    screen.say(f"parambak: {at.lstrip(', ')}{': ' if at else ''}{document['text']}")
    parts = [(name, document[name]) for name in ("expected", "found") if document[name]]
    if document["next"]:
        parts.append(("do next", document["next"]))
    screen.facts([*parts, ("code", document["code"])])
    return exit_code


def _usage(error: click.ClickException) -> dict[str, Any]:
    """Return a wrong call as a document of the contract."""
    ctx = error.ctx if isinstance(error, click.UsageError) else None
    command = ctx.command_path if ctx else "parambak"
    message = error.format_message()
    if isinstance(error, click.exceptions.NoArgsIsHelpError):
        message = f"`{command}` is not complete: add one of its commands"
    document = faults.CALL.error(message=message, command=command).document()
    if isinstance(error, UnknownCommand) and error.intended:
        document["next"] = " ".join(map(_purpose, error.intended))
    return document


def _purpose(path: str) -> str:
    """Return what a command is for, from its help: "To list …: `parambak catalogue`."."""
    command: click.Command | None = root
    ctx = click.Context(root)
    for word in path.split():
        command = command.get_command(ctx, word) if isinstance(command, click.Group) else None
    purpose = command.get_short_help_str(MOST_HELP).rstrip(".") if command else ""
    return f"To {purpose[:1].lower()}{purpose[1:]}: `parambak {path}`."


def _system(error: MemoryError | OSError) -> dict[str, Any]:
    """Return what the operating system refused as a document of the contract."""
    if isinstance(error, MemoryError):
        return faults.MEMORY.error().document()
    return SYSTEM.error(
        file=str(error.filename) if error.filename else None,
        expected="access to the file",
        found=error.strerror or str(error),
    ).document()
