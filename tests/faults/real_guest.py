"""The first process of the kernel that real.py starts: mounts the image, does one thing, ends."""

from __future__ import annotations

import ctypes
import json
import os
import subprocess
import time
import traceback
from dataclasses import asdict
from pathlib import Path
from typing import Any

from parambak.errors import ParambakError

MODULES = ("nls/nls_cp437", "nls/nls_iso8859-1", "nls/nls_ascii", "fat/fat", "fat/vfat")
MOUNTED = {"fat": (b"vfat", b"iocharset=iso8859-1"), "ext4": (b"ext4", b"")}
FINIT_MODULE = 313  # its number among Linux's calls on x86-64
POWER_OFF = 0x4321FEDC
MOST_READS = 60


def run(told: dict[str, Any]) -> None:
    """Do the requested work, report the result, and end the kernel."""
    libc = ctypes.CDLL(None, use_errno=True)
    base = Path(told["base"])
    try:
        libc.mount(b"proc", b"/proc", b"proc", 0, None)
        libc.mount(b"tmpfs", b"/mnt", b"tmpfs", 0, None)
        _load(libc, told["kind"])
        point = _mounted(libc, told["kind"])
        if told["task"] == "commands":
            from tests.faults.fat import run_on

            found = run_on(point)
            (base / "answer.json").write_text(json.dumps(asdict(found)), encoding="utf-8")
        else:
            _check(base, point, whole=told["kind"] != "fat")
            libc.umount(os.fsencode(point))
            _mend(told["kind"])
            _check(base, _mounted(libc, told["kind"]), whole=True)
            _say(base, "checked")
            _write_on(base, point, told["seed"])
    except ParambakError as error:
        _say(base, f"wrong: {error.document()}")
    except BaseException:  # noqa: BLE001 - nobody else hears it
        _say(base, f"wrong: {traceback.format_exc()!r}")
    finally:
        os.sync()
        libc.reboot(POWER_OFF)


def _load(libc: ctypes.CDLL, kind: str) -> None:
    modules = Path("/usr/lib/uml/modules") / os.uname().release / "kernel" / "fs"
    if kind == "fat":
        for module in MODULES:
            descriptor = os.open(modules / f"{module}.ko", os.O_RDONLY)
            libc.syscall(FINIT_MODULE, descriptor, b"", 0)
            os.close(descriptor)


def _mend(kind: str) -> None:
    """Have FAT checked, as the system requires: else it refuses writes after a fault."""
    if kind == "fat":
        from tests.faults.real import program

        subprocess.run([program("fsck.fat"), "-a", "/dev/ubda"], check=False, capture_output=True)


def _mounted(libc: ctypes.CDLL, kind: str) -> Path:
    point = Path("/mnt/image")
    point.mkdir(exist_ok=True)
    name, options = MOUNTED[kind]
    if libc.mount(b"/dev/ubda", os.fsencode(point), name, 0, options):
        raise OSError(ctypes.get_errno(), f"{kind} cannot be mounted")
    return point


def _check(base: Path, point: Path, *, whole: bool) -> None:
    """Check what the last cut left: the reads that were acknowledged, or the whole vault."""
    known = json.loads((base / "known.json").read_text(encoding="utf-8"))
    for wrong in _checked(point / "ship", known, whole=whole):
        _say(base, f"wrong: {wrong}")


def _write_on(base: Path, point: Path, seed: int) -> None:
    """Archive one dump after the other until the next cut."""
    here = point / "ship"
    here.mkdir(exist_ok=True)
    from parambak.dumps.registry import write_dump
    from parambak.memory.image import Image
    from tests.faults.commands import MEMORY, call, repeating

    words = ("--vessel", "grebe", "--unit", "one", "--position", "U12", "--no-file-times")
    with repeating(seed, flushes=True):
        for number in range(MOST_READS):
            memory = f"{seed:8}{number:8}".encode() + MEMORY[16:]
            dump = Path("/mnt/dump.hex")
            dump.write_bytes(write_dump(Image.of(memory), "intel-hex"))
            outcome = call(here, ("archive", str(dump), *words))
            if outcome.code != 0:
                _say(base, f"wrong: {outcome.said!r}")
                break
            _say(base, f"read {outcome.document['sha256']}")
    time.sleep(60)  # until the power is cut


def _checked(here: Path, known: list[str], *, whole: bool) -> list[str]:
    from parambak.memory.digests import sha256
    from tests.faults import soundness

    true_then = ("vault-own-damaged", "vault-first-record-missing")
    wrong = soundness.faults_of(here, allowed=true_then) if whole else []
    held = soundness.facts(soundness.bytes_of(here / "vault")) if here.exists() else {}
    records = b"".join(data for name, data in held.items() if name.startswith("records/"))
    for digest in known:
        data = held.get(f"objects/{digest[:2]}/{digest}")
        if data is None or sha256(data) != digest or digest.encode() not in records:
            wrong.append(f"{digest} was acknowledged, and is lost")
    return wrong


def _say(base: Path, line: str) -> None:
    """Send a line to the machine outside, where it outlasts this kernel."""
    with (base / "said.txt").open("a", encoding="utf-8") as file:
        file.write(line + "\n")
        file.flush()
        os.fsync(file.fileno())
