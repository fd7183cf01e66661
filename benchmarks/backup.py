"""A backup location as loose files and as packs: what each takes on a stick with FAT, and how long.

    .venv/bin/python benchmarks/backup.py [--quick] [--in FOLDER]

An invented vault of 200 vessels (benchmarks/vaults) is sent to both kinds of backup location in a
folder, and again when it is all there. Both are then copied into a FAT32 image of 32 KiB
clusters by mtools, whose clusters fsck.fat counts; without those programs they are worked
out. The target: packs take at most a fifth of what loose files take there.
"""

from __future__ import annotations

import argparse
import re
import shutil
import subprocess
import sys
import tempfile
import time
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from benchmarks.vaults.invent import invent
from parambak.vault.locations.location import make_location
from parambak.vault.locations.packed import send_packed
from parambak.vault.locations.send import Location, send
from parambak.vault.locations.stores import FolderStore
from parambak.vault.vault import Vault

if TYPE_CHECKING:
    from parambak.vault.locations.send import Sent

COPIES, QUICK = 10_000, 200
CLUSTER = 32 << 10  # the default of a stick of 32 GB and more
IMAGE = 6 << 30
TARGET = 0.2
TOOLS = ("mkfs.fat", "mcopy", "fsck.fat")


def nothing(_done: int, _of: int) -> None:
    """Show no progress."""


def sent(vault: Vault, folder: Path, *, packed: bool) -> tuple[Sent, Sent, float, float]:
    """Send twice; return both results and their seconds."""
    store = FolderStore(folder)
    identity = make_location(
        store, vault=vault.identity, known=(), limited=False, packed=packed, merge=False
    )
    target = Location(identity, packed=packed)
    results, seconds = [], []
    for _ in range(2):
        begun = time.perf_counter()
        if packed:
            sent = send_packed(vault, store, target, {}, nothing, quick=False, both_ways=False)
            results.append(sent)
        else:
            results.append(send(vault, store, target, nothing))
        seconds.append(time.perf_counter() - begun)
    return results[0], results[1], seconds[0], seconds[1]


def sizes(folder: Path) -> list[int]:
    """Return the length of each file below a folder."""
    return [file.stat().st_size for file in folder.rglob("*") if file.is_file()]


def worked_out(folder: Path) -> int:
    """Return the bytes that files and folders take in whole clusters of FAT32.

    A folder has an entry of 32 bytes for each file, and one more for every 13 letters of
    its long name (Microsoft, FAT: General Overview of On-Disk Format, 1.03).
    """
    clusters = sum(-(-size // CLUSTER) for size in sizes(folder))
    for each in (folder, *(path for path in folder.rglob("*") if path.is_dir())):
        entries = sum(1 + -(-len(name.name) // 13) for name in each.iterdir())
        clusters += max(1, -(-entries * 32 // CLUSTER))
    return clusters * CLUSTER


def in_fat(folder: Path, image: Path) -> int | None:
    """Return the bytes that a real FAT32 image gives to the folder; None without the programs."""
    if not all(map(shutil.which, TOOLS)):
        return None
    image.unlink(missing_ok=True)
    make = ["mkfs.fat", "-F", "32", "-s", str(CLUSTER // 512), "-C", str(image), str(IMAGE >> 10)]
    subprocess.run(make, check=True, capture_output=True)
    copy = ["mcopy", "-s", "-Q", "-i", str(image), *map(str, sorted(folder.iterdir())), "::"]
    subprocess.run(copy, check=True, capture_output=True)
    done = subprocess.run(
        ["fsck.fat", "-n", str(image)], check=True, capture_output=True, text=True
    )
    image.unlink()
    counted = re.search(r"(\d+)/\d+ clusters", done.stdout)
    return int(counted[1]) * CLUSTER if counted else None


def main(arguments: list[str]) -> int:
    """Print every figure; return 1 if the target is missed, but never with `--quick`."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--in", dest="folder")
    given = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory(dir=given.folder) as name:
        top = Path(name)
        copies = QUICK if given.quick else COPIES
        invent(top / "vault", copies)
        vault = Vault.open(
            top / "vault", own=top / "own", clock=lambda: datetime.now().astimezone()
        )
        taken = {}
        for kind in ("loose", "packed"):
            folder = top / kind
            folder.mkdir()
            first, second, took, again = sent(vault, folder, packed=kind == "packed")
            held = sizes(folder)
            real = None if given.quick else in_fat(folder, top / "fat.img")
            taken[kind] = real or worked_out(folder)
            print(
                f"{kind}: {copies:,} copies, {len(held):,} files of {sum(held) / 1e6:.1f} MB; "
                f"on FAT32 with clusters of 32 KiB {taken[kind] / 1e6:.1f} MB"
                f" ({'a real image' if real else 'worked out'};"
                f" worked out {worked_out(folder) / 1e6:.1f} MB); sent in {took:.1f} s "
                f"({first.sent} files), hashed again in {again:.1f} s ({second.sent} sent)",
                flush=True,
            )
        vault.close()
    ratio = taken["packed"] / taken["loose"]
    print(f"packed takes {ratio:.3f} of loose; target at most {TARGET}")
    return 1 if ratio > TARGET and not given.quick else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
