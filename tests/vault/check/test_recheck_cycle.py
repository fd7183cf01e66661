from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import pytest

from parambak.memory.digests import sha256
from parambak.vault.check.recheck import (
    Cycle,
    Rechecked,
    Terms,
    forget_cycle,
    keep_cycle,
    load_cycle,
    recheck,
)
from tests.vault.home import copied_in

if TYPE_CHECKING:
    from collections.abc import Callable

    from tests.vault.home import Home

CONTENT = "objects/40/40aff2e9d2d8922e47afd4648e6967497158785fbd1da870e7110266bf944880"
OLDEST = "records/03/03310cd0e2bb7dc28a0e077eba2e1b3ce4ab72c0a9691e699f5c15369e047619.json"
FILES = 8  # in the vault that is kept
LATER = "2026-12-01T00:00:00Z"


def after(folders: int) -> Callable[[], bool]:
    """Return a function that is true once so many folders are read."""
    asked = itertools.count(1)
    return lambda: next(asked) >= folders


def part(home: Home, cycle: Cycle | None, folders: int = 1) -> Rechecked:
    """Go on with a cycle for so many folders."""
    vault = home.open()
    terms = Terms(now=LATER, enough=after(folders))
    return recheck(vault, lambda _d, _of: None, cycle=cycle, terms=terms)


def test_parts_make_a_whole(first: Home) -> None:
    """Each part reads one folder more; the last leaves nothing, and nothing is read twice."""
    cycle, seen = None, []
    for _ in range(FILES):
        found = part(first, cycle)
        seen.append((found.objects + found.records, found.unread))
        cycle = found.cycle
    assert seen == [(n, FILES - n) for n in range(1, FILES + 1)]
    assert (found.objects, found.records, found.damaged) == (2, 6, ())


def test_the_first_part_dates_the_whole(first: Home) -> None:
    """What was read first is as old as the cycle, not as its last part."""
    begun = Cycle(began="2026-11-01T00:00:00Z", folders={"objects/40": 1})
    assert part(first, begun).cycle.began == begun.began
    assert part(first, None).cycle.began == LATER


def test_damage_stays_said_until_it_is_repaired(first: Home) -> None:
    """A later part that does not reach it reports it again; after the repair it does not."""
    whole = (first.root / CONTENT).read_bytes()
    first.overwrite(CONTENT, b"rotten")
    one = part(first, None)
    assert [each.file for each in one.damaged] == [CONTENT]
    assert [each.file for each in part(first, one.cycle).damaged] == [CONTENT]
    first.overwrite(CONTENT, whole)
    assert part(first, one.cycle).damaged == ()


def test_a_record_that_a_part_found_missing_stays_missing(first: Home) -> None:
    """The record that names it is not read again, and the hole is reported again."""
    (first.root / OLDEST).unlink()
    one = part(first, None, folders=FILES)
    assert [each.file for each in one.damaged] == [OLDEST]
    assert [each.file for each in part(first, one.cycle).damaged] == [OLDEST]


def test_a_folder_that_grew_is_read_again(first: Home) -> None:
    """What was put there since is not taken for read."""
    cycle = part(first, None, folders=FILES).cycle
    assert part(first, cycle).unread == 0
    data = b"put there by hand"
    name = f"objects/40/40{sha256(data)[2:]}"
    (first.root / name).write_bytes(data)
    found = part(first, cycle)
    assert [each.file for each in found.damaged] == [name]


def test_files_that_went_begin_it_anew(first: Home) -> None:
    """The parts do not show which record named them, so all are read again."""
    cycle = part(first, None, folders=FILES).cycle
    (first.root / CONTENT).unlink()
    found = part(first, cycle, folders=FILES)
    assert [each.file for each in found.damaged] == [CONTENT]
    assert found.cycle.began == LATER
    assert found.records == 6


def test_vault_toml_is_judged_in_every_part(first: Home) -> None:
    """Although the first record is in a folder that this part did not read."""
    assert part(first, None).damaged == ()
    first.overwrite("vault.toml", (first.root / "vault.toml").read_bytes() + b"#\n")
    assert [each.file for each in part(first, None).damaged] == ["vault.toml"]


def test_many_names_are_looked_for_in_turn(home: Home) -> None:
    """Of a long history with one record gone from the middle, that one is named."""
    home.made()
    digests = copied_in(home.root, 700)
    gone = f"records/{digests[300][:2]}/{digests[300]}.json"
    (home.root / gone).unlink()
    found = recheck(home.open(), lambda _d, _of: None)
    assert [each.file for each in found.damaged] == [gone]


def test_a_cycle_is_kept_and_forgotten(home: Home) -> None:
    """In the user's own folder, under the mark of the vault's folder."""
    cycle = Cycle(began=LATER, folders={"objects/40": 1}, damaged={CONTENT: "rotten"})
    mark = sha256(b"a folder")
    keep_cycle(home.own, mark, cycle)
    assert load_cycle(home.own, mark) == cycle
    assert load_cycle(home.own, sha256(b"another")) is None
    forget_cycle(home.own, mark)
    assert load_cycle(home.own, mark) is None


@pytest.mark.parametrize(
    "data",
    [b"", b"{}", b'{"began":"yesterday"}', b'{"began":"%s","folders":{"a":-1}}' % LATER.encode()],
)
def test_a_cycle_that_cannot_be_read_is_none(home: Home, data: bytes) -> None:
    """To begin again is always right."""
    mark = sha256(b"a folder")
    keep_cycle(home.own, mark, Cycle(began=LATER))
    (home.own / "rechecks" / f"{mark}.json").write_bytes(data)
    assert load_cycle(home.own, mark) is None
