"""formats/commands.md: every command, its arguments and options, from its own help."""

from __future__ import annotations

import importlib
import re
from typing import TYPE_CHECKING, NamedTuple

import click

if TYPE_CHECKING:
    from collections.abc import Iterator

WIDTH = 78  # what click leaves of a screen of 80 columns
HEAD = """\
# Commands

Generated from each command's own help by `python3 dev.py documents`; do not edit.
`parambak COMMAND --help` prints the same. Exit codes and the keys of `--json` stand in
[answers.md](answers.md); error codes in [errors.md](errors.md).
"""


class Entry(NamedTuple):
    """A command: the words that call it, the command, and the context of its help."""

    words: tuple[str, ...]
    command: click.Command
    context: click.Context


CONTINUED = re.compile(r"\n {6,}(?=\S)")


def root() -> click.Group:
    """Return the program's own root command."""
    group = importlib.import_module("parambak.cli.main").root
    if not isinstance(group, click.Group):
        raise TypeError(f"parambak.cli.main.root is no click group: {group!r}")
    return group


def page(_old: str = "") -> str:
    """Return the whole of formats/commands.md."""
    return render(root())


def entries(group: click.Group, name: str = "parambak") -> list[Entry]:
    """Return a group and all below it that is not hidden, in the order that it lists them."""
    context = context_of(group, name)
    return [Entry((name,), group, context), *below(group, context, (name,))]


def context_of(
    command: click.Command, name: str, parent: click.Context | None = None
) -> click.Context:
    """Return the context in which a command's help reads as on a screen of 80 columns."""
    settings = {**command.context_settings, "terminal_width": WIDTH}
    return click.Context(command, info_name=name, parent=parent, **settings)


def below(group: click.Group, context: click.Context, words: tuple[str, ...]) -> Iterator[Entry]:
    """Yield each command below a group, and the commands below that."""
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        if command is None:
            raise LookupError(f"{' '.join(words)} lists {name}, and has no such command")
        if command.hidden:
            continue
        inner = context_of(command, name, context)
        entry = Entry((*words, name), command, inner)
        yield entry
        if isinstance(command, click.Group):
            yield from below(command, inner, entry.words)


def render(group: click.Group) -> str:
    """Return the page for a root command."""
    parts = [HEAD]
    for words, command, context in entries(group):
        text = "\n".join(line.rstrip() for line in command.get_help(context).splitlines())
        parts.append(f"## {' '.join(words)}\n\n```text\n{text}\n```\n")
    return "\n".join(parts)


def examples(entry: Entry) -> list[str]:
    """Return the example calls in an entry's help and epilogue, without their prompt.

    A line that is indented further continues the call above it.
    """
    text = f"{entry.command.help or ''}\n{entry.command.epilog or ''}"
    text = CONTINUED.sub(" ", text)
    lines = [line.strip().removeprefix("$ ") for line in text.splitlines()]
    return [line for line in lines if line.startswith("parambak ")]
