"""Every kind of record, damaged and removed, at the end and in the middle: never a yes.

From no to yes in 0 cases. What is put on record of each kind is the example of its bytes, so it
changes no answer here: the yes before is a yes, and each loss alone must end it.
"""

from __future__ import annotations

import shutil
from collections import Counter
from contextlib import contextmanager
from typing import TYPE_CHECKING

import pytest

from parambak.errors import ParambakError
from parambak.keeping.assess import Assessor
from parambak.keeping.recording.packs import pack, take_pack
from parambak.keeping.state.bodies import KINDS
from parambak.keeping.state.conditions import questions
from parambak.swap import ending, recording
from parambak.swap.state import swap_state
from parambak.vault.index import index
from parambak.vault.records import file_of
from tests.keeping.conftest import CHIPS, LAYOUT, WHERE, Laptop, image
from tests.keeping.state.test_bodies import GOLDEN

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

BY = "A. Invented"
ABOUT_VAULT = {"recheck", "backup-location"}
RULES = b"[rules]\ntitle = 'invented'\nsource = 'invented'\n"
# Its loss can only make an answer worse, and no note is kept of it: formats/vault.md.
PASSING = {"recheck", "held"}
EXAMPLES = {kind: body for kind, body, _ in GOLDEN}


def spoil(path: Path) -> None:
    """Turn one bit."""
    path.chmod(0o644)
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(bytes(data))


def remove(path: Path) -> None:
    """Remove a file."""
    path.chmod(0o644)
    path.unlink()


LOSSES: dict[str, Callable[[Path], None]] = {"damaged": spoil, "removed": remove}


def yes(laptop: Laptop) -> list[str]:
    """Return which of the answers about the position are yes."""
    position = laptop.position()
    assessor = Assessor(laptop.vault, CHIPS)
    state = swap_state(laptop.fleet, assessor, WHERE)
    complete = next(c for c in state.readiness().conditions if c.condition == "records-complete")
    copy = position.latest
    answers = {
        "verified": copy is not None and assessor.verdict(position, copy).verified,
        "ready": state.readiness().ready,
        "complete": complete.met is True,
    }
    return [name for name, met in answers.items() if met]


def ready(laptop: Laptop) -> None:
    """Make a verified copy, and a swap that may begin."""
    laptop.take(image(), image(), layout=LAYOUT, chip="T256")
    recording.open_swap(
        Assessor(laptop.vault, CHIPS),
        WHERE,
        why="dead",
        by=BY,
        route="load",
        old_card=None,
        new_card=None,
    )
    answers = [recording.GivenAnswer(name, "yes", "seen") for name in questions()]
    recording.answer(laptop.vault, WHERE, answers, by=BY)


def note(laptop: Laptop, kind: str) -> str:
    """Put the example of a kind on record; return its digest."""
    vault = laptop.vault
    (vessel,) = vault.vessels()
    about = None if kind in ABOUT_VAULT else vessel
    with vault.writing() as writing:
        members = EXAMPLES[kind].members()
        if kind == "ships-rules":
            members["rules"] = writing.put(RULES)
        if kind == "left-out":  # of a source of which all came in, so that yes stays yes
            members = {"source": members["source"]}
        if kind == "withdrawn":  # of a record here that changes no answer
            example = EXAMPLES["on-purpose"].members()
            members["records"] = [writing.add("on-purpose", about, example)]
        return writing.add(kind, about, members)


@contextmanager
def lost(laptop: Laptop, digest: str, how: str) -> Iterator[None]:
    """Lose a record for a while; then all files, the user's note too, are as they were."""
    kept = laptop.root.parent.with_suffix(".kept")
    shutil.copytree(laptop.root.parent, kept)
    LOSSES[how](laptop.root / file_of(digest))
    yield
    laptop.close()
    shutil.rmtree(laptop.root.parent)
    kept.rename(laptop.root.parent)


