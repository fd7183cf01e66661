"""Follows a program's operations on a folder, and keeps the model of the disk abreast."""

from __future__ import annotations

import builtins
import io
import os
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from tests.faults.disk import python_file
from tests.faults.power import File, Folder, Model

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator


class Killed(BaseException):
    """The process has ended: nothing that it still tries happens."""


class Recorder:
    """Is between the program and the disk, and calls `after` after each operation.

    From the operation with the number `kill_at`, nothing happens any more, as after a kill.
    What SQLite writes is not seen, and left out of the comparison with the real folder.
    """

    def __init__(
        self, root: Path, after: Callable[[Recorder], None], *, forgets: bool = False
    ) -> None:
        self.model = Model(root)
        self.count = 0
        self.kill_at = -1
        self._root = os.fspath(root)
        self._after = after
        self._forgets = forgets
        self._open: dict[int, File | Folder] = {}

    @contextmanager
    def in_place(self) -> Iterator[Recorder]:
        """Replace the system's calls while the block runs."""
        calls = {
            "open": self._opening(os.open),
            "close": self._closing(os.close),
            "write": self._writing(os.write),
            "ftruncate": self._cutting(os.ftruncate),
            "fsync": self._flushing,
            "mkdir": self._naming(os.mkdir, self._mkdir),
            "rmdir": self._naming(os.rmdir, self._unname),
            "unlink": self._naming(os.unlink, self._unname),
            "link": self._naming(os.link, self._link),
            "rename": self._naming(os.rename, self._rename),
            "replace": self._naming(os.replace, self._rename),
        }
        python_open = self._python_open(io.open)
        with pytest.MonkeyPatch.context() as patch:
            for name, act in calls.items():
                patch.setattr(os, name, act)
            patch.setattr(io, "open", python_open)
            patch.setattr(builtins, "open", python_open)
            yield self

    def agrees(self) -> list[str]:
        """Return the names in which the model and the real folder differ."""
        seen, real = self.model.seen(), Model(Path(self._root)).seen()
        return sorted(
            name
            for name in {*seen, *real}
            if seen.get(name, b"-") != real.get(name, b"-") and "index.sqlite" not in name
        )

    # --- operations ---

    def _before(self) -> None:
        if 0 <= self.kill_at <= self.count:
            raise Killed
        self.count += 1

    def _naming(self, real: Callable[..., Any], note: Callable[..., None]) -> Callable[..., Any]:
        def call(path: Any, *rest: Any, **options: Any) -> Any:
            text = os.fsdecode(path)
            if not self.model.covers(text):
                return real(path, *rest, **options)
            self._before()
            done = real(path, *rest, **options)
            note(text, *(os.fsdecode(r) for r in rest if not isinstance(r, int)))
            self._after(self)
            return done

        return call

    def _mkdir(self, path: str) -> None:
        folder, name = self.model.holder(path)
        folder.put(name, Folder())

    def _unname(self, path: str) -> None:
        folder, name = self.model.holder(path)
        folder.put(name, None)

    def _link(self, old: str, new: str) -> None:
        folder, name = self.model.holder(new)
        folder.put(name, self.model.at(old))

    def _rename(self, old: str, new: str) -> None:
        self._link(old, new)
        node = self.model.at(new)
        if isinstance(node, File):
            node.nameless = self._forgets
        self._unname(old)

    def _opening(self, real: Callable[..., int]) -> Callable[..., int]:
        def call(path: Any, flags: int, *rest: Any, **options: Any) -> int:
            text = os.fsdecode(path)
            if not self.model.covers(text) and text != self._root:
                return real(path, flags, *rest, **options)
            new = bool(flags & os.O_CREAT) and self.model.at(text) is None
            cut = bool(flags & os.O_TRUNC) and not new
            if new or cut:
                self._before()
            descriptor = real(path, flags, *rest, **options)
            if new:
                folder, name = self.model.holder(text)
                folder.put(name, File())
            node = self.model.at(text)
            if node is None:
                return descriptor  # SQLite's, which is not followed
            if cut and isinstance(node, File):
                node.data = b""
            self._open[descriptor] = node
            if new or cut:
                self._after(self)
            return descriptor

        return call

    def _closing(self, real: Callable[[int], None]) -> Callable[[int], None]:
        def call(descriptor: int) -> None:
            self._open.pop(descriptor, None)
            real(descriptor)

        return call

    def _writing(self, real: Callable[..., int]) -> Callable[..., int]:
        def call(descriptor: int, data: Any) -> int:
            node = self._open.get(descriptor)
            if not isinstance(node, File):
                return real(descriptor, data)
            self._before()
            at = os.lseek(descriptor, 0, os.SEEK_CUR)
            written = real(descriptor, data)
            piece = bytes(data)[:written]
            old = node.data.ljust(at, b"\0")
            node.data = old[:at] + piece + old[at + written :]
            self._after(self)
            return written

        return call

    def _cutting(self, real: Callable[..., None]) -> Callable[..., None]:
        def call(descriptor: int, size: int) -> None:
            node = self._open.get(descriptor)
            if isinstance(node, File) and len(node.data) != size:
                self._before()
                real(descriptor, size)
                node.data = node.data[:size].ljust(size, b"\0")
                self._after(self)
            else:
                real(descriptor, size)

        return call

    def _flushing(self, descriptor: int) -> None:
        node = self._open.get(descriptor)
        if node is None:
            return
        self._before()
        node.flush()
        self._after(self)

    def _python_open(self, real: Callable[..., Any]) -> Callable[..., Any]:
        def call(file: Any, mode: str = "r", *rest: Any, **options: Any) -> Any:
            ours = not isinstance(file, int) and self.model.covers(os.fsdecode(file))
            if ours and set(mode) & set("wax+"):
                return python_file(file, mode, options)
            return real(file, mode, *rest, **options)

        return call
