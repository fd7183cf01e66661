"""The vault's whole story, typed as an engineer would: a stick, two laptops, an office, a sale.

The stick is pulled out while it is written to and while it is sent from, two laptops archive one
ship apart and meet at the office, single bytes rot, a laptop is lost, and all is found again; then
one vessel is packed for its new owner, with nothing of the others in the pack.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tests.cli.conftest import Result, Ship
from tests.cli.invented import MEMORY, changed, dump

if TYPE_CHECKING:
    from collections.abc import Iterator

IMO = "1234567"
# What befalls a command at its n-th flush: the stick's folder goes away, or the process dies.
BEFALLING = """
import os, sys
from parambak.cli.main import run
what, at, *words = sys.argv[1:]
flushes = 0
def flush(_descriptor):
    global flushes
    flushes += 1
    if flushes == int(at):
        if what == "dies":
            os._exit(137)
        os.rename(what, what + ".pulled")
os.fsync = flush
run(words)
"""


class Laptop(Ship):
    """A laptop of its own; its vault is on its disk, or in the folder of a stick."""

    def __init__(self, folder: Path, vault: Path | None = None) -> None:
        folder.mkdir(exist_ok=True)
        super().__init__(folder)
        self.vault = vault or self.vault
        self._environment["PARAMBAK_VAULT"] = str(self.vault)

    def does(self, *words: str, code: int = 0) -> str:
        """Run a command that must end so; return what it prints, as one line."""
        result = self.run(*words)
        assert result.code == code, (words, result)
        return " ".join((result.err + result.out).split())

    def befallen(self, what: str, at: int, *words: str) -> Result:
        """Run a command, and let this befall it at its flush of that number."""
        done = subprocess.run(
            [sys.executable, "-c", BEFALLING, what, str(at), *words],
            cwd=self.folder,
            env={**self._environment, "PYTHONPATH": str(Path(__file__).parents[2])},
            capture_output=True,
            check=False,
            timeout=60,
        )
        return Result(done.returncode, done.stdout.decode(), done.stderr.decode())

    def archives(self, name: str, memory: bytes, vessel: str, unit: str, by: str) -> str:
        """Keep two reads of one chip."""
        dumps = [self.write(f"{name}{n}.HEX", dump(memory), second=n) for n in (1, 2)]
        where = ("--vessel", vessel, "--unit", unit, "--position", "U12")
        return self.does("archive", *dumps, *where, "--by", by)

    def positions(self) -> dict[str, Any]:
        """Return the digest of the newest copy of each position."""
        found = self.answer("catalogue").document["positions"]
        return {each["where"].casefold(): each["sha256"] for each in found}


def rot(path: Path) -> None:
    """Flip one bit of the byte in the middle of a file."""
    path.chmod(0o644)
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(data)


def test_from_the_stick_to_the_new_owner(tmp_path: Path) -> None:
    """Each step says what to do next; what was acknowledged is there at the end."""
    stick, office = tmp_path / "stick", tmp_path / "the office's Büro"
    one = Laptop(tmp_path / "one", stick / "vault")
    two = Laptop(tmp_path / "two")
    stick.mkdir()
    pulled_in_writing(one, stick)
    pulled_in_sending(one, office)
    line = met_at_the_office(one, two, office)
    rotten(one, office)
    found_again(one, office, tmp_path / "three", line)
    sold(two, tmp_path / "owner")


def pulled_in_writing(one: Laptop, stick: Path) -> None:
    """The stick goes away, and the laptop dies, at each flush of a read: nothing is half there."""
    one.archives("A", changed(1), "avocet", "port-thruster", "Cy Confidential")
    one.archives("P", MEMORY, "grebe", "port-thruster", "Ana Invented")
    for at in (3, 6):
        name = one.write(f"W{at}.HEX", dump(changed(at + 8)), second=at)
        call = ("archive", name, "--vessel", "grebe", "--unit", "winch", "--position", "U3")
        refused = one.befallen(str(stick), at, *call)
        if sys.platform != "win32":  # there a folder with an open file in it stays
            assert refused.code == 2, refused
            assert "do next" in refused.err
            assert not stick.exists()
            (stick.parent / "stick.pulled").rename(stick)
        assert one.befallen("dies", at, *call).code == 137
        assert "Every file is unchanged" in one.does("recheck")
    one.does(*call)
    assert set(one.positions()) == {
        "avocet/port-thruster/u12",
        "grebe/port-thruster/u12",
        "grebe/winch/u3",
    }


def pulled_in_sending(one: Laptop, office: Path) -> None:
    """The backup location goes away and the laptop dies in the middle: called again, it goes on."""
    one.does("backup", "add", "office", str(office))
    assert one.befallen("dies", 9, "backup", "send", "office").code == 137
    if sys.platform != "win32":
        broken = one.befallen(str(office), 9, "backup", "send", "office")
        assert broken.code == 2, broken
        assert "run the command again: it goes on" in " ".join(broken.err.split())
        assert not office.exists()
        office.with_name(office.name + ".pulled").rename(office)
    assert "every byte checked there now" in one.does("backup", "send", "office")
    assert "office held the latest copy of 3 of 3" in one.does("catalogue")


def seal_of(laptop: Laptop) -> str:
    """Return the seal as it is written down; what to do with it is not among it."""
    return " ".join(laptop.run("seal", "grebe").out.split())


def met_at_the_office(one: Laptop, two: Laptop, office: Path) -> str:
    """One ship, entered on two laptops apart: merged by the location it is one ship."""
    two.archives("S", changed(2), "Grebe", "stbd-thruster", "Bo Made-Up")
    assert "add --merge" in two.does("backup", "add", "office", str(office), code=2)
    two.does("backup", "add", "office", str(office), "--merge")
    said = two.does("backup", "send", "office", "--both-ways")
    assert "2 vessels have one name" in said
    for handle in {where.partition("/")[0] for where in two.positions()} - {"avocet"}:
        two.does("correct", handle, "--imo", IMO, "--reason", "one ship, entered twice")
    assert "of 2 vessels" in two.does("backup", "send", "office")
    one.does("backup", "send", "office", "--both-ways")
    assert one.positions() == two.positions()
    assert len(one.positions()) == 4
    line: str = seal_of(one)
    assert seal_of(two) == line
    return line


def rotten(one: Laptop, office: Path) -> None:
    """One byte of an object, a record, vault.toml and an index: each named, each made good."""
    copy = one.positions()["grebe/winch/u3"]
    for file in (one.vault / "objects" / copy[:2] / copy, first_read(one.vault)):
        rot(file)
        found = one.answer("recheck")
        assert found.code == 3
        assert found.document["damaged"][0]["file"].endswith(file.name)
        assert found.document["next"].startswith("Run `parambak backup send office`")
        assert "REPAIRED in the vault" in one.does("backup", "send", "office")
        assert one.answer("recheck").document["next"] is None
    rot(one.vault / "vault.toml")
    assert "Fetch vault.toml from another copy" in one.answer("recheck").document["next"]
    shutil.copy(office / "vault.toml", one.vault / "vault.toml")
    (one.vault / "index.sqlite").write_bytes(b"rotten")
    assert one.does("recheck").endswith("Every file is unchanged.")


def first_read(vault: Path) -> Path:
    """Return the record of the first read of grebe."""
    every = vault.glob("records/*/*.json")
    return next(f for f in every if b"P1.HEX" in f.read_bytes())


def found_again(one: Laptop, office: Path, folder: Path, line: str) -> None:
    """The laptop and its stick are lost: the location is the vault, and a heap of its files too."""
    known = one.positions()
    shutil.rmtree(one.vault.parent)
    three = Laptop(folder)
    shutil.copytree(office, three.vault)
    assert three.positions() == known
    said = three.does("recheck", "--seal", line)
    assert "The history of grebe is whole" in said
    heap = folder / "heap of found files"
    heap.mkdir()
    for number, file in enumerate(f for f in office.rglob("*") if f.is_file()):
        shutil.copy(file, heap / f"FILE{number:04}.CHK")
    three.does("recover", str(heap), "--vault", "rescued")
    assert three.does("recheck", "--vault", "rescued", "--seal", line).endswith(
        "Every file is unchanged."
    )
    lost = first_read(three.vault)
    lost.chmod(0o644)
    lost.unlink()
    assert "Do next" in three.does("recheck", "--seal", line, code=3)


def sold(two: Laptop, folder: Path) -> None:
    """Grebe's pack tells its new owner all of grebe, and not one word of the other vessel."""
    two.does("pack", "grebe", "--out", "grebe.zip")
    owner = Laptop(folder)
    owner.does("unpack", str(two.folder / "grebe.zip"))
    assert len(owner.positions()) == 3
    assert owner.does("recheck").endswith("Every file is unchanged.")
    others = of_others(two.vault)
    assert {"avocet", "Cy Confidential", "A1.HEX"} <= others
    for name, data in every_byte(two.folder / "grebe.zip"):
        assert not {word for word in others if word.encode() in data}, name
    two.does("pack", "avocet", "--out", "kept.zip")
    kept = Laptop(folder / "kept")
    kept.does("unpack", str(two.folder / "kept.zip"))
    assert list(kept.positions()) == ["avocet/port-thruster/u12"]
    assert kept.does("recheck").endswith("Every file is unchanged.")


