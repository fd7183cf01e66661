from __future__ import annotations

import shlex
from pathlib import Path

import click
import pytest

from documents import commands

ROOT = Path(__file__).parents[2]


class Lazy(click.Group):
    """A group that makes its commands only when they are asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names."""
        return ["inspect", "swap", *super().list_commands(ctx)]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Return the command, made now."""
        if cmd_name == "inspect":
            options = [click.Option(["--format"], help="how the dump is written")]
            arguments = [click.Argument(["dump"], nargs=-1, required=True)]
            return click.Command(
                "inspect",
                params=[*arguments, *options],
                help="Say what a dump holds.",
                epilog="\b\nExample:\n  $ parambak inspect port.hex --format raw",
            )
        if cmd_name == "swap":
            check = click.Command("check", help="May it begin?")
            return click.Group("swap", commands={"check": check}, help="Replace a card.")
        return super().get_command(ctx, cmd_name)


def stand_in() -> Lazy:
    """Return a root command like the program's own."""
    group = Lazy(
        "parambak",
        help="Keep dumps.",
        params=[click.Option(["--json"], is_flag=True)],
        context_settings={"help_option_names": ["-h", "--help"]},
    )
    group.add_command(click.Command("secret", hidden=True))
    return group


def parsed(root: click.Group, line: str) -> tuple[str, ...]:
    """Parse a call without running it; return the words of the command that it calls."""
    name, *words = shlex.split(line)
    command: click.Command = root
    context = click.Context(root, info_name=name)
    called = [name]
    while True:
        _, rest, _ = command.make_parser(context).parse_args(list(words))
        if not isinstance(command, click.Group):
            assert not rest, f"{line}: not taken: {rest}"
            return tuple(called)
        if not rest:
            return tuple(called)
        called.append(rest[0])
        inner = command.get_command(context, rest[0])
        assert inner is not None, f"{line}: there is no {rest[0]}"
        context = click.Context(inner, info_name=rest[0], parent=context)
        command, words = inner, rest[1:]


def test_the_committed_page_is_what_the_program_gives() -> None:
    """formats/commands.md is as `python3 dev.py documents` writes it."""
    assert (ROOT / "formats" / "commands.md").read_text(encoding="utf-8") == commands.page()


def test_every_command_gives_a_real_example() -> None:
    """Each command's help holds a call of just that command, with options that it has."""
    root = commands.root()
    for entry in commands.entries(root):
        if isinstance(entry.command, click.Group):
            continue
        calls = [parsed(root, line) for line in commands.examples(entry)]
        assert entry.words in calls, f"{' '.join(entry.words)} has no example in its help"


def test_every_option_is_explained() -> None:
    """No option is without a help text."""
    for entry in commands.entries(commands.root()):
        for option in entry.command.params:
            if isinstance(option, click.Option):
                assert option.help, f"{' '.join(entry.words)}: {option.opts}"


def test_lazy_and_nested_commands_are_listed() -> None:
    """Commands come from the group's own list, groups go before what is in them."""
    words = [entry.words for entry in commands.entries(stand_in())]
    assert words == [
        ("parambak",),
        ("parambak", "inspect"),
        ("parambak", "swap"),
        ("parambak", "swap", "check"),
    ]


def test_the_page_holds_help_and_example() -> None:
    """Usage with the whole call, options, help and example stand under the command's name."""
    text = commands.render(stand_in())
    assert "## parambak inspect\n\n```text\nUsage: parambak inspect [OPTIONS] DUMP..." in text
    assert "--format TEXT  how the dump is written" in text
    assert "  $ parambak inspect port.hex --format raw\n" in text
    assert "Usage: parambak swap check" in text
    assert text.count("-h, --help") == 4
    assert max(len(line) for line in text.split("```text", 1)[1].splitlines()) <= 80


def test_a_command_that_is_listed_and_missing_is_an_error() -> None:
    """A name without a command would leave a hole in the page."""

    class Hollow(click.Group):
        def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's own
            return ["ghost"]

    with pytest.raises(LookupError, match="ghost"):
        commands.render(Hollow("parambak"))


def test_examples_are_found_and_judged() -> None:
    """A call of another command, or with an option that is not there, is no real example."""
    root = stand_in()
    inspect = commands.entries(root)[1]
    assert commands.examples(inspect) == ["parambak inspect port.hex --format raw"]
    assert parsed(root, "parambak --json inspect a.hex") == ("parambak", "inspect")
    assert parsed(root, "parambak swap check") == ("parambak", "swap", "check")
    with pytest.raises(click.NoSuchOption):
        parsed(root, "parambak inspect a.hex --colour")
    with pytest.raises(AssertionError):
        parsed(root, "parambak swap check now")
