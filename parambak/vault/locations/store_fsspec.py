"""Any store that an fsspec URL reaches."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from parambak.vault.files import disk
from parambak.vault.locations.faults import ADDRESS, LIBRARY, UNREACHABLE
from parambak.vault.locations.stores import NO_FILE, FarStore

if TYPE_CHECKING:
    from parambak.vault.locations.address import Address


class FsspecStore(FarStore):
    """A store that fsspec supports; `system` is one of its file systems."""

    def __init__(self, shown: str, system: Any, root: str, writer: str) -> None:
        super().__init__(shown, root, writer)
        self._system = system

    def _names(self, path: str) -> dict[str, int]:
        self._system.invalidate_cache()
        listed = self._system.ls(path, detail=True)
        inside = [e for e in listed if e["name"].rstrip("/") != path.rstrip("/")]
        return {
            e["name"].rstrip("/").rpartition("/")[2]: NO_FILE
            if e["type"] != "file" or e["size"] is None
            else e["size"]
            for e in inside
        }

    def _read(self, path: str, most: int) -> bytes:
        with self._system.open(path, "rb") as file:
            return bytes(file.read(most))

    def _write(self, path: str, data: bytes) -> None:
        with self._system.open(path, "wb") as file:
            file.write(data)

    def _move(self, path: str, to: str) -> None:
        self._system.mv(path, to)

    def _remove(self, path: str) -> None:
        self._system.rm_file(path)

    def _make_folder(self, path: str) -> None:
        self._system.makedirs(path, exist_ok=True)


def reach(address: Address, writer: str) -> FsspecStore:
    """Return the store that an fsspec URL names; raise if it is none or cannot be reached."""
    try:
        import fsspec  # noqa: PLC0415 - slow, and only such a store needs it
    except ImportError as error:
        raise LIBRARY.error(
            file=address.text, found=f"no {error.name}", install="pip install 'parambak[store]'"
        ) from error
    if address.scheme not in fsspec.available_protocols():
        raise ADDRESS.error(expected="a folder, sftp:// or a store of fsspec", found=address.text)
    try:
        system, path = fsspec.core.url_to_fs(
            address.text, skip_instance_cache=True, use_listings_cache=False
        )
    except ImportError as error:
        found = disk.shown(str(error))
        install = "pip install what `found` names"
        raise LIBRARY.error(file=address.text, found=found, install=install) from error
    except Exception as error:
        # After any error of another's library, the store counts as not reached.
        found = disk.shown(f"{type(error).__name__}: {error}")
        raise UNREACHABLE.error(file=address.text, found=found) from error
    return FsspecStore(address.text, system, path, writer)
