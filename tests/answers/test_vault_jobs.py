"""The jobs of the vault without a command line: what counts as a yes, and what is noted."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import msgspec
import pytest

from parambak.answers import demo, pack, rebuild, recheck, recover, seal, unpack
from parambak.answers.backup import add, remove, send
from parambak.answers.backup import list as backup_list
from parambak.answers.forms import FileNote
from parambak.answers.losses_shown import LossShown
from parambak.answers.session import Session
from parambak.errors import ParambakError
from parambak.vault.locations.fetch import GONE
from tests.keeping.conftest import Laptop

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

NOTE = FileNote("objects/ab/abcd", "It cannot be read.")


@dataclass
class Folders:
    """The folders of one laptop, below one folder."""

    top: Path
    vault_named: str | None = None

    @property
    def vault_folder(self) -> Path:
        """Return the vault's folder."""
        return self.top / "vault"

    @property
    def own_folder(self) -> Path:
        """Return the user's own folder."""
        return self.top / "own"

    @property
    def cache_folder(self) -> Path:
        """Return the folder for indexes."""
        return self.top / "cache"

    @property
    def ssh_folder(self) -> Path:
        """Return the folder of keys: there are none."""
        return self.top / "ssh"


@pytest.fixture
def laptop(tmp_path: Path) -> Iterator[Laptop]:
    """Return a laptop whose vault has one verified copy."""
    laptop = Laptop(tmp_path)
    laptop.verified(new_vessel=True)
    yield laptop
    laptop.close()


def session_in(folder: Path, laptop: Laptop) -> Session:
    """Return a session with the vault of a folder, and the laptop's clock."""
    return Session(Folders(folder), laptop.clock)


@pytest.fixture
def session(tmp_path: Path, laptop: Laptop) -> Iterator[Session]:
    """Return a session with the laptop's vault."""
    session = session_in(tmp_path, laptop)
    yield session
    session.vault.close()


def test_the_index_is_built_anew_and_nothing_is_noted(session: Session) -> None:
    """That it was, is the answer and no note next to it."""
    count = sum(len(session.vault.records(v)) for v in (None, *session.vault.vessels()))
    answer = rebuild.answer(session, rebuild.RebuildQuestion())
    assert (answer.records, answer.vessels, answer.exit_code) == (count, 1, 0)
    assert session.notes() == ()


def test_a_seal_is_judged_by_the_recheck(session: Session, laptop: Laptop) -> None:
    """Whole while its records are there; where one is gone it is cut, and that is damage."""
    (shown,) = seal.answer(session, seal.SealQuestion()).seals
    assert shown.vessel == "grebe"
    question = recheck.RecheckQuestion(seals=(shown.seal,))
    answer = recheck.answer(session, question)
    assert (answer.exit_code, answer.cut, answer.complete, answer.next) == (0, False, True, None)
    assert [judged.state for judged in answer.seals] == ["whole"]
    assert not recheck.is_doubted(session)
    newest = laptop.vault.records(laptop.vault.vessels()[0])[-1]
    (laptop.root / newest.file).unlink()
    session.vault.close()
    session.open()
    cut = recheck.answer(session, question)
    assert (cut.cut, cut.exit_code) == (True, 3)
    assert cut.next is not None
    assert [damaged.file for damaged in cut.damaged] == [newest.file]


def test_what_is_damaged_is_named_with_what_is_lost(session: Session, laptop: Laptop) -> None:
    """And answered as damage; the next step is to fetch it, or to archive the dump again."""
    digest = laptop.position().copies[0].sha256
    file = laptop.root / "objects" / digest[:2] / digest
    file.chmod(0o644)
    file.write_bytes(b"rot")
    answer = recheck.answer(session, recheck.RecheckQuestion())
    (damaged,) = answer.damaged
    assert damaged.file == f"objects/{digest[:2]}/{digest}"
    assert damaged.lost
    assert answer.exit_code == 3
    assert answer.next is not None
    assert "another copy of this vault" in answer.next


def test_a_vessel_goes_by_pack_into_another_vault(
    session: Session, tmp_path: Path, laptop: Laptop
) -> None:
    """Everything that was sent is added there; the new vault is noted."""
    out = str(tmp_path / "grebe.zip")
    packed = pack.answer(session, pack.PackQuestion(vessels=("grebe",), out=out))
    assert (packed.vessels, packed.refused, session.notes()) == (("grebe",), (), ())
    (tmp_path / "office").mkdir()
    office = session_in(tmp_path / "office", laptop)
    taken = unpack.answer(office, unpack.UnpackQuestion(file=out))
    assert (taken.added, taken.exit_code) == (packed.sent, 0)
    assert any("a new vault was made" in note for note in office.notes())
    inside = str(laptop.root / "grebe.zip")
    with pytest.raises(ParambakError) as refusal:
        pack.answer(session, pack.PackQuestion(vessels=("grebe",), out=inside))
    assert refusal.value.code == "export-into-vault"
    office.vault.close()


