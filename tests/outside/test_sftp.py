"""A backup location on a server: against OpenSSH's own sshd, cut off at any point."""

from __future__ import annotations

import hashlib
import json
import os
import random
import re
import shutil
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from parambak.errors import ParambakError
from parambak.vault.files.disk import UnfitFileError
from parambak.vault.locations.address import parse
from parambak.vault.locations.location import open_store
from parambak.vault.locations.send import Location, SendingFailed, Sent, send
from parambak.vault.locations.stores import SshTerms
from tests.outside.sshd import (
    KEYGEN,
    LOOPBACK,
    SSHD,
    Relay,
    Server,
    free_port,
    make_key,
    running,
    user,
)
from tests.vault.home import AVOCET, GREBE, Home
from tests.vault.locations.placing import clean, flip, made_location, nothing, tree

if TYPE_CHECKING:
    from collections.abc import Iterator

pytest.importorskip("paramiko", reason="NO SFTP IS TESTED: paramiko is not installed")
pytestmark = pytest.mark.skipif(
    not (SSHD and KEYGEN), reason="NO SFTP IS TESTED: OpenSSH's sshd is not installed"
)
PAGE = (Path(__file__).parents[2] / "formats" / "backup-locations.md").read_text(encoding="utf-8")
BIG = random.Random(3).randbytes(300_000)  # several packets of 32 KiB


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """Run one server for all tests of this module."""
    with running(tmp_path_factory.mktemp("sshd")) as started:
        yield started


@pytest.fixture(autouse=True)
def _no_agent(monkeypatch: pytest.MonkeyPatch) -> None:
    """Show no key but those that a test names."""
    monkeypatch.delenv("SSH_AUTH_SOCK", raising=False)


@pytest.fixture
def home(tmp_path: Path) -> Iterator[Home]:
    """Return a home whose vault has two vessels, and one object of many packets."""
    location = Home(tmp_path / "vault", tmp_path / "own")
    for number in range(4):
        for vessel in (GREBE, AVOCET):
            with location.open(create=True).writing() as writing:
                by = writing.person(f"Invented {vessel[:4]}", vessel)
                named = [writing.put(BIG[number : 3000 + number * 90_000])]
                writing.add("note", vessel, {"n": number}, by=by, relies_on=named)
    yield location
    for vault in location.opened:
        vault.close()


def sent(
    home: Home, address: str, terms: SshTerms, target: Location | None = None
) -> tuple[Location, Sent]:
    """Send to a folder on a server, made a backup location first if no target is given."""
    vault = home.open()
    store = open_store(parse(address), vault.writer, terms)
    try:
        target = target or made_location(vault, store)
        return target, send(vault, store, target, nothing)
    finally:
        store.close()


def code_of(address: str, terms: SshTerms) -> str:
    """Return the code of the refusal that comes when a server is called."""
    with pytest.raises(ParambakError) as caught:
        open_store(parse(address), "w", terms)
    return caught.value.code


def holds_only_whole_files(folder: Path, home: Home) -> None:
    """Every file there that has a name of the vault is the vault's, byte for byte."""
    right = home.files()
    for file, data in tree(folder).items():
        assert file.endswith(".tmp") or file == "backup-location.toml" or data == right[file]


def test_a_server_gets_the_vault_byte_for_byte(home: Home, server: Server, tmp_path: Path) -> None:
    """It opens as the vault there, and sending again sends nothing."""
    folder = tmp_path / "far" / "backup"
    target, first = sent(home, server.url(folder), server.terms())
    there = tree(folder)
    assert there.pop("backup-location.toml")
    assert there == home.files()
    assert first.refused == ()
    assert clean(folder, home.own)
    _, second = sent(home, server.url(folder), server.terms(), target)
    assert (second.sent, second.there) == (0, first.sent)


@pytest.mark.parametrize("size", [0, 1, 32767, 32768, 32769, 65536, 300_000])
def test_files_of_every_length_come_back(server: Server, tmp_path: Path, size: int) -> None:
    """At the borders of an answer's 32 KiB too; one larger than asked for is refused."""
    store = open_store(parse(server.url(tmp_path / "far")), "w", server.terms())
    try:
        store.write("a/b", BIG[:size])
        assert store.read("a/b", size) == BIG[:size]
        assert store.names("a") == {"b": size}
        store.rename("a/b", "c/d")
        assert (store.names("a"), store.names("c"), store.names("e")) == ({}, {"d": size}, {})
        with pytest.raises(FileNotFoundError):
            store.read("a/b", size)
        if size:
            with pytest.raises(UnfitFileError):
                store.read("c/d", size - 1)
    finally:
        store.close()


