"""What a disk may hold after the power failed: a model, and every state that it allows.

The program's operations are recorded as they happen. At each point between two of them the
power may fail. The disk then holds what was flushed, and any part of the rest:

- A file's bytes are certain once the file was flushed, and as they were then. What was written
  later may be there completely, not at all (the file is empty, or as it was flushed), to any
  length,
  as zeros or what the disk held before in all of it or in any of its sectors of 512 bytes.
- A name in a folder is certain once that folder was flushed, and as it was then. For later changes,
  each name by itself is as it was then or after any of them, in any order: so a rename may show
  both names, one, or none, may come before the bytes of
  its file, and a new folder may be missing with all that is in it.
- Flushing a file does not flush its name; flushing a folder flushes neither its files' bytes nor
  of the folder's own name in the one above.
- A name that was in place and was replaced is the old file or the new one.

- On Linux's FAT (if a sequence says so) a file that was renamed is empty under its new name
  until it is flushed once more; a real power cut shows that (real.py).

This allows more than any one file system does. It is what POSIX promises and no more; ext4 with
delayed allocation shows files that are empty after a rename, FAT writes the two sectors of a
rename in any order, NTFS keeps names in a journal and bytes not. After "All File Systems Are Not
Created Equal" (Pillai and others, OSDI 2014), whose "persistence properties" these are; cited
from memory. Not in the model: a disk that reports a flush and did not flush; the index, which
SQLite writes and nothing believes.
"""

from __future__ import annotations

import itertools
import math
import os
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import random
    from collections.abc import Iterator
    from pathlib import Path

SECTOR = 512


