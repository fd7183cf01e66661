"""Mistakes of a layout that includes others: where they are, and what a file name may be."""

from __future__ import annotations

import pytest

from parambak.errors import ParambakError
from parambak.layouts.load import check
from tests.layouts.test_mistakes import HEAD, field


def include_head(*names: str) -> str:
    """Return a head that includes the files named."""
    return HEAD + f"include = {list(names)!r}\n"


@pytest.mark.parametrize(
    "name",
    [
        "../x.toml",
        "/x.toml",
        "C:\\\\x.toml",
        "C:x",
        "a\\\\b",
        "a/../b",
        "a//b",
        "",
        ".",
        "a/.",
        "a.",
    ],
)
def test_an_include_that_leaves_its_folder(name: str) -> None:
    """A path that climbs, is absolute, or is another system's is refused unread."""
    fetched = []

    def fetch(wanted: str) -> bytes:
        fetched.append(wanted)
        return b""

    text = (HEAD + f'include = ["{name}"]\n').encode()
    found = check(text, include=fetch)
    assert [(each.code, each.line) for each in found] == [("layout-include-outside", 5)]
    assert fetched == []


def test_includes_that_go_round_in_a_circle() -> None:
    """A file that includes itself by way of others is named with its way round."""
    files = {
        "a.toml": b'[layout]\ninclude = ["b.toml"]\n',
        "b.toml": b'[layout]\ninclude = ["a.toml"]\n',
    }
    found = check(include_head("a.toml").encode(), include=files.__getitem__)
    assert [(each.code, each.file, each.line) for each in found] == [
        ("layout-include-circle", "b.toml", 2)
    ]
    assert found[0].found == "a.toml includes b.toml includes a.toml"


def test_an_include_that_cannot_be_had() -> None:
    """No loader, no file, or a refusal: the include's line is stated, and why."""

    def missing(_: str) -> bytes:
        raise FileNotFoundError(2, "No such file")

    def refused(_: str) -> bytes:
        raise ParambakError("x", "a pipe is no layout")

    for fetch, why in (
        (None, "no way to read files"),
        (missing, "No such file"),
        (refused, "a pipe is no layout"),
    ):
        found = check(include_head("a.toml").encode(), include=fetch)
        assert [(each.code, each.line, each.found) for each in found] == [
            ("layout-include-absent", 5, why)
        ]


def test_mistakes_in_an_included_file_name_it() -> None:
    """An included file is judged like the layout, and may not state the memory that it is for."""
    files = {"a.toml": b"[layout]\nmemory = 4\n" + field('at = 0\ntype = "u9"\n').encode()}
    found = check(include_head("a.toml").encode(), include=files.__getitem__)
    assert [(each.code, each.file, each.line) for each in found] == [
        ("layout-include-head", "a.toml", 2),
        ("layout-unknown-word", "a.toml", 6),
    ]