def test_either_side_is_repaired(home: Home, server: Server, tmp_path: Path) -> None:
    """A byte rotted on the server, and one at home."""
    folder = tmp_path / "far"
    target, _ = sent(home, server.url(folder), server.terms())
    right = home.files()
    for file in ("vault.toml", *[f for f in right if f.startswith(("objects", "records"))][::4]):
        flip(folder / file)
        _, repaired = sent(home, server.url(folder), server.terms(), target)
        assert repaired.repaired_there == (file,)
        assert (folder / file).read_bytes() == right[file]
        assert (folder / "damaged" / f"{Path(file).name}-1").is_file()
        if file == "vault.toml":
            continue
        flip(home.root / file)
        _, repaired = sent(home, server.url(folder), server.terms(), target)
        assert repaired.repaired_here == (file,)
        assert (home.root / file).read_bytes() == right[file]


def test_cut_off_after_so_many_bytes_it_goes_on(home: Home, server: Server, tmp_path: Path) -> None:
    """The line is cut at twelve moments of one sending: no file is half there, none is lost."""
    with Relay(server.port) as relay:
        sent(home, server.url(tmp_path / "all", relay.port), server.terms(relay.port))
        total = relay.passed
    seen = set()
    for number in range(1, 13):
        folder = tmp_path / f"cut{number}"
        with Relay(server.port, cut=total * number // 13) as relay:
            terms = server.terms(relay.port)
            try:
                sent(home, server.url(folder, relay.port), terms)
            except SendingFailed as broken:
                seen.add(broken.refusal.code)
            except ParambakError as error:
                seen.add(error.code)
            else:
                pytest.fail("it was not cut off")
        holds_only_whole_files(folder, home)
        _, rest = sent(home, server.url(folder), server.terms())
        assert (rest.refused, rest.repaired_there) == ((), ())
        found = tree(folder)
        found.pop("backup-location.toml")
        assert found == home.files(), "nothing is left over, no temporary file either"
    assert seen <= {"backup-lost", "backup-unreachable"}
    assert "backup-lost" in seen


def test_a_server_that_dies_in_the_middle(home: Home, server: Server, tmp_path: Path) -> None:
    """Its processes are killed at five moments; the vessel that was through is stated."""
    for number in (2, 6, 9, 11, 13):
        folder = tmp_path / f"died{number}"
        vault = home.open()
        store = open_store(parse(server.url(folder)), vault.writer, server.terms())
        target = made_location(vault, store)

        def kill(done: int, _of: int, moment: int = number) -> None:
            if done == moment:
                for pid in server.sessions():
                    os.kill(pid, 9)

        with pytest.raises(SendingFailed) as caught:
            send(vault, store, target, kill)
        store.close()
        assert caught.value.refusal.code == "backup-lost"
        assert len(caught.value.proven) == (1 if number > 9 else 0)
        holds_only_whole_files(folder, home)
        _, rest = sent(home, server.url(folder), server.terms(), target)
        assert rest.refused == ()


def test_an_unknown_key_is_refused_and_not_remembered(server: Server, tmp_path: Path) -> None:
    """No known_hosts, an empty one, or one of another port: the same answer, nothing written."""
    empty = tmp_path / "known_hosts"
    empty.write_text("")
    other = tmp_path / "other"
    other.write_text(f"[{LOOPBACK}]:{free_port()} {server.host_key}\n")
    key = (server.folder / "client",)
    for known in ((), (tmp_path / "nowhere",), (empty,), (other,)):
        assert code_of(server.url(tmp_path), SshTerms(known, key)) == "backup-host-key-unknown"
    assert empty.read_text() == ""
    assert not (tmp_path / "nowhere").exists()


def test_a_changed_key_is_refused(server: Server, tmp_path: Path) -> None:
    """The known hosts have another key for this server: nothing is sent."""
    make_key(tmp_path / "another")
    known = tmp_path / "known_hosts"
    another = " ".join((tmp_path / "another.pub").read_text().split()[:2])
    known.write_text(f"[{LOOPBACK}]:{server.port} {another}\n")
    terms = SshTerms((known,), (server.folder / "client",))
    assert code_of(server.url(tmp_path), terms) == "backup-host-key-changed"
    assert known.read_text().count("\n") == 1


def test_a_key_that_was_taken_back_is_refused(server: Server, tmp_path: Path) -> None:
    """By a line @revoked, as sshd(8) has it, although another line has the key."""
    terms = server.terms()
    known = tmp_path / "known_hosts"
    plain = terms.known_hosts[0].read_text()
    known.write_text(f"{plain}@revoked * {server.host_key}\n")
    assert (
        code_of(server.url(tmp_path), SshTerms((known,), terms.keys)) == "backup-host-key-changed"
    )


def test_other_lines_of_known_hosts_are_in_nobodys_way(server: Server, tmp_path: Path) -> None:
    """Comments, authorities, hashed names, unknown kinds of keys, and damaged lines."""
    terms = server.terms()
    known = tmp_path / "known_hosts"
    plain = terms.known_hosts[0].read_text()
    make_key(tmp_path / "authority")
    authority = (tmp_path / "authority.pub").read_text()
    lines = f"# a comment\n\n@cert-authority *.example {authority}x\nx y\nh ssh-none AAAA\n"
    known.write_text(f"{lines}h ssh-ed25519 ???\n@revoked * {authority}{plain}")
    open_store(parse(server.url(tmp_path)), "w", SshTerms((known,), terms.keys)).close()
    known.write_text(plain)
    subprocess.run([KEYGEN or "", "-q", "-H", "-f", str(known)], check=True, capture_output=True)
    assert LOOPBACK not in known.read_text()
    open_store(parse(server.url(tmp_path)), "w", SshTerms((known,), terms.keys)).close()


def test_no_password_is_asked_for(server: Server, tmp_path: Path) -> None:
    """The server would take one; a key that it does not accept, none, or a locked one: refused."""
    make_key(tmp_path / "stranger")
    make_key(tmp_path / "locked", "invented passphrase")
    known = server.terms().known_hosts
    for keys in ((tmp_path / "stranger",), (), (tmp_path / "locked",), (tmp_path / "none",)):
        assert code_of(server.url(tmp_path), SshTerms(known, keys)) == "backup-login"


def test_nobody_listens(server: Server) -> None:
    """A port without a server."""
    address = f"sftp://a@{LOOPBACK}:{free_port()}/x"
    assert code_of(address, server.terms()) == "backup-unreachable"


def test_a_folder_that_may_not_be_written(home: Home, server: Server, tmp_path: Path) -> None:
    """A file is where the folder should be: refused with a message."""
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(ParambakError) as caught:
        sent(home, server.url(tmp_path / "file" / "backup"), server.terms())
    assert caught.value.code in ("backup-lost", "backup-unwritable", "backup-unreachable")


@pytest.mark.skipif(
    not (shutil.which("sftp") and shutil.which("sha256sum")), reason="there is no sftp, sha256sum"
)
def test_a_location_can_be_fetched_by_hand(home: Home, server: Server, tmp_path: Path) -> None:
    """The commands of the page, without this program, give the vault."""
    (block,) = re.findall(r"```\n(\$ sftp.*?)```", PAGE, re.DOTALL)
    sent(home, server.url(tmp_path / "backup"), server.terms())
    known, key = server.terms().known_hosts[0], server.folder / "client"
    options = f"-q -P {server.port} -i {key} -o UserKnownHostsFile={known} -o BatchMode=yes"
    script = block.replace("$ ", "").replace("sftp -r", f"sftp {options} -r")
    script = script.replace("ana@office.example:/", f"{user()}@{LOOPBACK}:{tmp_path}/")
    done = subprocess.run(
        ["sh", "-e", "-c", script],
        cwd=tmp_path,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    assert done.stdout.endswith("objects good\nrecords good\n"), done.stderr
    fetched = Home(tmp_path / "rescued", tmp_path / "new")
    vault = fetched.open()
    assert vault.records(GREBE) == home.open().records(GREBE)
    vault.close()


def test_from_the_command_line(server: Server, tmp_path: Path) -> None:
    """As a user does it: keys and known hosts of ~/.ssh, one JSON document, nothing next to it."""
    ssh = tmp_path / "user" / ".ssh"
    ssh.mkdir(parents=True)
    ssh.joinpath("known_hosts").write_text(f"[{LOOPBACK}]:{server.port} {server.host_key}\n")
    environment = {
        **{k: v for k, v in os.environ.items() if not k.startswith("SSH_")},
        "HOME": str(tmp_path / "user"),
        "PARAMBAK_VAULT": str(tmp_path / "vault"),
        "PARAMBAK_OWN": str(tmp_path / "own"),
    }

    def run(*words: str) -> tuple[int, dict[str, object], str]:
        done = subprocess.run(
            [sys.executable, "-m", "parambak", "--json", *words],
            env=environment,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            check=False,
            timeout=60,
        )
        return done.returncode, json.loads(done.stdout), done.stderr

    run("visit", "open", "grebe", "--by", "Ana Invented", "--new-vessel")
    address = server.url(tmp_path / "far" / "backup")
    code, answer, beside = run("backup", "add", "office", address)
    assert (code, beside) == (2, "")
    assert answer["error"]["code"] == "backup-login"  # type: ignore[index]
    ssh.joinpath("id_ed25519").write_bytes((server.folder / "client").read_bytes())
    ssh.joinpath("id_ed25519").chmod(0o600)
    assert run("backup", "add", "office", address)[0] == 0
    code, answer, beside = run("backup", "send", "office")
    assert (code, answer["refused"], beside) == (0, [], "")
    far = tree(tmp_path / "far" / "backup")
    assert far.pop("backup-location.toml")
    for file, data in far.items():
        if "/" in file:
            assert hashlib.sha256(data).hexdigest() == Path(file).name.removesuffix(".json")
    ssh.joinpath("known_hosts").write_text("")
    code, answer, _ = run("backup", "send", "office")
    assert code == 2
    assert answer["error"]["code"] == "backup-host-key-unknown"  # type: ignore[index]
