"""A record that is lost or in conflict may state anything: nothing of its vessel is a yes then."""

from __future__ import annotations

import json
import shutil
from typing import TYPE_CHECKING

import pytest

from tests.stories.small_unit import NEW_LAYOUT, OLD_LAYOUT, memory

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from tests.stories.conftest import Laptop

AT = "grebe/winch/U12"
HERE = "--vessel grebe --unit winch --position U12"
BY = "--by 'A. Invented'"


def verified(laptop: Laptop) -> None:
    """Archive two reads of one chip: a verified copy."""
    laptop.write("old.toml", OLD_LAYOUT)
    laptop.write("new.toml", NEW_LAYOUT)
    for name in ("r1.bin", "r2.bin"):
        laptop.dump(name, memory())
    laptop.yes(f"archive r1.bin r2.bin {HERE} --layout old.toml {BY}")


def is_verified(laptop: Laptop) -> bool:
    """Return whether the catalogue states that the position's latest copy is verified."""
    (position,) = laptop.json("catalogue")["positions"]
    assert isinstance(position["verified"], bool)
    return position["verified"]


def unmet(laptop: Laptop, condition: str = "records-complete") -> str:
    """Return the words of an unmet condition of the catalogue; empty if it is met."""
    (position,) = laptop.json("catalogue")["positions"]
    return " ".join(u["text"] for u in position["unmet"] if u["condition"] == condition)


def records(laptop: Laptop, kind: str) -> list[Path]:
    """Return the files of the records of a kind, the oldest first."""
    files = {path: json.loads(path.read_bytes()) for path in laptop.vault.glob("records/*/*.json")}
    of_kind = [path for path, record in files.items() if record["kind"] == kind]
    return sorted(of_kind, key=lambda path: files[path]["clock"]["utc"])


def spoil(path: Path) -> None:
    """Turn one bit of a file."""
    path.chmod(0o644)
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(bytes(data))


def merge(into: Laptop, other: Laptop) -> None:
    """Copy the files of another vault into this one, as a file manager does."""
    for folder in ("objects", "records"):
        shutil.copytree(other.vault / folder, into.vault / folder, dirs_exist_ok=True)


@pytest.mark.parametrize("how", [spoil, lambda path: path.unlink()], ids=["damaged", "removed"])
def test_a_lost_record_ends_every_yes_until_a_person_accepts_the_loss(
    laptop: Laptop, how: Callable[[Path], None]
) -> None:
    """Exit 3 and the file's name, also if a swap is opened later; then by name and reason."""
    verified(laptop)
    laptop.yes(f"correct {AT} --chip 28C16 {BY} --reason 'printed on it'")
    laptop.dump("wrong.bin", memory())
    (lost,) = records(laptop, "correct")
    how(lost)
    assert lost.name in unmet(laptop)
    laptop.yes(f"swap open {AT} {BY} --reason dead")
    check = laptop.json(f"swap check {AT}", 3)
    assert check["lost"] == [f"records/{lost.parent.name}/{lost.name}"]
    assert "records-complete" in check["missing"]
    refusals = (
        f"swap load-file {AT} --as raw --out L.BIN",
        f"swap read-back {AT} r1.bin",
        f"swap close {AT} {BY} --test stop=passed",
    )
    for line in refusals:
        error = laptop.refused(line, "swap-records-lost", 3)
        assert error["file"] == f"records/{lost.parent.name}/{lost.name}"
        assert f"parambak accept-loss {AT}" in error["next"]
    assert not (laptop.folder / "L.BIN").exists()
    assert laptop.run("recheck").code == 3
    assert "parambak accept-loss" in laptop.yes("due")
    laptop.yes(f"accept-loss {AT} {BY} --reason 'no copy of the vault has it'")
    assert is_verified(laptop)
    text = laptop.run(f"swap check {AT}").text
    assert "ACCEPTED by A. Invented" in text
    assert "no copy of the vault has it" in text
    assert laptop.json(f"swap check {AT}", 1)["lost"] == []
    laptop.refused(f"accept-loss {AT} {BY} --reason again", "loss-none")


