"""What every test shares: hypothesis without a clock, since a busy machine is no failure."""

from __future__ import annotations

from hypothesis import HealthCheck, settings

settings.register_profile(
    "unhurried", deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=False
)
settings.load_profile("unhurried")
