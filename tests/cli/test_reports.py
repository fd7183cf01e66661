"""The three commands that write pages, as a user and a script meet them."""

from __future__ import annotations

import hashlib
import re
import time
from typing import TYPE_CHECKING

import pytest

from tests.cli.invented import MEMORY, WHERE, archive_two, changed, dump

if TYPE_CHECKING:
    from tests.cli.conftest import Ship

AT = "grebe/port-thruster/U12"
BY = ("--by", "A. Fitter")


@pytest.fixture
def verified(ship: Ship) -> Ship:
    """Return a ship with a verified copy."""
    archive_two(ship)
    return ship


def open_swap(ship: Ship, why: str = "stays dark") -> None:
    """Open a swap."""
    assert ship.run("swap", "open", AT, *BY, "--reason", why).code == 0


def page(ship: Ship, name: str) -> str:
    """Return a page that was written."""
    return (ship.folder / name).read_text("utf-8")


def test_the_page_of_a_copy_is_written_whole(verified: Ship) -> None:
    """Exit 0, and the digest and size of what stands on the disk."""
    result = verified.answer("report", "copy", AT, "--out", "copy.html")
    assert result.code == 0
    data = (verified.folder / "copy.html").read_bytes()
    assert result.document["file"] == "copy.html"
    assert result.document["sha256"] == hashlib.sha256(data).hexdigest()
    assert result.document["size"] == len(data)
    assert data.startswith(b"<!DOCTYPE html>")
    assert "VERIFIED" in page(verified, "copy.html")


def test_a_copy_that_is_not_verified_has_a_page_too(ship: Ship) -> None:
    """The page says it; the command did what it was asked, and exits 0."""
    ship.write("a.hex", dump())
    assert ship.run("archive", "a.hex", *WHERE).code == 0
    assert ship.run("report", "copy", f"{AT}@1", "--out", "c.html").code == 0
    assert "NOT VERIFIED: read-twice" in page(ship, "c.html")


def test_the_page_of_a_swap_is_of_the_one_opened_last(verified: Ship) -> None:
    """Open or over; an earlier one by its number."""
    open_swap(verified, "first")
    gone = ("swap", "close", AT, *BY, "--abandoned", "--reason", "no spare")
    assert verified.run(*gone).code == 0
    open_swap(verified, "second")
    assert verified.run("report", "swap", AT, "--out", "2.html").code == 0
    assert "OPEN, since" in page(verified, "2.html")
    assert "<dd>second</dd>" in page(verified, "2.html")
    words = ("report", "swap", AT, "--number", "1", "--out", "1.html")
    assert verified.run(*words).code == 0
    assert "ABANDONED on" in page(verified, "1.html")
    assert "<dd>first</dd>" in page(verified, "1.html")
    none = verified.answer("report", "swap", AT, "--number", "3", "--out", "3.html")
    assert (none.code, none.document["error"]["code"]) == (2, "report-no-swap")
    assert none.document["error"]["found"] == "2 on record"


def test_the_page_of_a_visit_is_of_the_last_one(verified: Ship) -> None:
    """Of two of one day the later; another by its day; one that is not there is refused."""
    for day, remark in (("2026-03-01", "one"), ("2026-03-05", "two"), ("2026-03-05", "three")):
        assert verified.run("visit", "open", "grebe", *BY, "--on", day).code == 0
        assert verified.run("visit", "close", "--remark", remark).code == 0
        time.sleep(1.1)  # the clock of a record counts seconds
    assert verified.run("report", "visit", "grebe", "--out", "v.html").code == 0
    assert '<p class="text">three</p>' in page(verified, "v.html")
    words = ("report", "visit", "grebe", "--on", "2026-03-01", "--out", "w.html")
    assert verified.run(*words).code == 0
    assert '<p class="text">one</p>' in page(verified, "w.html")
    other = verified.answer("report", "visit", "grebe", "--on", "2026-04-01", "--out", "x.html")
    assert (other.code, other.document["error"]["code"]) == (2, "report-no-visit")
    assert "2026-03-05" in other.document["error"]["expected"]
    assert not (verified.folder / "x.html").exists()


