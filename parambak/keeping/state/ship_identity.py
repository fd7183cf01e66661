"""IMO numbers: seven digits, of which the last checks the other six.

IMO ship identification number scheme (number of its resolution from memory: A.1117(30)):
the first six digits times 7, 6, 5, 4, 3, 2, added; the last digit of the sum is the
seventh digit. Ships sail with numbers that fail it, and a wrong number can pass it, so
it warns and never refuses.
"""

from __future__ import annotations

import re

from parambak.errors import CallRefused, Fault
from parambak.memory.findings import Finding

IMO_SHAPE = Fault(
    "imo-shape",
    CallRefused,
    "that is no IMO number",
    "Give the seven digits as on the ship's certificate, or leave the number out: "
    "a hull or official number can stand in its place.",
)
_SEVEN = re.compile(r"[ \t]*(?:IMO[ \t]*)?([0-9]{7})[ \t]*", re.IGNORECASE)


def imo_digit_right(number: str) -> bool:
    """Tell whether the last of seven digits is the one that the other six ask for."""
    weighted = zip(number[:6], range(7, 1, -1), strict=True)
    return sum(int(digit) * weight for digit, weight in weighted) % 10 == int(number[6])


def read_imo(text: str) -> tuple[str, tuple[Finding, ...]]:
    """Return the seven digits of `IMO 9074729` or `9074729`, and what there is to warn of.

    Raises CallRefused where it is not seven digits. A wrong check digit is a finding.
    """
    found = _SEVEN.fullmatch(text)
    if found is None:
        raise IMO_SHAPE.error(expected="seven digits, with or without IMO", found=repr(text[:40]))
    number = found[1]
    if imo_digit_right(number):
        return number, ()
    warning = (
        f"IMO number {number}: its last digit is not the one that the others ask for. "
        "Compare it with the ship's certificate. It is kept as given: some ships carry such a "
        "number, and a right last digit does not prove the right ship either."
    )
    return number, (Finding("imo-check-digit", warning),)
