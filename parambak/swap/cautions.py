"""The cautions that are shown wherever the tool leads towards a swap."""

from __future__ import annotations

CAUTIONS: tuple[str, ...] = (
    "Isolate and lock out the unit; tell all who depend on it before power goes off.",
    "Follow the maker's instructions and the ship's permit to work.",
    "Keep to static precautions; memory kept by a battery may be lost when the card comes out.",
    "Label the old card, bag it, and never overwrite it until the trials are done.",
    "Test every function and every safety action before return to service.",
    "Class, flag, local codes and licensed practice go before anything said here.",
    "Parambak compares bytes. It does not show that the unit is safe.",
)
