"""How a chip can be read, as a record names it."""

from __future__ import annotations

HOW = ("socket", "clip", "in-circuit", "service-port")
POWERED = ("in-circuit", "service-port")
"""Ways in which other parts of the card can falsify two reads alike."""
