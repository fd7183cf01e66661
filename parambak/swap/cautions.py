"""The cautions that are shown wherever the tool leads towards a swap."""

from __future__ import annotations

# The route on which nothing is loaded: common practice, no source.
MOVE_CHIP: tuple[str, ...] = (
    "Read the old chip twice before it is moved, and archive both reads: it may break on the way.",
    (
        "Keep a duplicate at hand: a spare chip of the same part loaded from `swap load-file`, or "
        "that file and a reader that can load it."
    ),
    "Note or photograph which way round the chip sits. Lift it straight, by both ends.",
    "Fit it to the new card with power off; look for bent and folded pins.",
    "Read it again on the new card before power-up, and give the reads to `swap read-back`.",
    (
        "Links, switches, address and program memories stay with each card: compare the two sheets "
        "with `card compare` first."
    ),
)
CAUTIONS: tuple[str, ...] = (
    "Isolate and lock out the unit; tell all who depend on it before power goes off.",
    "Follow the maker's instructions and the ship's permit to work.",
    "Keep to static precautions; memory kept by a battery may be lost when the card comes out.",
    "Label the old card, bag it, and never overwrite it until the trials are done.",
    "Test every function and every safety action before return to service.",
    "Class, flag, local codes and licensed practice go before anything said here.",
    "Parambak compares bytes. It does not show that the unit is safe.",
)
