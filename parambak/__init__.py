"""Parambak: keeps, verifies and compares the parameter memories of ships' control units.

What stands in `__all__` is the Python API; it is imported where it is first used.
"""

from importlib import import_module
from typing import TYPE_CHECKING

__version__ = "0.1.0"

# --- written by `python3 dev.py documents` from the answers; do not edit by hand ---
__all__ = [
    "CallRefused",
    "CatalogueAnswer",
    "CatalogueQuestion",
    "Differences",
    "DumpRefused",
    "InspectAnswer",
    "InspectQuestion",
    "LayoutRefused",
    "NotFound",
    "NotProven",
    "PackRefused",
    "ParambakError",
    "Session",
    "SheetRefused",
    "VaultDamaged",
    "VaultRefused",
    "__version__",
    "ask",
    "compare",
    "decode",
    "load_layout",
    "open_vault",
    "read_dump",
]
_MODULES = {
    "CallRefused": "errors",
    "CatalogueAnswer": "answers.catalogue",
    "CatalogueQuestion": "answers.catalogue",
    "Differences": "api",
    "DumpRefused": "errors",
    "InspectAnswer": "answers.inspect",
    "InspectQuestion": "answers.inspect",
    "LayoutRefused": "errors",
    "NotFound": "errors",
    "NotProven": "errors",
    "PackRefused": "errors",
    "ParambakError": "errors",
    "Session": "answers.session",
    "SheetRefused": "errors",
    "VaultDamaged": "errors",
    "VaultRefused": "errors",
    "ask": "api",
    "compare": "api",
    "decode": "api",
    "load_layout": "api",
    "open_vault": "api",
    "read_dump": "api",
}

if TYPE_CHECKING:
    from typing import Any, overload

    from parambak.answers.catalogue import CatalogueAnswer, CatalogueQuestion
    from parambak.answers.inspect import InspectAnswer, InspectQuestion
    from parambak.answers.session import Session
    from parambak.api import Differences, compare, decode, load_layout, open_vault, read_dump
    from parambak.errors import (
        CallRefused,
        DumpRefused,
        LayoutRefused,
        NotFound,
        NotProven,
        PackRefused,
        ParambakError,
        SheetRefused,
        VaultDamaged,
        VaultRefused,
    )

    @overload
    def ask(session: Session, question: CatalogueQuestion) -> CatalogueAnswer: ...

    @overload
    def ask(session: Session, question: InspectQuestion) -> InspectAnswer: ...

    def ask(session: Session, question: Any) -> Any:
        """Return the answer; raise ParambakError where there is none."""

# --- the end of what is written by `python3 dev.py documents` ---


def __getattr__(name: str) -> object:
    """Import what is asked for from the module that has it."""
    if name not in _MODULES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"parambak.{_MODULES[name]}"), name)
