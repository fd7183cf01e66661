"""A layout file with mistakes of shape: all of them noted, and the rest still read.

The checked-model library stops at the first mistake. This walk goes through the tree along
the same model, notes every mistake, and leaves out what cannot be read.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import msgspec
from msgspec import inspect

from parambak.layouts import faults, field_types
from parambak.layouts.field_types import FieldType
from parambak.layouts.mistakes import describe, kind_of
from parambak.layouts.model import Field, LayoutFile, structured
from parambak.layouts.suggestions import key_advice, kind_advice, word_advice

if TYPE_CHECKING:
    from parambak.errors import Fault
    from parambak.layouts.mistakes import Ledger, Path, Source


class _Absent:
    """The replacement for a value that cannot be read."""


_ABSENT = _Absent()


def salvaged(source: Source, ledger: Ledger) -> LayoutFile | None:
    """Note every mistake of shape; return all that can be read of the file as structs."""
    walk = _Walk(source, ledger)
    kept = walk.value(source.tree, inspect.type_info(LayoutFile), ())
    try:
        return structured(kept)
    except msgspec.ValidationError as error:
        # What the walk did not see is still a mistake, in the words of the library.
        ledger.note(
            faults.WRONG_KIND,
            source,
            (),
            found=str(error)[:200],
            key="a value",
            advice="Correct the value.",
        )
        return None


class _Walk:
    def __init__(self, source: Source, ledger: Ledger) -> None:
        self.source = source
        self.ledger = ledger

    def note(self, fault: Fault, path: Path, expected: str, value: object, **names: object) -> Any:
        found = describe(value)
        if fault is faults.WRONG_KIND and not found.startswith(("a ", '"')):
            found = f"{kind_of(value)}, {found}"
        elif fault is faults.WRONG_KIND and isinstance(value, str):
            found = f"text, {found}"
        if fault is faults.WRONG_KIND:
            names["advice"] = kind_advice(expected, value)
        self.ledger.note(fault, self.source, path, expected=expected, found=found, **names)
        return _ABSENT

    def value(self, node: Any, kind: inspect.Type, path: Path) -> Any:
        """Return `node` with what cannot be read left out, or `_ABSENT`."""
        if isinstance(kind, inspect.Metadata):
            kind = kind.type
        if isinstance(kind, inspect.UnionType):
            kind = next(member for member in kind.types if not isinstance(member, inspect.NoneType))
            return self.value(node, kind, path)
        name = type(kind).__name__.removesuffix("Type").lower()
        checker = getattr(self, f"_{name}")
        return checker(node, kind, path)

    def _int(self, node: Any, kind: inspect.IntType, path: Path) -> Any:
        if not isinstance(node, int) or isinstance(node, bool):
            return self.note(faults.WRONG_KIND, path, "a whole number", node)
        low, high = kind.ge, kind.le
        if (low is not None and node < low) or (high is not None and node > high):
            bounds = f"{'' if low is None else low} to {'' if high is None else high}".strip()
            return self.note(faults.OUT_OF_BOUNDS, path, f"a whole number, {bounds}", node)
        return node

    def _custom(self, node: Any, kind: inspect.CustomType, path: Path) -> Any:
        if kind.cls is FieldType:
            return self.word(node, list(field_types.TYPES), path)
        if isinstance(node, bool) or not (isinstance(node, int) or kind_of(node).endswith("point")):
            return self.note(faults.WRONG_KIND, path, "a number", node)
        return node

    def _bool(self, node: Any, _: inspect.BoolType, path: Path) -> Any:
        if not isinstance(node, bool):
            return self.note(faults.WRONG_KIND, path, "true or false", node)
        return node

    def _str(self, node: Any, kind: inspect.StrType, path: Path) -> Any:
        if not isinstance(node, str):
            return self.note(faults.WRONG_KIND, path, "text", node)
        if len(node) < (kind.min_length or 0) or len(node) > (kind.max_length or len(node)):
            expected = f"{kind.min_length or 0} to {kind.max_length} characters"
            return self.note(faults.OUT_OF_BOUNDS, path, expected, node)
        return node

    def _literal(self, node: Any, kind: inspect.LiteralType, path: Path) -> Any:
        return self.word(node, [str(word) for word in kind.values], path)

    def word(self, node: Any, words: list[str], path: Path) -> Any:
        """Return `node` if it is one of the words."""
        if not isinstance(node, str):
            return self.note(faults.WRONG_KIND, path, "text", node)
        if node not in words:
            expected = "one of " + ", ".join(words)
            return self.note(
                faults.UNKNOWN_WORD, path, expected, node, advice=word_advice(node, words)
            )
        return node

    def _dict(self, node: Any, kind: inspect.DictType, path: Path) -> Any:
        if not isinstance(node, dict):
            return self.note(faults.WRONG_KIND, path, "a table", node)
        kept = {
            key: self.value(inner, kind.value_type, (*path, key)) for key, inner in node.items()
        }
        return {key: inner for key, inner in kept.items() if inner is not _ABSENT}

    def _tuple(self, node: Any, kind: inspect.TupleType, path: Path) -> Any:
        length = len(kind.item_types)
        if not isinstance(node, list) or len(node) != length:
            return self.note(faults.WRONG_KIND, path, f"a list of {length}", node)
        kept = [
            self.value(inner, item, (*path, index))
            for index, (inner, item) in enumerate(zip(node, kind.item_types, strict=True))
        ]
        return _ABSENT if any(inner is _ABSENT for inner in kept) else kept

    def _vartuple(self, node: Any, kind: inspect.VarTupleType, path: Path) -> Any:
        if not isinstance(node, list):
            expected = "a list"
            if isinstance(kind.item_type, inspect.StructType):
                expected = f"tables, each with a first line [[{path[-1]}]]"
            return self.note(faults.WRONG_KIND, path, expected, node)
        length, most = len(node), kind.max_length
        if length < (kind.min_length or 0) or (most is not None and length > most):
            expected = f"{kind.min_length or 0} to {most} entries"
            return self.note(faults.OUT_OF_BOUNDS, path, expected, node)
        kept = [
            self.value(entry, kind.item_type, (*path, index)) for index, entry in enumerate(node)
        ]
        good = [index for index, entry in enumerate(kept) if entry is not _ABSENT]
        if len(good) != length:
            if not isinstance(kind.item_type, inspect.StructType):
                return _ABSENT
            self.source.kept[path] = good
        return [kept[index] for index in good]

    def _struct(self, node: Any, kind: inspect.StructType, path: Path) -> Any:
        if not isinstance(node, dict):
            return self.note(faults.WRONG_KIND, path, "a table", node)
        fields = {field.encode_name: field for field in kind.fields}
        kept = {}
        for key, value in node.items():
            if key not in fields:
                self.unknown_key(path, key, list(fields))
                continue
            made = self.value(value, fields[key].type, (*path, key))
            if made is not _ABSENT:
                kept[key] = made
        for name, field in fields.items():
            if field.required and name not in node:
                self.ledger.note(
                    faults.KEY_MISSING, self.source, path, key=name, expected=f"`{name}`"
                )
        if kind.cls is Field and "at" not in kept:
            kept.update(at=0, shares=True)  # so that the rest of the field is still judged
        if any(field.required and name not in kept for name, field in fields.items()):
            return _ABSENT
        return kept

    def unknown_key(self, path: Path, key: str, keys: list[str]) -> None:
        if self.ledger.full:
            return
        self.ledger.note(
            faults.UNKNOWN_KEY,
            self.source,
            (*path, key),
            where=self.source.where(path),
            key=describe(key).strip('"'),
            expected="a key of the language",
            found=describe(key),
            advice=key_advice(key, keys),
        )