def of_others(vault: Path) -> set[str]:
    """Return every name, mark and identity in a vault that stands in no record of grebe."""
    ours: set[str] = set()
    theirs: set[str] = set()
    told = [(f.stem, json.loads(f.read_bytes())) for f in vault.glob("records/*/*.json")]
    grebes = {r["vessel"] for _, r in told if '"grebe"' in json.dumps(r["body"]).casefold()}
    for digest, record in told:
        record["body"].pop("since", None)  # a time is no secret, and two records may share one
        words = {digest, *texts({k: v for k, v in record.items() if k not in {"clock", "kind"}})}
        (ours if record.get("vessel") in grebes else theirs).update(words)
        for mark in record["objects"]:
            data = (vault / "objects" / mark[:2] / mark).read_bytes()
            if data.startswith(b'{"name"'):
                (ours if record.get("vessel") in grebes else theirs).update(texts(json.loads(data)))
    toml = (vault / "vault.toml").read_text().split('"')[1]
    return {w for w in theirs - ours if len(w) > 4} - {toml, "location", "vault"}


def texts(value: object) -> Iterator[str]:
    """Yield each text in a JSON document that is a value."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for each in value.values():
            yield from texts(each)
    elif isinstance(value, list):
        for each in value:
            yield from texts(each)


def every_byte(pack: Path) -> Iterator[tuple[str, bytes]]:
    """Yield the bytes of a pack, and those of each member unpacked."""
    yield pack.name, pack.read_bytes()
    with zipfile.ZipFile(pack) as found:
        for name in found.namelist():
            yield name, name.encode() + found.read(name)
