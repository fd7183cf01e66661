"""What the scenario is made of: scenes, files to write, and command lines to run."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

from parambak.dumps.dump import Style
from parambak.dumps.registry import detect, write_dump
from parambak.memory.image import Image

PERSON = "A. Fitter"


@dataclass(frozen=True, slots=True)
class File:
    """A file as the reader or the user wrote it; `modified` is its time in seconds, UTC."""

    name: str
    data: bytes
    modified: float


@dataclass(frozen=True, slots=True)
class Scene:
    """A step of the story: what is done, and what the commands until the next scene show.

    `result` is true only if each of them ends with its exit code. `chapter` begins a part.
    """

    sentence: str
    result: str
    chapter: str = ""


@dataclass(frozen=True, slots=True)
class Call:
    """A command as a user types it, why, and the exit code that the story expects."""

    why: str
    words: tuple[str, ...]
    exit_code: int = 0


def moment(text: str) -> float:
    """Return a time of the story as a file's time."""
    return datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()


def dump(name: str, memory: bytes, when: str) -> File:
    """Return a dump file as a reader writes it, in the format that its name shows."""
    kind = detect(name, b"")
    style = Style(line_end=b"\r\n", header=b"reader" if kind == "s-record" else b"")
    return File(name, write_dump(Image.of(bytes(memory)), kind, style), moment(when))


def archive(
    why: str, dumps: tuple[str, ...], at: tuple[str, str, str], *more: str, day: str
) -> Call:
    """Return the call that archives dumps for `at`: vessel, unit and position."""
    vessel, unit, position = at
    where = ("--vessel", vessel, "--unit", unit, "--position", position)
    person = ("--by", PERSON, "--read-on", day)
    return Call(why, ("archive", *dumps, *where, *more, *person))