@pytest.mark.parametrize(
    ("words", "refusal"),
    [
        (("swap", AT), "report-no-swap"),
        (("visit", "grebe"), "report-no-visit"),
        (("copy", f"{AT}@9"), "copy-none"),
        (("copy", "grebe/port-thruster/U99"), "where-position"),
        (("visit", "plover"), "where-vessel"),
        (("swap", "grebe"), "where-shape"),
    ],
)
def test_what_is_not_on_record_has_no_page(
    verified: Ship, words: tuple[str, ...], refusal: str
) -> None:
    """Exit 2, the code, what to do; nothing is written anywhere."""
    before = verified.tree()
    refused = verified.answer("report", *words, "--out", "p.html")
    assert (refused.code, refused.document["error"]["code"]) == (2, refusal)
    assert refused.document["error"]["next"]
    assert not (verified.folder / "p.html").exists()
    assert verified.tree() == before


@pytest.mark.parametrize("name", ["copy", "swap", "visit"])
def test_a_page_is_written_over_no_file_and_into_no_vault(verified: Ship, name: str) -> None:
    """Unless told so; never into the vault; and not where there is no folder."""
    open_swap(verified)
    assert verified.run("visit", "open", "grebe", *BY).code == 0
    what = "grebe" if name == "visit" else AT
    (verified.folder / "p.html").write_text("mine", encoding="utf-8")
    before = verified.tree()
    for out, refusal in (
        ("p.html", "vault-export-exists"),
        ("vault/p.html", "export-into-vault"),
        ("absent/p.html", "vault-export-unfit"),
    ):
        refused = verified.answer("report", name, what, "--out", out)
        assert (refused.code, refused.document["error"]["code"]) == (2, refusal)
    assert page(verified, "p.html") == "mine"
    assert verified.tree() == before
    assert verified.run("report", name, what, "--out", "p.html", "--replace").code == 0
    assert page(verified, "p.html").startswith("<!DOCTYPE html>")
    assert verified.tree() == before


def test_a_copy_whose_bytes_are_lost_has_no_page(verified: Ship) -> None:
    """The vault is damaged: exit 3, and what to do."""
    digest = hashlib.sha256(MEMORY).hexdigest()
    path = verified.vault / "objects" / digest[:2] / digest
    path.chmod(0o644)
    path.write_bytes(changed(0))
    refused = verified.answer("report", "copy", AT, "--out", "p.html")
    assert refused.code == 3
    assert "recheck" in refused.document["error"]["next"]
    assert not (verified.folder / "p.html").exists()


def test_without_a_vault_there_is_no_page(ship: Ship) -> None:
    """Exit 2; none is made."""
    refused = ship.answer("report", "copy", AT, "--out", "p.html")
    assert refused.code == 2
    assert not ship.vault.exists()


def test_the_page_of_a_visit_says_that_a_change_has_no_remark(verified: Ship) -> None:
    """With the call that puts one on record; it goes once there is one. A counter needs none."""
    silent = "No remark on this change is on record."
    for day, at, asks in (("2025-12-01", 0x0020, False), ("2025-12-02", 0x0010, True)):
        memory = changed(at)
        verified.write(f"{at}.hex", dump(memory), second=at)
        assert verified.run("visit", "open", "grebe", *BY, "--on", day).code == 0
        words = ("--unit", "port-thruster", "--position", "U12", "--position-confirmed")
        assert verified.run("archive", f"{at}.hex", *words, "--read-on", day).code == 0
        assert (
            verified.run("report", "visit", "grebe", "--on", day, "--out", f"{at}.html").code == 0
        )
        assert (silent in page(verified, f"{at}.html")) is asks
        assert "has no remark yet" in verified.run("visit", "close").out
    call = re.search(
        r"parambak (diff \S+@\w{8} \S+@\w{8}) --remark TEXT --by NAME", page(verified, "16.html")
    )
    assert call is not None
    told = (*call[1].split(), "--remark", "level set anew", *BY)
    assert verified.run(*told).code == 1
    assert verified.run("report", "visit", "grebe", "--out", "said.html").code == 0
    assert silent not in page(verified, "said.html")
    assert "level set anew" in page(verified, "said.html")
