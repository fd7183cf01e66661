"""What every test shares: hypothesis without a clock, since a busy machine is no failure.

A working copy tests itself, in the processes that tests start too, whatever is installed.
"""

from __future__ import annotations

import os
from pathlib import Path

from hypothesis import HealthCheck, settings

settings.register_profile(
    "unhurried", deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=False
)
settings.load_profile("unhurried")

os.environ["PYTHONPATH"] = str(Path(__file__).parents[1])
