"""A person's name and a reason are words: a record that names nobody settles nothing."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from tests.stories.conftest import Laptop

AT = "grebe/winch/U3"
SIGNED = (
    f"accept-loss {AT}",
    f"swap open {AT}",
    f"swap close {AT} --emergency --old-card-to ashore",
    f"withdraw {AT}@latest",
    f"correct {AT}@latest --read-on 2026-01-02",
    "undo",
)


@pytest.mark.parametrize("line", SIGNED)
@pytest.mark.parametrize("blank", ["''", "' '", "'\u00a0'"])
@pytest.mark.parametrize("option", ["by", "reason"])
def test_a_blank_name_or_reason_is_refused(
    laptop: Laptop, line: str, blank: str, option: str
) -> None:
    """Whoever signs a record is named, and says why; nothing is written otherwise."""
    laptop.dump("A.BIN", bytes(range(256)) * 8)
    laptop.yes("archive A.BIN --vessel grebe --unit winch --position U3 --by 'A. Fitter'")
    signed = {"by": "'A. Fitter'", "reason": "'seen aboard'", option: blank}
    words = " ".join(f"--{name} {text}" for name, text in signed.items())
    before = laptop.json("history " + AT, 0)
    result = laptop.json(f"{line} {words}", 2)
    assert result["error"]["code"] == "text-blank"
    assert laptop.json("history " + AT, 0) == before
