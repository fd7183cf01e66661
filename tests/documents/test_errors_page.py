from __future__ import annotations

from pathlib import Path
from types import ModuleType

from documents import errors
from parambak.errors import DumpRefused, Fault, VaultDamaged

ROOT = Path(__file__).parents[2]
ENDLESS = Fault("hex-endless", DumpRefused, "no end record", "read the chip again")
GONE = Fault("vault-gone", VaultDamaged, "the object {name} | is not there", "repair it")


def test_the_committed_page_is_what_the_program_gives() -> None:
    """formats/errors.md is as `python3 dev.py documents` writes it."""
    assert (ROOT / "formats" / "errors.md").read_text(encoding="utf-8") == errors.page()


def test_each_fault_has_one_row() -> None:
    """Code, exit code, kind, text and next stand in a row, a bar in a text made harmless."""
    text = errors.render([ENDLESS, GONE])
    assert "| `hex-endless` | 2 | DumpRefused | no end record | read the chip again |\n" in text
    assert "| `vault-gone` | 3 | VaultDamaged | the object {name} \\| is not there |" in text
    assert "2 codes:" in text


def test_a_fault_that_two_modules_hold_is_listed_once() -> None:
    """An imported constant is no second fault; order is by exit code, then code."""
    one, two = ModuleType("one"), ModuleType("two")
    vars(one).update(GONE=GONE, ENDLESS=ENDLESS)
    vars(two).update(ENDLESS=ENDLESS)
    assert errors.faults([one, two]) == [ENDLESS, GONE]


def test_every_kind_is_in_the_table_of_kinds() -> None:
    """The tree of errors is shown with its exit codes."""
    text = errors.render([])
    assert "| NotProven | 1 | A negative answer that stops the command" in text
    assert "| VaultDamaged | 3 | Bytes in the vault" in text