def test_a_location_is_added_filled_listed_and_given_up(
    session: Session, tmp_path: Path, laptop: Laptop
) -> None:
    """Each answer tells the same place; on the vault's own disk that is noted."""
    question = add.BackupAddQuestion(name="red", address=str(tmp_path / "red"))
    added = add.answer(session, question)
    assert (added.location, added.vessels, added.packed) == ("red", None, False)
    assert any("same disk" in note for note in session.notes())
    sent = send.answer(session, send.BackupSendQuestion(name="red"))
    assert (sent.refused, sent.exit_code, sent.added) == ((), 0, None)
    (held,) = sent.held
    (listed,) = backup_list.answer(session, backup_list.BackupListQuestion()).locations
    assert (listed.location, listed.id, listed.address) == ("red", added.id, added.address)
    assert (listed.vessels_held, listed.records, listed.hashed) == (1, held.records, True)
    removed = remove.answer(session, remove.BackupRemoveQuestion(name="red"))
    assert removed.id == added.id
    assert backup_list.answer(session, backup_list.BackupListQuestion()).locations == ()
    within = add.BackupAddQuestion(name="in", address=str(laptop.root / "inside"))
    with pytest.raises(ParambakError) as refusal:
        add.answer(session, within)
    assert refusal.value.code == "backup-inside-vault"


def test_a_vault_is_recovered_from_its_files(
    session: Session, tmp_path: Path, laptop: Laptop
) -> None:
    """Its identity is known; a source that is not there is refused before anything is made."""
    (tmp_path / "new").mkdir()
    new = session_in(tmp_path / "new", laptop)
    with pytest.raises(ParambakError) as refusal:
        recover.answer(new, recover.RecoverQuestion(folders=(str(tmp_path / "nowhere"),)))
    assert refusal.value.code == "file-absent"
    assert not (tmp_path / "new" / "vault").exists()
    answer = recover.answer(new, recover.RecoverQuestion(folders=(str(laptop.root),)))
    assert (answer.identity, answer.identity_known) == (session.vault.identity, True)
    assert (answer.missing, answer.whole, answer.exit_code) == ((), True, 0)
    assert new.fleet().vessels[0].handle == "grebe"
    new.vault.close()


RECOVERED = recover.RecoverAnswer(
    vault="new",
    identity="ab" * 16,
    identity_known=True,
    files=9,
    objects=4,
    records=4,
    unnamed=0,
    missing=(),
    refused=(recover.UnusedFile("a.bin", "It is a device.", proven=False),),
    doubtful=(),
)
CHECKED = recheck.RecheckAnswer(
    objects=1,
    records=1,
    damaged=(),
    remarks=(NOTE,),
    total=2,
    read=2,
    unread=0,
    complete=True,
    began="2026-03-01T08:00:00Z",
    oldest_full_read="2026-03-01",
    seals=(recheck.SealJudged("grebe", "whole", "it is whole", 2, None),),
    locations=(),
    next=None,
)
UNPACKED = unpack.UnpackAnswer(vessels=(), added=0, objects=0, records=0, repaired=(), refused=())
SENT = send.BackupSendAnswer(
    location="red",
    sent=1,
    there=1,
    hashed=True,
    repaired_there=(),
    repaired_here=(),
    added=None,
    unknown=3,
    held=(),
    refused=(),
)
SHOWN = demo.DemoAnswer(
    folder="d", vault="d/vault", steps=(demo.StepShown("why", "parambak", 1, 1, ""),)
)
CHANGES = {
    "recovered": (RECOVERED, {}, 0),
    "missing": (RECOVERED, {"missing": (recover.MissingFile("f", ()),)}, 1),
    "doubtful": (RECOVERED, {"doubtful": (NOTE,)}, 1),
    "refused": (RECOVERED, {"refused": (recover.UnusedFile("f", "why", proven=True),)}, 1),
    "sound": (CHECKED, {}, 0),
    "damaged": (
        CHECKED,
        {"damaged": (recheck.DamagedFile("f", "why", (LossShown("x", None, None),)),)},
        3,
    ),
    "cut": (CHECKED, {"seals": (recheck.SealJudged("grebe", "cut", "it was cut", None, "x"),)}, 3),
    "unread": (CHECKED, {"unread": 5, "complete": False}, 0),
    "unpacked": (UNPACKED, {}, 0),
    "one refused": (UNPACKED, {"refused": (NOTE,)}, 1),
    "sent": (SENT, {}, 0),
    "not sent": (SENT, {"refused": (NOTE,)}, 1),
    "gone on both sides": (SENT, {"refused": (NOTE, FileNote("records/x", GONE))}, 3),
    "as expected": (SHOWN, {}, 0),
    "not as expected": (SHOWN, {"steps": (demo.StepShown("why", "x", 0, 1, ""),)}, 1),
}


@pytest.mark.parametrize(("answer", "members", "code"), CHANGES.values(), ids=CHANGES)
def test_what_counts_as_a_yes(
    answer: recover.RecoverAnswer, members: dict[str, object], code: int
) -> None:
    """The exit code follows from the members of the answer alone."""
    changed = msgspec.structs.replace(answer, **members)
    assert changed.exit_code == code
    assert msgspec.to_builtins(changed).keys() == set(answer.__struct_fields__)