@dataclass(eq=False)
class File:
    """A file's bytes now, and as they were when they were flushed last (None: never).

    `nameless` is a file of FAT's that was renamed later: its new name may have no length.
    """

    data: bytes = b""
    flushed: bytes | None = None
    nameless: bool = False

    def flush(self) -> None:
        """Make the bytes certain."""
        self.flushed, self.nameless = self.data, False

    def choices(self, chance: random.Random) -> list[bytes]:
        """Return the bytes that the disk may hold."""
        if self.data == self.flushed:
            return [self.data, b""] if self.nameless and self.data else [self.data]
        size = len(self.data)
        torn = chance.randrange(size) if size else 0
        found = [
            self.data,
            self.flushed or b"",
            b"",
            self.data[:torn],
            self.data[: torn // SECTOR * SECTOR],
            bytes(size),
            self.data[:torn] + bytes(size - torn),
            self._in_sectors(chance),
        ]
        return list(dict.fromkeys(found))

    def _in_sectors(self, chance: random.Random) -> bytes:
        """Return the bytes with some sectors as they were before anything was written."""
        pieces = [self.data[at : at + SECTOR] for at in range(0, len(self.data), SECTOR)]
        old = [p if chance.random() < 0.5 else chance.randbytes(len(p)) for p in pieces]
        return b"".join(old)


@dataclass(eq=False)
class Folder:
    """A folder's names: now, when they were flushed last, and all that each was since."""

    now: dict[str, Node] = field(default_factory=dict)
    flushed: dict[str, Node] = field(default_factory=dict)
    since: dict[str, list[Node | None]] = field(default_factory=dict)

    def put(self, name: str, node: Node | None) -> None:
        """Give a name to something, or take it away."""
        if node is None:
            del self.now[name]
        else:
            self.now[name] = node
        self.since.setdefault(name, []).append(node)

    def flush(self) -> None:
        """Make the names certain."""
        self.flushed, self.since = dict(self.now), {}

    def choices(self) -> dict[str, list[Node | None]]:
        """Return what each name may be on the disk."""
        found: dict[str, list[Node | None]] = {n: [node] for n, node in self.flushed.items()}
        for name, later in self.since.items():
            found[name] = list(dict.fromkeys([self.flushed.get(name), *later]))
        return found


Node = File | Folder
Tree = dict[str, bytes | None]
"""The content of a disk: name to bytes, or None for a folder."""


class Model:
    """A folder and all in it, as the program sees it and as the disk may hold it."""

    def __init__(self, root: Path) -> None:
        self._root = os.fspath(root)
        self.top = _taken(root)

    def covers(self, path: str) -> bool:
        """Return whether a path is in the folder."""
        return path.startswith(self._root + os.sep)

    def at(self, path: str) -> Node | None:
        """Return what is at a path now."""
        node: Node | None = self.top
        for part in self._parts(path):
            node = node.now.get(part) if isinstance(node, Folder) else None
        return node

    def holder(self, path: str) -> tuple[Folder, str]:
        """Return the folder that holds a path, and the name in it."""
        *above, name = self._parts(path)
        node = self.at(os.path.join(self._root, *above))  # noqa: PTH118 - a plain string
        assert isinstance(node, Folder), path
        return node, name

    def _parts(self, path: str) -> list[str]:
        return [part for part in path[len(self._root) :].split("/") if part]

    def seen(self) -> Tree:
        """Return what the program sees now."""
        tree: Tree = {}
        _collect(self.top, "", tree)
        return tree

    def states(self, chance: random.Random, most: int) -> Iterator[Tree]:
        """Yield what the disk may hold if the power fails now: all, or `most` by chance.

        All that was done, and nothing that was not flushed, are always among them.
        """
        for picks in _picks(self.top, chance, most):
            tree: Tree = {}
            _build(self.top, "", picks, tree)
            yield tree


def _taken(path: Path) -> Folder:
    """Return a folder of the real disk, all of it flushed."""
    top = Folder()
    with os.scandir(path) as found:
        for entry in sorted(found, key=lambda e: e.name):
            if entry.is_dir():
                top.now[entry.name] = _taken(path / entry.name)
            else:
                data = (path / entry.name).read_bytes()
                top.now[entry.name] = File(data, data)
    top.flush()
    return top


def _collect(folder: Folder, above: str, tree: Tree) -> None:
    for name, node in folder.now.items():
        if isinstance(node, Folder):
            tree[above + name] = None
            _collect(node, f"{above}{name}/", tree)
        else:
            tree[above + name] = node.data


Pick = dict[int, object]
"""What was chosen: by identity of a file its bytes, of a folder each name's node."""


def _nodes(top: Folder) -> Iterator[Node]:
    """Yield everything that may be reached on the disk."""
    seen, left = set(), [top]
    while left:
        node = left.pop()
        for choice in node.choices().values():
            for each in choice:
                if each is not None and id(each) not in seen:
                    seen.add(id(each))
                    yield each
                    if isinstance(each, Folder):
                        left.append(each)
    yield top


def _picks(top: Folder, chance: random.Random, most: int) -> Iterator[Pick]:
    open_ends: list[tuple[int, str | None, list[object]]] = []  # a node, a name in it
    for node in _nodes(top):
        if isinstance(node, File):
            each = node.choices(chance)
            if len(each) > 1:
                open_ends.append((id(node), None, list(each)))
        else:
            for within, several in node.choices().items():
                if len(several) > 1:
                    open_ends.append((id(node), within, list(several)))
    counts = [len(options) for _, _, options in open_ends]
    for chosen in _combinations(counts, chance, most):
        picks: Pick = {}
        for (key, name, options), index in zip(open_ends, chosen, strict=True):
            if name is None:
                picks[key] = options[index]
                continue
            names = picks.setdefault(key, {})
            assert isinstance(names, dict)
            names[name] = options[index]
        yield picks


def _combinations(counts: list[int], chance: random.Random, most: int) -> Iterator[tuple[int, ...]]:
    if math.prod(counts) <= most:
        yield from itertools.product(*map(range, counts))
        return
    yield tuple(0 for _ in counts)
    yield tuple(count - 1 for count in counts)
    for _ in range(most - 2):
        yield tuple(chance.randrange(count) for count in counts)


def _build(folder: Folder, above: str, picks: Pick, tree: Tree) -> None:
    picked = picks.get(id(folder), {})
    assert isinstance(picked, dict)
    for name, choice in folder.choices().items():
        node = picked.get(name) if len(choice) > 1 else choice[0]
        if isinstance(node, Folder):
            tree[above + name] = None
            _build(node, f"{above}{name}/", picks, tree)
        elif node is not None:
            found = picks.get(id(node), node.data)
            assert isinstance(found, bytes)
            tree[above + name] = found
