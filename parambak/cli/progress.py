"""A line of progress for what may take longer than a second."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable


def _silent(done: int, total: int) -> None:
    """Take progress and show nothing."""
    del done, total


class Progress:
    """A line of progress on a terminal; nothing in a pipe or with --json.

    `with Progress(quiet=settings.json) as progress:` gives a function that is
    called with how many are done and how many there are; `doing` names the work.
    """

    def __init__(self, *, quiet: bool, doing: str = "checking") -> None:
        self._shown = not quiet and sys.stderr.isatty()
        self._doing = doing

    def __enter__(self) -> Callable[[int, int], None]:
        if not self._shown:
            return _silent
        from rich.console import Console  # noqa: PLC0415 - only on a terminal
        from rich.progress import Progress as Bar  # noqa: PLC0415 - the same

        self._bar = Bar(console=Console(stderr=True), transient=True)
        self._bar.start()
        task = self._bar.add_task(self._doing, total=None)
        return lambda done, total: self._bar.update(task, completed=done, total=total)

    def __exit__(self, *_: object) -> None:
        if self._shown:
            self._bar.stop()
