"""The address of a backup location: a folder's path, or a URL."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import NamedTuple
from urllib.parse import unquote, urlsplit

from parambak.vault.locations.faults import ADDRESS, INSIDE, PASSWORD

MOST = 1000  # characters
SFTP = frozenset({"sftp", "ssh"})
# What reaches other stores, caches them, or only reads: nothing that keeps files whole.
NO_STORES = frozenset(
    {
        *("blockcache", "cached", "filecache", "simplecache"),
        *("data", "gist", "git", "github", "http", "https"),
        *("dir", "generic", "libarchive", "reference", "tar", "zip"),
    }
)


class Address(NamedTuple):
    """An address taken apart; `scheme` is that of a URL, `path` the path of a folder too."""

    text: str
    scheme: str
    path: str
    host: str = ""
    port: int | None = None
    user: str | None = None

    @property
    def is_folder(self) -> bool:
        """Return whether it is a folder on a disk, stick or share."""
        return not self.scheme


def parse(text: str) -> Address:
    """Split an address; raise CallRefused if it is no address or holds a password."""
    if not text or len(text) > MOST or not text.isprintable():
        expected = f"1 to {MOST} printing characters"
        strange = "".join(c for c in text if not c.isprintable())[:1]
        found = f"a character that does not print, U+{ord(strange):04X}" if strange else ""
        raise ADDRESS.error(expected=expected, found=found or f"{len(text)} characters")
    scheme, mark, path = text.partition("://")
    if not mark:
        if "::" in text:
            raise ADDRESS.error(expected="one address", found="a chain of several")
        return Address(text, "", text)
    if not scheme.isascii() or not scheme.replace("+", "").replace("-", "").isalnum():
        raise ADDRESS.error(expected="a URL", found="no scheme before ://")
    if "::" in path or "://" in path:
        raise ADDRESS.error(expected="one address", found="a chain of several")
    return _url(text, scheme.lower())


def _url(text: str, scheme: str) -> Address:
    try:
        parts = urlsplit(text)
        port, host = parts.port, parts.hostname or ""
    except ValueError as error:
        raise ADDRESS.error(expected="a URL", found="a host or port that is none") from error
    if parts.password is not None:
        raise PASSWORD.error(expected=f"{scheme}://USER@HOST/PATH", found="a password, not shown")
    if parts.query or parts.fragment:
        # What follows `?` is where other stores' URLs carry a key.
        raise PASSWORD.error(expected="no ? and no #", found="more behind the path, not shown")
    if scheme in NO_STORES:
        raise ADDRESS.error(expected="a store that keeps files", found=f"{scheme}://")
    if scheme in ("file", "local"):
        return Address(text, "", _local(parts.netloc, parts.path))
    if scheme in SFTP and (not host or parts.path in ("", "/")):
        raise ADDRESS.error(expected="sftp://USER@HOST/PATH", found=text)
    user = unquote(parts.username) if parts.username else None
    return Address(text, scheme, unquote(parts.path), host, port, user)


def _local(host: str, path: str) -> str:
    path = unquote(path)
    if host not in ("", "localhost"):
        return f"//{host}{path}"
    drive = sys.platform == "win32" and len(path) > 2 and path[0] == "/" and path[2] == ":"
    return path[1:] if drive else path


def kept_address(text: str, vault: Path) -> str:
    """Return an address as it is kept: a folder's path from the root, a URL as it is.

    Raise CallRefused if it is none, or a folder within the vault's or around it.
    """
    address = parse(text)
    if not address.is_folder:
        return text
    folder = Path(address.path).absolute()
    root, target = vault.resolve(), folder.resolve()
    if root.is_relative_to(target) or target.is_relative_to(root):
        raise INSIDE.error(file=text, expected="another disk or stick", found=str(root))
    return str(folder)
