"""The syntax trees of the sources, made once for all rules that look at them."""

from __future__ import annotations

import ast
from functools import cache


@cache
def parsed(text: str) -> ast.Module:
    """Return the tree of a source; nobody changes it."""
    return ast.parse(text)
