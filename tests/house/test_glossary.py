"""The program's names have one meaning each in formats/words.md, and its sentences are plain."""

from __future__ import annotations

import ast
import re
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING

import click
import pytest

from parambak.cli.commands.swap.check import WHEN_OPEN
from parambak.cli.main import root
from parambak.differences import fields
from parambak.keeping.state import bodies, conditions
from parambak.keeping.state.cards import CARD_LOCATIONS
from parambak.keeping.verified import HEADLINES
from parambak.swap import measurement_records, read_back, recording
from tests.house.texts import ROOT, Sentence, sentences

if TYPE_CHECKING:
    from collections.abc import Iterator

PAGE = (ROOT / "formats" / "words.md").read_text("utf-8")
DESCRIPTION, INSTRUCTION = 25, 20  # words of a sentence at most
CAPITALS = r"\b(?:NOT )?[A-Z]{4,}(?: [A-Z]{2,})*\b"
TOO_LONG: dict[str, str] = {
    "the step of the last digit shown": "a list of numbers",
}
"""The beginning of a sentence that may be longer, and why."""


def table(title: str) -> list[list[str]]:
    """Return the rows of the table below a heading of the page."""
    section = re.search(rf"^## {title}\n(.*?)(?=^## |\Z)", PAGE, re.DOTALL | re.MULTILINE)
    assert section is not None, title
    lines = [line for line in section[1].splitlines() if line.startswith("| `")]
    return [[cell.strip() for cell in line.strip("|").split(" | ")] for line in lines]


TERMS = [row for title in re.findall(r"^## (.+)$", PAGE, re.MULTILINE) for row in table(title)]
NOT_TO_USE = {row[0].strip("`"): row[1] for row in table("Words not to use")}
DEFINED = [row for row in TERMS if len(row) == 3]


def commands(group: click.Group, path: str = "") -> Iterator[tuple[str, click.Command]]:
    """Yield each command and each verb of a group, with the words that call it."""
    context = click.Context(group)
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        assert command is not None
        yield f"{path} {name}".strip(), command
        if isinstance(command, click.Group):
            yield from commands(command, name)


def headings() -> Iterator[str]:
    """Yield every column heading of the screen's tables; formats/tables.md has the others."""
    for path in sorted((ROOT / "parambak" / "cli").rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "attr", "") == "table":
                for cell in getattr(node.args[0], "elts", ()):
                    if isinstance(cell, ast.Constant):
                        yield str(cell.value)


def verdicts() -> Iterator[str]:
    """Yield the words in capitals of every answer on the screen."""
    for path in sorted((ROOT / "parambak" / "cli").rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "attr", "") in {"good", "bad"}:
                yield from re.findall(
                    r"\b(?:NOT )?[A-Z]{4,}(?: [A-Z]{2,})*\b", ast.unparse(node.args[0])
                )


def names() -> Iterator[tuple[str, str]]:
    """Yield every name that a person meets, with what it is."""
    assert isinstance(root, click.Group)
    for words, command in commands(root):
        yield "command", words.split()[-1]
        for parameter in command.params:
            for option in (*parameter.opts, *parameter.secondary_opts):
                if option.startswith("--"):
                    yield "option", option
    yield from (("condition", name) for name in conditions.names())
    yield from (("record kind", kind) for kind in bodies.KINDS)
    kinds = (value for name, value in vars(fields).items() if name.isupper())
    yield from (("kind of change", kind) for kind in kinds if isinstance(kind, str))
    yield from (("card location", location) for location in CARD_LOCATIONS)
    yield from (("stage", stage) for stage in (*measurement_records.STAGES, *read_back.STAGES))
    yield from (("route", route) for route in recording.ROUTES)
    yield from (("answer", answer) for answer in conditions.ANSWERS)
    yield "required", WHEN_OPEN
    yield from (("verdict", verdict) for verdict in verdicts())
    yield from (("state", state) for state in HEADLINES)
    for words in HEADLINES.values():
        yield from (("verdict", verdict) for verdict in re.findall(CAPITALS, words))
    yield from (("heading", heading) for heading in headings())


def test_every_name_has_a_row() -> None:
    """Commands, options, conditions, kinds, stages, answers, verdicts and column headings."""
    defined = {row[0].strip("`") for row in DEFINED}
    missing = sorted({(kind, name) for kind, name in names() if name not in defined})
    assert missing == []


def test_every_row_is_of_a_name_or_a_thing() -> None:
    """No command, option, condition, kind or heading that is no more."""
    known = {name for _, name in names()} | {row[0].strip("`") for row in table("Things")}
    known |= {"--help", "--version", "RECONSTRUCTED", "verified", "broken"}  # of no table above
    assert [row[0] for row in DEFINED if row[0].strip("`") not in known] == []


def test_every_term_has_one_meaning_and_a_source() -> None:
    """No term has two rows."""
    counted = Counter(row[0] for row in DEFINED)
    assert [term for term, times in counted.items() if times > 1] == []
    assert [row[0] for row in DEFINED if not all(row)] == []


@pytest.fixture(scope="module")
def all_sentences() -> list[Sentence]:
    """Return every sentence of the program, its pages and its documents."""
    return list(sentences())


def test_no_sentence_uses_a_word_not_to_use(all_sentences: list[Sentence]) -> None:
    """In help, answers, errors, pages and documents; the page of words itself names them."""
    wrong = re.compile(rf"\b({'|'.join(map(re.escape, NOT_TO_USE))})\b", re.IGNORECASE)
    found = [
        f"{sentence.file}:{sentence.line}: {match[0]} -> {NOT_TO_USE[match[0].lower()]}"
        for sentence in all_sentences
        for match in wrong.finditer(re.sub(r"`[^`]*`", "", sentence.text))
        if sentence.file != "formats/words.md"
    ]
    assert found == []


def test_sentences_are_short(all_sentences: list[Sentence]) -> None:
    """25 words for a description, 20 for what to do next and the help of a command."""
    long = [
        f"{sentence.file}:{sentence.line}: {sentence.words} words: {sentence.text}"
        for sentence in all_sentences
        if sentence.words > (INSTRUCTION if sentence.kind in {"next", "help"} else DESCRIPTION)
        and not sentence.text.startswith(tuple(TOO_LONG))
    ]
    assert long == []


def test_the_exceptions_are_few_and_needed(all_sentences: list[Sentence]) -> None:
    """Each belongs to a sentence that is there, and has a reason."""
    assert len(TOO_LONG) <= 10
    texts = [sentence.text for sentence in all_sentences]
    for beginning, reason in TOO_LONG.items():
        assert reason
        assert any(text.startswith(beginning) for text in texts), beginning


def test_the_sentences_are_gathered(all_sentences: list[Sentence]) -> None:
    """Of each kind and from every room, so that the tests above judge real texts."""
    kinds = Counter(sentence.kind for sentence in all_sentences)
    assert min(kinds[kind] for kind in ("text", "next", "help", "page", "document")) > 50
    rooms = {Path(sentence.file).parts[1] for sentence in all_sentences if "/" in sentence.file}
    assert {"cli", "answers", "swap", "keeping", "vault", "layouts", "dumps", "reads"} <= rooms