def test_the_acceptance_is_for_its_position_alone(laptop: Laptop) -> None:
    """Another position of the vessel stays undecided."""
    verified(laptop)
    laptop.dump("x1.bin", memory(2))
    laptop.dump("x2.bin", memory(2))
    laptop.yes(f"archive x1.bin x2.bin --vessel grebe --unit crane --position U1 {BY}")
    laptop.yes(f"correct {AT} --chip 28C16 {BY}")
    records(laptop, "correct")[0].unlink()
    laptop.yes(f"accept-loss {AT} {BY} --reason 'no copy has it'")
    states = {p["where"]: p["verified"] for p in laptop.json("catalogue")["positions"]}
    assert states == {AT: True, "grebe/crane/U1": False}
    laptop.yes(f"accept-loss grebe {BY} --reason 'no copy has it'")
    states = {p["where"]: p["verified"] for p in laptop.json("catalogue")["positions"]}
    assert states == {AT: True, "grebe/crane/U1": True}


def test_one_bit_of_a_record_in_the_index_ends_the_catalogues_yes(
    laptop: Laptop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The index still holds what the record stated; the file decides."""
    monkeypatch.setattr("parambak.vault.index.index.LOOSE", 1)
    verified(laptop)
    assert is_verified(laptop)
    read = records(laptop, "read")[0]
    spoil(read)
    assert laptop.run("recheck").code == 3
    assert not is_verified(laptop)
    assert read.name in unmet(laptop)


CONFLICTS = {
    "chip": (f"correct {AT} --chip 28C16 {BY}", f"correct {AT} --chip 28C64 {BY}"),
    "serial": (f"correct grebe/winch --serial S-1 {BY}", f"correct grebe/winch --serial S-2 {BY}"),
    "imo": (f"correct grebe --imo 1234567 {BY}", f"correct grebe --imo 1234579 {BY}"),
    "layout": (f"layout attach {AT} old.toml {BY}", f"layout attach {AT} new.toml {BY}"),
    "rules": (f"rules record grebe r1.toml {BY}", f"rules record grebe r2.toml {BY}"),
    "sheet": (f"card record grebe/winch s1.toml {BY}", f"card record grebe/winch s2.toml {BY}"),
}


@pytest.mark.parametrize("fact", CONFLICTS)
def test_what_two_laptops_state_is_undecided_until_a_person_settles_it(
    laptops: Callable[[str], Laptop], fact: str
) -> None:
    """The later clock wins nothing; both values and the command are named; one record ends it."""
    one, other = laptops("one"), laptops("other")
    verified(one)
    if fact == "layout":  # each attaches another one than the first
        one.yes(f"layout attach {AT} new.toml {BY}")
    shutil.copytree(one.vault, other.vault)
    for laptop in (one, other):
        laptop.write("old.toml", OLD_LAYOUT)
        laptop.write("new.toml", OLD_LAYOUT.replace("software 3", "software 9"))
        for number in (1, 2):
            source = "[rules]\ntitle = 'invented {0}'\nsource = 'invented'\n"
            laptop.write(f"r{number}.toml", source.format(number))
            laptop.write(f"s{number}.toml", f'[card]\ntype = "TC-{number}"\n')
    mine, theirs = CONFLICTS[fact]
    one.yes(mine)
    other.now = one.now
    other.yes(theirs)
    merge(one, other)
    assert not is_verified(one)
    assert f"UNDECIDED: the records state {fact} of" in unmet(one)
    check = one.json(f"swap check {AT}", 1)
    assert "records-complete" in check["missing"]
    assert "UNDECIDED" in one.no(f"swap check {AT}")
    one.refused(f"swap load-file {AT} --as raw --out L.BIN", "swap-records-conflict", 1)
    before = unmet(one).partition("Settle it: `")[2].partition("`")[0]
    assert mine.split(" --chip")[0].split()[0] in before
    one.yes(mine)
    assert unmet(one) == ""


def test_a_vault_older_than_this_laptop_knows_of_is_no_yes(laptop: Laptop) -> None:
    """The user's own folder knows a newer end: the stick that was left behind is not READY."""
    verified(laptop)
    shutil.copytree(laptop.vault, laptop.folder / "stick")
    laptop.yes(f"correct {AT} --chip 28C64 {BY}")
    shutil.rmtree(laptop.vault)
    shutil.copytree(laptop.folder / "stick", laptop.vault)
    assert "this laptop" in unmet(laptop)
    assert laptop.json(f"swap check {AT}", 3)["lost"]


def turn_a_bit(laptop: Laptop, pack: str, record: Path) -> None:
    """Turn one bit of a record in a pack."""
    path = laptop.folder / pack
    data = bytearray(path.read_bytes())
    name = f"records/{record.parent.name}/{record.name}".encode()
    data[data.index(name) + len(name) + 20] ^= 1
    path.write_bytes(bytes(data))


def test_a_pack_with_one_bit_turned_ends_every_yes(laptops: Callable[[str], Laptop]) -> None:
    """What did not come in is on record; the right pack ends it."""
    one, office = laptops("one"), laptops("office")
    verified(one)
    one.yes("pack grebe --out older.zip")
    office.yes(f"unpack {one.folder / 'older.zip'}")
    one.yes(f"correct {AT} --chip 28C64 {BY}")
    one.yes("pack grebe --out good.zip")
    one.yes("pack grebe --out bad.zip")
    (chip,) = records(one, "correct")
    turn_a_bit(one, "bad.zip", chip)
    assert is_verified(office)
    office.no(f"unpack {one.folder / 'bad.zip'}")
    assert f"{chip.name} was left out when bad.zip was taken in" in unmet(office)
    assert office.json(f"swap check {AT}", 3)["lost"] == [f"records/{chip.parent.name}/{chip.name}"]
    damaged = office.json("recheck", 3)["damaged"]
    assert [file["file"] for file in damaged] == [f"records/{chip.parent.name}/{chip.name}"]
    office.no(f"unpack {one.folder / 'bad.zip'}")  # the same again is one loss
    assert len(records(office, "left-out")) == 1
    office.yes(f"unpack {one.folder / 'good.zip'}")
    assert unmet(office) == ""
    office.yes("recheck")


def test_a_backup_location_with_one_bit_turned_ends_every_yes(
    laptops: Callable[[str], Laptop],
) -> None:
    """Taken in from there both ways, the record that is damaged there is named."""
    one, other = laptops("one"), laptops("other")
    verified(one)
    stick = one.folder / "stick"
    one.yes(f"backup add stick {stick}")
    one.yes("backup send stick")
    shutil.copytree(one.vault, other.vault)
    one.yes(f"correct {AT} --chip 28C64 {BY}")
    one.yes("backup send stick")
    (chip,) = records(one, "correct")
    spoil(stick / "records" / chip.parent.name / chip.name)
    assert is_verified(other)
    other.run("backup send stick --both-ways")
    assert chip.name in unmet(other)
    one.yes("backup send stick")  # it repairs the location
    other.run("backup send stick --both-ways")
    assert chip.name not in unmet(other)


def test_what_recover_could_not_prove_is_lost_until_it_is_accepted(laptop: Laptop) -> None:
    """Stated by `recover`, `recheck` and `due`, and next to no other answer in many lines."""
    verified(laptop)
    for number in range(4):
        laptop.yes(f"correct grebe/winch --serial S-{number} {BY}")
    for path in records(laptop, "correct"):
        spoil(path)
    shutil.move(laptop.vault, laptop.folder / "heap")
    laptop.no("recover heap")
    assert not is_verified(laptop)
    notes = [line for line in laptop.run("catalogue").err.splitlines() if line.strip()]
    assert len(" ".join(notes)) < 700
    assert laptop.run("recheck").code == 3
    assert f"parambak accept-loss {AT}" in laptop.yes("due")
    laptop.yes(f"accept-loss grebe {BY} --reason 'the laptop fell'")
    laptop.yes("recheck")
    assert is_verified(laptop)
    assert laptop.run("catalogue").err == ""
    assert "the laptop fell" in laptop.yes("catalogue")
    assert "the laptop fell" in laptop.yes(f"history {AT}")
    laptop.yes(f"report copy {AT} --out U12.html")
    page = (laptop.folder / "U12.html").read_text()
    assert page.index("the laptop fell") < page.index("Identity")


IN_A_SWAP = {
    "fallback-plan": (
        f"swap answer {AT} 'fallback-plan=yes: the old card' {BY}",
        f"swap answer {AT} 'fallback-plan=no: the old card is dead' {BY}",
    ),
    "copy-selected": (
        f"swap select {AT}@previous {BY} --reason 'before the fault'",
        f"swap select {AT}@latest {BY} --reason 'as it ran'",
    ),
    "new-card": (
        f"swap check {AT} --new-card s1.toml",
        f"swap check {AT} --new-card s2.toml",
    ),
}


@pytest.mark.parametrize("fact", IN_A_SWAP)
def test_what_two_laptops_state_in_one_swap_is_undecided(
    laptops: Callable[[str], Laptop], fact: str
) -> None:
    """Both values and the command are named, nothing is released, and one record ends it."""
    one, other = laptops("one"), laptops("other")
    verified(one)
    for name in ("n1.bin", "n2.bin"):
        one.dump(name, memory(2))
    one.yes(f"archive n1.bin n2.bin {HERE} {BY} --position-confirmed")
    one.yes(f"swap open {AT} {BY} --reason dead")
    shutil.copytree(one.vault, other.vault)
    mine, theirs = IN_A_SWAP[fact]
    for laptop in (one, other):
        for number in (1, 2):
            laptop.write(f"s{number}.toml", f'[card]\ntype = "TC-{number}"\n')
    one.run(mine)
    other.now = one.now
    other.run(theirs)
    merge(one, other)
    for condition in one.json(f"swap check {AT}", 1)["conditions"]:
        if condition["condition"] == "records-complete":
            assert condition["met"] is not True
            text = condition["text"]
    assert f"the records state {fact} of" in text
    assert theirs.split()[1] in text.partition("Settle it: `")[2]
    one.refused(f"swap load-file {AT} --as raw --out L.BIN", "swap-records-conflict", 1)
    one.run(mine)
    assert "records-complete" not in one.json(f"swap check {AT}", 1)["missing"]


def test_a_damaged_file_of_the_selected_copy_is_damage(laptop: Laptop) -> None:
    """Exit 3 with the file's name, from `swap check` and from `load-file`."""
    verified(laptop)
    (image,) = {read["sha256"] for read in laptop.json("catalogue")["positions"]}
    path = laptop.vault / "objects" / image[:2] / image
    laptop.yes(f"swap open {AT} {BY} --reason dead")
    spoil(path)
    file = f"objects/{image[:2]}/{image}"
    assert laptop.json(f"swap check {AT}", 3)["lost"] == [file]
    error = laptop.refused(f"swap load-file {AT} --as raw --out L.BIN", "vault-damaged-object", 3)
    assert error["file"].endswith(image)


@pytest.mark.parametrize("how", ["first record", "vault.toml"])
def test_a_vault_that_nothing_proves_is_no_yes(laptop: Laptop, how: str) -> None:
    """Its first record is gone, or vault.toml changed: until it is back, or accepted by name."""
    verified(laptop)
    (first,) = records(laptop, "vault")
    toml = laptop.vault / "vault.toml"
    whole = toml.read_bytes()
    if how == "first record":
        for path in laptop.vault.glob("records/*/*.json"):
            assert path == first or first.stem not in path.read_text()
        first.unlink()
    else:
        toml.chmod(0o644)
        toml.write_bytes(whole + b"# edited\n")
    shutil.rmtree(laptop.own)  # another person's laptop: no note of it is left
    assert not is_verified(laptop)
    assert "vault.toml" in unmet(laptop)
    assert "vault.toml" in laptop.json(f"swap check {AT}", 3)["lost"]
    assert laptop.run("recheck").code == 3
    laptop.yes(f"accept-loss grebe {BY} --reason 'no copy has it'")
    assert is_verified(laptop)
    toml.chmod(0o644)
    toml.write_bytes(whole + b"# edited again\n")
    assert not is_verified(laptop)


@pytest.mark.parametrize("content", [None, b"", b"\xff\x00", b"format = 1\n"])
def test_a_vault_without_its_vault_toml_is_a_damaged_vault(
    laptop: Laptop, content: bytes | None
) -> None:
    """Exit 3, what is expected, and two ways: the three lines, or a new vault by `recover`."""
    verified(laptop)
    toml = laptop.vault / "vault.toml"
    whole = toml.read_bytes()
    toml.unlink()
    if content is not None:
        toml.write_bytes(content)
    error = laptop.json("catalogue", 3)["error"]
    assert error["file"].endswith("vault.toml")
    identity = whole.decode().partition('vault = "')[2][:32]
    assert identity in error["expected"]
    assert laptop.json(f"archive r1.bin {HERE}", 3)["error"]["code"] == error["code"]
    laptop.yes(f"--vault again recover {laptop.vault}")
    (position,) = laptop.json("--vault again catalogue")["positions"]
    assert position["verified"]
    toml.unlink(missing_ok=True)
    toml.write_bytes(whole)
    assert is_verified(laptop)