def test_every_kind_lost_ends_every_yes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As the newest record and in the middle, before and after a swap was opened, and indexed."""
    laptop = Laptop(tmp_path / "one")
    ready(laptop)
    assert yes(laptop) == ["verified", "ready", "complete"]
    cases: Counter[str] = Counter()
    wrong: list[tuple[object, ...]] = []
    for kind in sorted(KINDS):
        digest = note(laptop, kind)
        assert yes(laptop) == ["verified", "ready", "complete"], kind
        for how in LOSSES:
            with lost(laptop, digest, how):
                found = refused_or(yes, laptop)
                cases["newest"] += 1
                if found and not (how == "removed" and kind in PASSING):
                    wrong.append((kind, how, "newest", found))
    (vessel,) = laptop.vault.vessels()
    everything = [*laptop.vault.records(vessel), *laptop.vault.records(None)]
    newest = {stored.digest for stored in everything[-1:]}
    for loose, ways in ((64, LOSSES), (1, ["damaged"])):
        monkeypatch.setattr(index, "LOOSE", loose)
        yes(laptop)
        for stored in everything:
            kind = stored.record.kind
            for how in ways:
                if how == "removed" and (kind == "vault" or stored.digest in newest):
                    continue
                with lost(laptop, stored.digest, how):
                    found = refused_or(yes, laptop)
                    cases["in the middle"] += 1
                    if found:
                        wrong.append((kind, how, loose, found))
                    if loose > 1 and refused_or(open_again, laptop) is not None:
                        cases["before an opening"] += 1
                        wrong += [(kind, how, "opened")] if refused_or(yes, laptop) else []
    laptop.close()
    assert not wrong, wrong[:20]
    assert sum(cases.values()) > 200


def refused_or(ask: Callable[[Laptop], list[str]], laptop: Laptop) -> list[str] | None:
    """Return an answer, None if it is refused: that is no yes."""
    try:
        return ask(laptop)
    except ParambakError:
        return None


def open_again(laptop: Laptop) -> list[str]:
    """Abandon the swap, and open another one."""
    ending.abandon(laptop.vault, WHERE, tests=(), by=BY, reason="again")
    recording.open_swap(
        Assessor(laptop.vault, CHIPS),
        WHERE,
        why="again",
        by=BY,
        route="load",
        old_card=None,
        new_card=None,
    )
    return []


@pytest.mark.parametrize("at", ["newest", "in the middle"])
def test_every_kind_damaged_on_its_way_ends_every_yes(tmp_path: Path, at: str) -> None:
    """In a pack, and copied by hand into a vault that did not have it yet."""
    wrong = []
    for number, kind in enumerate(sorted(KINDS.keys() - ABOUT_VAULT)):
        one = Laptop(tmp_path / f"{number}")
        ready(one)
        older = one.copy_to(tmp_path / f"{number}-older")
        by_hand = one.copy_to(tmp_path / f"{number}-by-hand")
        digest = note(one, kind)
        if at == "in the middle":
            note(one, "on-purpose")
        file = tmp_path / f"{number}.zip"
        pack(one.vault, ["grebe"], file, lambda _done, _of: None, replace=True)
        data = bytearray(file.read_bytes())
        data[data.index(file_of(digest).encode()) + len(file_of(digest)) + 20] ^= 1
        file.write_bytes(bytes(data))
        refused = take_pack(older.vault, file, lambda _done, _of: None).joined.refused
        assert any(digest in damage.file for damage in refused)
        spoil(one.root / file_of(digest))
        by_hand.merge_from(one)
        wrong += [(kind, "pack", found) for found in yes(older)]
        wrong += [(kind, "by hand", found) for found in yes(by_hand)]
        third = older.copy_to(tmp_path / f"{number}-third")  # on to another laptop
        wrong += [(kind, "on", found) for found in yes(third)]
        for laptop in (one, older, by_hand, third):
            laptop.close()
    assert not wrong, wrong[:20]
