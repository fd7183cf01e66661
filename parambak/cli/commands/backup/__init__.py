"""The commands of `backup`, and an address as a person types it."""

from __future__ import annotations

from pathlib import Path


def typed_address(text: str) -> str:
    """Return an address, `~` at its beginning being the user's own folder.

    The ssh library's own messages are kept off the screen from here on: what matters of them
    becomes a refusal.
    """
    import logging  # noqa: PLC0415 - only if a backup location is opened

    library = logging.getLogger("paramiko")
    library.addHandler(logging.NullHandler())
    library.propagate = False
    return str(Path(text).expanduser()) if text.startswith("~") else text
