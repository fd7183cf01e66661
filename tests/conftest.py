"""What every test shares: hypothesis without a clock, because a busy machine is no failure.

A working copy tests itself, in the processes that tests start too, whatever is installed.
Thousands of small vaults are made, so the tests' folders are in memory if it has room, and
garbage is collected as rarely as in the program itself (`cli/main.py`).
"""

from __future__ import annotations

import gc
import os
import shutil
from pathlib import Path

from hypothesis import HealthCheck, settings

settings.register_profile(
    "unhurried", deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=False
)
settings.load_profile("unhurried")

os.environ["PYTHONPATH"] = str(Path(__file__).parents[1])

gc.set_threshold(100_000, 20, 100)

_MEMORY = Path("/dev/shm")  # noqa: S108 - pytest makes a folder of its own in it
_ROOM = 2 << 30  # bytes
if _MEMORY.is_dir() and shutil.disk_usage(_MEMORY).free > _ROOM:
    os.environ.setdefault("PYTEST_DEBUG_TEMPROOT", str(_MEMORY))
