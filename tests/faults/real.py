"""Real file systems: FAT and ext4 of a Linux kernel, and its power really cut.

If this machine can mount an image (`mount -o loop`, as root with the driver), it does. Otherwise a
Linux kernel that runs as a process does it (Debian's package user-mode-linux), whose root is this
machine's own tree. Its power is cut by `kill -9`: what it had not written to the image is lost. FAT
and ext4 are made by mkfs.fat (dosfstools) and mkfs.ext4 (e2fsprogs).
"""

from __future__ import annotations

import json
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tests.faults.fat import run_on

if TYPE_CHECKING:
    from collections.abc import Iterator

ROOT = Path(__file__).parents[2]
SIZE = 64 << 20
MAKE = {"fat": ["mkfs.fat", "-F", "32"], "ext4": ["mkfs.ext4", "-q", "-F"]}
KERNEL = "linux.uml"
BOOT = 120  # seconds after which a kernel that gives no answer is removed
LONGEST = 1.5  # seconds of writing until the power is cut


@dataclass
class Figures:
    """The result of a run: cuts, reads acknowledged before one, and what was wrong."""

    cuts: int = 0
    acknowledged: int = 0
    wrong: list[str] = field(default_factory=list)


def program(name: str) -> str:
    """Return the path of a program of the system; raise OSError if it is not there."""
    found = shutil.which(name, path=f"{os.environ.get('PATH', '')}:/usr/sbin:/sbin:/usr/bin")
    if found is None:
        raise OSError(f"{name} is not installed")
    return found


def said(command: list[str]) -> None:
    """Run a program of the system; raise OSError with its own words if it fails."""
    whole = [program(command[0]), *command[1:]]
    done = subprocess.run(whole, capture_output=True, text=True, check=False, timeout=60)
    if done.returncode:
        words = (done.stderr or done.stdout).strip().splitlines() or ["it failed"]
        raise OSError(f"{command[0]}: {words[0]}")


def image(base: Path, kind: str) -> Path:
    """Return a new image with an empty file system in it."""
    base.mkdir(parents=True, exist_ok=True)
    path = base / f"{kind}.img"
    path.unlink(missing_ok=True)
    with path.open("wb") as file:
        file.truncate(SIZE)
    said([*MAKE[kind], str(path)])
    return path


@contextmanager
def mounted(base: Path, kind: str) -> Iterator[Path]:
    """Mount a new image while the block runs; raise OSError if this machine cannot."""
    path, point = image(base, kind), base / "mounted"
    point.mkdir(exist_ok=True)
    said(["mount", "-o", "loop", str(path), str(point)])
    try:
        yield point
    finally:
        said(["umount", str(point)])


def commands_on(base: Path, kind: str) -> tuple[str, int, list[str]]:
    """Call every command on a real file system; return how it was mounted, how many, and faults.

    Raises OSError, with each reason, if this machine offers no way.
    """
    try:
        with mounted(base, kind) as point:
            found = run_on(point)
    except OSError as error:
        first = str(error)
    else:
        return "mounted", found.commands, found.wrong
    try:
        answer = Kernel(base, image(base, kind), kind, "commands").answer()
    except OSError as error:
        raise OSError(f"{first}; {error}") from error
    return "in a kernel of its own", answer["commands"], answer["wrong"]


class Kernel:
    """A Linux kernel that runs as a process, with one image to mount, and one thing to do."""

    def __init__(self, base: Path, path: Path, kind: str, task: str, seed: int = 0) -> None:
        self._answer = base / "answer.json"
        self._answer.unlink(missing_ok=True)
        self.said = base / "said.txt"
        self.said.unlink(missing_ok=True)
        first = base / "init"
        told = {"kind": kind, "task": task, "seed": seed, "base": str(base), "path": sys.path}
        first.write_text(
            f"#!{sys.executable}\nimport sys\nsys.path[:0] = [{str(ROOT)!r}]\n"
            f"from tests.faults import real_guest\nreal_guest.run({told!r})\n",
            encoding="utf-8",
        )
        first.chmod(0o755)
        words = ["mem=384M", "root=/dev/root", "rootfstype=hostfs", "rootflags=/", "rw", "quiet"]
        more = [f"init={first}", f"ubd0={path}", "con=null", "random.trust_cpu=on"]
        self._process = subprocess.Popen(
            [program(KERNEL), *words, *more],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )

    def answer(self) -> dict[str, Any]:
        """Wait until it has ended, and return what it answered."""
        try:
            self._process.wait(BOOT)
        except subprocess.TimeoutExpired:
            self.cut()
            raise OSError(f"{KERNEL} gave no answer") from None
        if not self._answer.exists():
            raise OSError(f"{KERNEL} ended without an answer")
        found: dict[str, Any] = json.loads(self._answer.read_text(encoding="utf-8"))
        return found

    def wait_for(self, word: str) -> bool:
        """Wait until it has sent a word; False if it ended before."""
        for _ in range(BOOT * 20):
            if self.said.exists() and word in self.said.read_text(encoding="utf-8"):
                return True
            if self._process.poll() is not None:
                return False
            time.sleep(0.05)
        return False

    def cut(self) -> None:
        """Cut its power."""
        with suppress(ProcessLookupError):
            os.killpg(self._process.pid, signal.SIGKILL)
        self._process.wait()


def cut_off(base: Path, kind: str, count: int, seed: int) -> Figures:
    """Cut the power of a kernel that writes, so many times, always on the same image.

    Each time it first checks what the last cut left: the reads that were acknowledged (they
    are in `said.txt`, which is on this machine), and the whole vault; on FAT that after
    fsck.fat has repaired it, as the system asks for. Raises OSError if no such kernel is
    installed.
    """
    chance, figures, known = random.Random(seed), Figures(), set[str]()
    path = image(base, kind)
    for number in range(count + 1):
        (base / "known.json").write_text(json.dumps(sorted(known)), encoding="utf-8")
        kernel = Kernel(base, path, kind, "write", seed=seed * 1000 + number)
        try:
            if not kernel.wait_for("checked"):
                figures.wrong.append(f"cut {number}: nothing was answered")
                break
            time.sleep(chance.random() * LONGEST)
        finally:
            kernel.cut()
        lines = kernel.said.read_text(encoding="utf-8").splitlines()
        figures.wrong += [f"cut {number}: {line}" for line in lines if line.startswith("wrong")]
        known |= {line.split()[1] for line in lines if line.startswith("read ")}
    figures.cuts, figures.acknowledged = count, len(known)
    return figures
