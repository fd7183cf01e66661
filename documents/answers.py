"""formats/answers.md and its JSON Schema: the contract for scripts, from the answers' types."""

from __future__ import annotations

import importlib
import inspect
import json
import pkgutil
import re
from typing import TYPE_CHECKING, Any, NamedTuple, get_type_hints

import msgspec

import parambak.answers

if TYPE_CHECKING:
    from collections.abc import Iterator
    from types import ModuleType

    from parambak.answers.forms import Answer, Question

SCHEMA = "answers.schema.json"
HEAD = f"""\
# Answers

Generated from the types of the answers by `python3 dev.py documents`; do not edit.
With `--json`, standard output is one JSON document: the answer of the command, whose keys
stand here, or an error. [{SCHEMA}]({SCHEMA}) says the same as JSON Schema (2020-12), one
definition a type. Addresses and sizes are whole numbers; numbers with a point are texts, as
exact decimals; bytes are upper-case hexadecimal texts; days are written 2026-03-01. Members
are added in later versions, and none is taken away or given another meaning.

Exit codes: 0 yes, same, done; 1 a negative answer; 2 wrong call or file; 3 the vault is damaged;
130 interrupted. An error is `{{"error": {{…}}}}` with the keys `code`, `text`, `file`, `line`,
`offset`, `expected`, `found`, `next`; a part that does not apply is null. The codes stand in
[errors.md](errors.md).
"""


class Job(NamedTuple):
    """One job: the words of its command, and the types of its question and its answers."""

    words: str
    question: type[Question[Any]]
    answers: tuple[type[Answer], ...]


def jobs() -> list[Job]:
    """Return every job, by the words of its command: each module with a function `answer`."""
    return sorted(_jobs(), key=lambda job: job.words)


def _jobs() -> Iterator[Job]:
    package = parambak.answers
    for info in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
        module = importlib.import_module(info.name)
        if not info.ispkg and hasattr(module, "answer"):
            words = info.name.removeprefix(f"{package.__name__}.")
            yield Job(words.replace(".", " ").replace("_", "-"), *_types(module, words))


def _types(module: ModuleType, words: str) -> tuple[type[Question[Any]], tuple[type[Answer], ...]]:
    """Return the types of a job, which its module's name gives their names.

    The answer comes first, then those whose names end with its name: a job that
    answers in two ways has a type for each.
    """
    name = "".join(part.capitalize() for part in re.split(r"[._]", words))
    first = getattr(module, f"{name}Answer")
    others = (kind for key, kind in vars(module).items() if key.endswith(f"{name}Answer"))
    return getattr(module, f"{name}Question"), tuple(dict.fromkeys((first, *others)))


def page(_old: str = "") -> str:
    """Return the whole of formats/answers.md."""
    return HEAD + "".join(_section(job) for job in jobs())


def _section(job: Job) -> str:
    first, *others = job.answers
    lines = [f"\n## {job.words}\n\n{_docstring(first)}\n\n", *_table(first)]
    parts = dict.fromkeys(part for answer in job.answers for part in (answer, *_parts(answer)))
    del parts[first]
    for part in parts:
        word = "or " if part in others else ""
        lines += [f"\n{word}`{part.__name__}`: {_docstring(part)}\n\n", *_table(part)]
    return "".join(lines)


def _docstring(kind: type) -> str:
    return " ".join((inspect.getdoc(kind) or "").split())


def _table(kind: type[msgspec.Struct]) -> Iterator[str]:
    hints = get_type_hints(kind)
    if not kind.__struct_fields__:
        yield "No members.\n"
        return
    yield "| key | value |\n|---|---|\n"
    for name, key in zip(kind.__struct_fields__, kind.__struct_encode_fields__, strict=True):
        yield f"| `{key}` | {_words(hints[name])} |\n"


def _words(hint: Any) -> str:
    """Return the type of a member in words."""
    name = getattr(hint, "__name__", str(hint))
    options = getattr(hint, "__args__", ())
    if msgspec.UnsetType in options:
        kinds = [option for option in options if option is not msgspec.UnsetType]
        return f"{' or '.join(_words(kind) for kind in kinds)}, or absent"
    if type(None) in options:
        others = " or ".join(_words(option) for option in options if option is not type(None))
        return f"{others}, or null"
    if options and name in ("tuple", "list", "Collection", "Sequence"):
        return f"list of {_words(options[0])}"
    if options and name in ("dict", "Mapping"):
        return f"object of {_words(options[1])} by name"
    if options:
        return " or ".join(
            f"`{option}`" if isinstance(option, str) else _words(option) for option in options
        )
    plain = {"str": "text", "int": "whole number", "bool": "true or false", "Any": "anything"}
    plain["NoneType"] = "null"
    return plain.get(name, f"`{name}`")


def _parts(kind: type[msgspec.Struct]) -> list[type[msgspec.Struct]]:
    """Return every type within an answer, each once, in the order that they are met."""
    parts: list[type[msgspec.Struct]] = []
    waiting = [get_type_hints(kind)[name] for name in kind.__struct_fields__]
    while waiting:
        hint = waiting.pop(0)
        if isinstance(hint, type) and issubclass(hint, msgspec.Struct) and hint not in parts:
            parts.append(hint)
            waiting += [get_type_hints(hint)[name] for name in hint.__struct_fields__]
        waiting += getattr(hint, "__args__", ())
    return parts


def schema(_old: str = "") -> str:
    """Return the whole of formats/answers.schema.json: a definition for each type."""
    answers = [kind for job in jobs() for kind in job.answers]
    _, definitions = msgspec.json.schema_components(answers, ref_template="#/$defs/{name}")
    document = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Answers",
        "description": "Generated by `python3 dev.py documents`; do not edit. The answer of a "
        "command with --json is of the definition that bears its name.",
        "$defs": dict(sorted(definitions.items())),
    }
    return json.dumps(document, indent=2, ensure_ascii=True) + "\n"
