"""How large a dump may be. Every input within these is read in bounded time and memory."""

from __future__ import annotations

from typing import Final

MAX_FILE: Final = 64 * 1024 * 1024
"""Bytes in a dump file."""

MAX_IMAGE: Final = 16 * 1024 * 1024
"""Bytes that a dump's records may carry."""

MAX_SPAN: Final = 512 * 1024 * 1024
"""Bytes from the lowest address to the highest: a file of two lines can claim 4 GiB."""

MAX_LINES: Final = 2_500_000
"""Lines in a text dump: 16 MiB in records of 8 bytes are 2,097,152 of them."""

MAX_RANGES: Final = 262_144
"""Stretches of addresses in an image."""

PADDING_BLOCK: Final = 1024
"""The largest block that old transfer programs fill with 1A or 00 (XMODEM-1K)."""
