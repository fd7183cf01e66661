"""Every text that a person can meet, in sentences: from the code, the pages and the documents.

A text of the code is a string constant with a space in it, outside docstrings; the docstring of
a command is its help. What is filled in counts as one word, and so does what is in
backticks.
"""

from __future__ import annotations

import ast
import re
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterator

ROOT = Path(__file__).resolve().parents[2]
GENERATED = ("answers.md", "commands.md", "errors.md")
"""Pages that are made of texts of the code."""
_CODE_SPAN = re.compile(r"`[^`]*`")
_LINK = re.compile(r"\[([^\]]*)\]\([^)]*\)")
_TAG = re.compile(r"\{%.*?%\}|<!--.*?-->|<(style|script)\b.*?</\1>|<[^>]*>", re.DOTALL)
_FILLED = re.compile(r"\{\{.*?\}\}|\{[^{}\n]*\}", re.DOTALL)
_END = re.compile(r"(?<=[.!?:])[\s\"')\]*_]+(?=\S)")
_NO_SENTENCE = re.compile(
    r"<svg|\b(CREATE TABLE|SELECT|INSERT|DELETE|PRAGMA)\b|^\s*([\w/-]+\s+){40}"
)
"""Pictures, questions to the index, and lists of words."""
_WORDS = re.compile(r"[A-Za-z]{2,}")


class Sentence(NamedTuple):
    """One sentence: its file and line, its text on one line, and what it is.

    `kind` is "text" (of the code), "next" (what to do next), "help", "page" or "document".
    """

    file: str
    line: int
    text: str
    kind: str

    @property
    def words(self) -> int:
        """Return how many words it has."""
        plain = _FILLED.sub(" x ", _CODE_SPAN.sub(" x ", self.text))
        return len([word for word in plain.split() if re.search(r"\w", word)])


def sentences() -> Iterator[Sentence]:
    """Yield every sentence of the program's texts, its pages and its documents."""
    for path in sorted((ROOT / "parambak").rglob("*.py")):
        yield from _of_code(path)
    for path in sorted((ROOT / "parambak").rglob("*.html")):
        yield from _parted(path, 1, _TAG.sub("\n\n", path.read_text("utf-8")), "page")
    documents = [ROOT / "README.md", *sorted((ROOT / "formats").glob("*.md"))]
    for path in documents:
        if path.name not in GENERATED:
            yield from _of_document(path)


def _parted(path: Path, line: int, text: str, kind: str) -> Iterator[Sentence]:
    """Yield the sentences of a text; an empty line and a line of a list end one."""
    name = path.relative_to(ROOT).as_posix()
    text = re.sub(r"^# ?", "", text, flags=re.MULTILINE)  # of a file to fill in
    for block in re.split(r"\n\s*\n|\n\s*(?=[-*] |\d+\. )|\\n", text):
        for sentence in _END.split(" ".join(block.split())):
            if len(_WORDS.findall(sentence)) > 1:
                yield Sentence(name, line, sentence.strip(), kind)


def _of_code(path: Path) -> Iterator[Sentence]:
    tree = ast.parse(path.read_text("utf-8"))
    documented = set(_docstrings(tree))
    parts = {id(part) for node in ast.walk(tree) for part in _inner(node)}
    faults = {id(node): "next" for call in ast.walk(tree) for node in _next_steps(call)}
    helps = set(_helps(tree)) if "commands" in path.parts else set()
    for node in ast.walk(tree):
        text = _string(node)
        if text is None or " " not in text.strip() or id(node) in parts:
            continue
        if _NO_SENTENCE.search(text) or (id(node) in documented and id(node) not in helps):
            continue
        kind = "help" if id(node) in helps else faults.get(id(node), "text")
        yield from _parted(path, node.lineno, text, kind)  # type: ignore[attr-defined]


def _string(node: ast.AST) -> str | None:
    """Return the text of a constant, or of one with values, each of which is then `{}`."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if isinstance(node, ast.JoinedStr):
        return "".join(
            str(part.value) if isinstance(part, ast.Constant) else "{}" for part in node.values
        )
    return None


def _inner(node: ast.AST) -> list[ast.expr]:
    return node.values if isinstance(node, ast.JoinedStr) else []


def _docstrings(tree: ast.Module) -> Iterator[int]:
    """Yield every string that is a statement: docstrings, and those of constants."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            yield id(node.value)


def _helps(tree: ast.Module) -> Iterator[int]:
    """Yield the docstrings that click prints: of functions with decorators."""
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef) and node.decorator_list:
            first = node.body[0]
            if isinstance(first, ast.Expr):
                yield id(first.value)


def _next_steps(node: ast.AST) -> list[ast.expr]:
    """Return the next step of a fault: its fourth part."""
    if isinstance(node, ast.Call) and getattr(node.func, "id", "").endswith("Fault"):
        return node.args[3:4]
    return []


def _of_document(path: Path) -> Iterator[Sentence]:
    """Yield the sentences of Markdown; no code block, and each cell of a table by itself."""
    block: list[str] = []
    start, fenced = 1, False
    for number, line in enumerate([*path.read_text("utf-8").splitlines(), ""], 1):
        text = _LINK.sub(r"\1", line).strip()
        if text.startswith("```"):
            fenced = not fenced
        if fenced or text.startswith(("```", "#", "|")) or not text:
            yield from _parted(path, start, "\n".join(block), "document")
            block = []
            if text.startswith("|") and not fenced:
                for cell in text.strip("|").split("|"):
                    yield from _parted(path, number, cell, "document")
            continue
        if not block:
            start = number
        block.append(text)
