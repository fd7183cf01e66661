"""Three swaps of the invented scenario: loaded wrongly and caught, refused, and done well."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.demo import tugs
from parambak.demo.build import memory_of
from parambak.demo.steps import PERSON, Call, File, Scene, archive, dump, moment

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from parambak.layouts.model import Layout

SISTER = ("avocet", "port-thruster", "U12")
STARBOARD = ("grebe", "stbd-thruster", "U12")
WINCH = ("grebe", "towing-winch", "U3")
WRONG_BIT_AT = 0x0041
BY = ("--by", PERSON)

# Invented: what a thruster's processor card must have, and the spare from the locker.
CARD = b"""# INVENTED
[card]
type = "TC-2"
clock = "7.3728 MHz"
software = "3.2"

[[program]]
position = "U7"
label = "TC2 V3.2"
printed = "8F21"

[links]
J1 = "1-2"
J4 = "open"

[function-tests]
required = ["channel 3"]
"""
WINCH_CARD = b"""# INVENTED
[card]
type = "WC-1"
clock = "11.0592 MHz"
software = "2.07"

[links]
J2 = "2-3"
"""
WINCH_SPARE = b"""# INVENTED
[card]
type = "WC-1"
clock = "11.0592 MHz"
software = "2.10"

[links]
J2 = "1-2"
"""
RULES = b"""# INVENTED: the owner's rules for this tug.
[rules]
title = "Owner's instruction 7, cards"
source = "invented, for the demo"
layout = true

[swap]
required = ["supply-voltages", "second-location", "card-sheet", "new-card"]

[intervals]
verified-months = 12
backup-locations = 1

[[function-tests]]
tests = ["emergency stop"]
"""
ANSWERS = (
    (
        "diagnosed",
        "supply voltages and fuses are good; the card does not start in the test rack either",
    ),
    ("final-read", "read in the socket after the fault"),
    ("authorised", "chief engineer, master informed"),
    ("permit", "electrical permit 14"),
    ("safeties-inhibited", "none: the tug is alongside, and the thruster is isolated"),
    ("fallback-plan", "after two hours the old card goes back in"),
    ("old-card-kept", "labelled and bagged, in the locker"),
    ("impact", "this unit only; the bridge panel shows it as not ready"),
)


def three_swaps(thruster: Layout, limits: bytes) -> Iterator[Scene | File | Call]:
    """Yield the three swaps, in the order of the story."""
    yield from _loaded_wrongly(thruster)
    yield from _refused()
    yield from _done_well(thruster, limits)


def sister(layout: Layout, **changed: str) -> bytearray:
    """Return the memory of the sister tug's thruster."""
    return memory_of(layout, tugs.thruster(controller_serial="TC2-0422", **changed))


def starboard(layout: Layout, **changed: str) -> bytes:
    """Return the memory of the first tug's starboard thruster."""
    values: Mapping[str, str] = {
        "controller_serial": "TC2-0418",
        "station": "stern",
        "node_address": "8",
        "ramp_up_time": "14.0",
        "overload_current": "325",
        "run_hours": "8390.2",
        "start_count": "2298",
    }
    return bytes(memory_of(layout, tugs.thruster(**(dict(values) | changed))))


def _answered(where: str) -> Iterator[Call]:
    """Yield the call with a person's answers for the open swap."""
    answers = (f"{condition}=yes: {text}" for condition, text in ANSWERS)
    yield Call(
        "A person answers the questions, by name.",
        ("swap", "answer", where, *answers, *BY),
    )


def _opened(story: str, where: str, why: str, cards: tuple[str, str]) -> Call:
    """Return the call that opens a swap; `cards` are the serial numbers out and in."""
    out, into = cards
    words = ("swap", "open", where, *BY, "--reason", why)
    return Call(story, (*words, "--old-card", out, "--new-card-serial", into))


def _closed(story: str, where: str, test: str) -> Call:
    """Return the call that closes a swap after two function tests: emergency stop, `test`."""
    words = ("swap", "close", where, *BY, "--test", "emergency stop=passed", "--test", test)
    return Call(story, (*words, "--old-card-to", "ashore"))


def _loaded_wrongly(thruster: Layout) -> Iterator[Scene | File | Call]:
    where = "/".join(SISTER)
    yield Scene(
        "The sister tug's card is dead. Its swap is opened and checked.",
        "NOT READY: one read only, and a person's answers are missing.",
        chapter="Swap 1: a card that is loaded wrongly",
    )
    yield _opened(
        "The sister tug's card is dead. Its swap is opened.",
        where,
        "dead after a voltage dip",
        ("PC-1101", "PC-1107"),
    )
    yield Call("May the swap begin? There is one read only.", ("swap", "check", where), exit_code=1)
    yield Scene(
        "The chip is read again in a socket, and a person answers the questions.",
        "READY: the records show nothing against the swap.",
    )
    yield dump("AVOCET2.BIN", bytes(sister(thruster)), "2026-04-02 21:15")
    yield archive(
        "The chip can still be read in a socket: the second read.",
        ("AVOCET2.BIN",),
        SISTER,
        day="2026-04-02",
    )
    yield from _answered(where)
    yield Call("Now the swap may begin.", ("swap", "check", where))
    yield from _caught(thruster, where)


def _caught(thruster: Layout, where: str) -> Iterator[Scene | File | Call]:
    yield Scene(
        "The new card is loaded, and read back before power goes on.",
        "NOT LOADED CORRECTLY: one bit is wrong. The swap cannot be closed.",
    )
    yield Call(
        "The file for the new card.",
        ("swap", "load-file", where, "--as", "intel-hex", "--out", "LOAD.HEX", *BY),
    )
    wrong = sister(thruster)
    wrong[WRONG_BIT_AT] ^= 0x01
    yield dump("CARD1.HEX", bytes(wrong), "2026-04-02 22:02")
    yield Call(
        "The new card is read back before power goes on. One bit is wrong.",
        ("swap", "read-back", where, "CARD1.HEX"),
        exit_code=1,
    )
    yield Call(
        "The swap cannot be closed like this.",
        ("swap", "close", where, *BY, "--test", "emergency stop=passed"),
        exit_code=1,
    )
    yield from _proven(thruster, where)


def _proven(thruster: Layout, where: str) -> Iterator[Scene | File | Call]:
    yield Scene(
        "The card is loaded again, and read back before and after power-up.",
        "CLOSED: contents proven, functions tested. Its page is avocet-swap.html.",
    )
    yield dump("CARD2.HEX", bytes(sister(thruster)), "2026-04-02 22:20")
    yield dump("CARD3.HEX", bytes(sister(thruster)), "2026-04-02 22:26")
    yield Call(
        "Loaded again, and read back twice.",
        ("swap", "read-back", where, "CARD2.HEX", "CARD3.HEX", "--by", PERSON),
    )
    powered = sister(thruster, run_hours="8421.9", clock="2026-04-02 22:47:31")
    yield dump("CARD4.HEX", bytes(powered), "2026-04-02 22:49")
    yield dump("CARD5.HEX", bytes(powered), "2026-04-02 22:55")
    yield Call(
        "After power-up only a counter and the clock have changed.",
        ("swap", "read-back", where, "CARD4.HEX", "CARD5.HEX", "--stage", "after-power"),
    )
    yield _closed(
        "The contents are proven by bytes, and the functions are tested. Both close the swap.",
        where,
        "ramp up=passed: 12.5 s by stopwatch",
    )
    yield Call(
        "The page for the ship's file.", ("report", "swap", where, "--out", "avocet-swap.html")
    )


def _refused() -> Iterator[Scene | File | Call]:
    where = "/".join(WINCH)
    yield Scene(
        "The winch's spare has other software, and a jumper in another position.",
        "NOT READY: the two card sheets differ. The swap is abandoned.",
        chapter="Swap 2: a spare that does not fit",
    )
    yield File("winch-card.toml", WINCH_CARD, moment("2026-05-06 08:00"))
    yield File("winch-spare.toml", WINCH_SPARE, moment("2026-05-06 08:10"))
    yield Call(
        "The card sheet of the winch: what its card must have.",
        ("card", "record", "grebe/towing-winch", "winch-card.toml", *BY),
    )
    yield Call(
        "The winch's card fails now and then. Its swap is opened.",
        ("swap", "open", where, *BY, "--reason", "stops now and then"),
    )
    yield Call(
        "The spare has other software, and a jumper in another position.",
        ("swap", "check", where, "--new-card", "winch-spare.toml"),
        exit_code=1,
    )
    yield Call(
        "The swap is abandoned, with the reason.",
        ("swap", "close", where, *BY, "--abandoned", "--reason", "the spare is for other software"),
    )
    yield Call("The page of this swap.", ("report", "swap", where, "--out", "winch-swap.html"))


def _done_well(thruster: Layout, limits: bytes) -> Iterator[Scene | File | Call]:
    where = "/".join(STARBOARD)
    yield Scene(
        "The owner also requires a card sheet, supply voltages, and a backup location.",
        "The supply voltages are inside their limits. The backup location holds it all.",
        chapter="Swap 3: by the owner's rules",
    )
    yield File("owner.toml", RULES, moment("2026-06-01 08:00"))
    yield File("thruster-card.toml", CARD, moment("2026-06-01 08:00"))
    spare = CARD.replace(b"# INVENTED", b"# INVENTED: as read off the spare", 1)
    yield File("spare.toml", spare, moment("2026-06-01 09:00"))
    yield File("limits.toml", limits, moment("2026-06-01 08:00"))
    yield Call("The owner's rules require more.", ("rules", "record", "grebe", "owner.toml", *BY))
    unit = "grebe/stbd-thruster"
    yield Call(
        "The card sheet of the thruster.", ("card", "record", unit, "thruster-card.toml", *BY)
    )
    yield Call(
        "A bad supply destroys the new card too. Measure first. A decimal comma is accepted.",
        (
            "measure",
            unit,
            "core_rail=3,31V",
            "relay_rail=12.1V",
            "bus_input=48.6V",
            "--limits",
            "limits.toml",
            "--instrument",
            "multimeter 3",
            "--calibrated",
            "2026-01-15",
            *BY,
        ),
    )
    yield Call("A backup location for the vault.", ("backup", "add", "office", "office"))
    yield Call("The vault is sent there, and read back.", ("backup", "send", "office"))
    yield from _started(where)
    yield from _finished(thruster, where)


def _started(where: str) -> Iterator[Scene | File | Call]:
    yield Scene(
        "The starboard thruster's swap is opened, and the spare's sheet is compared.",
        "READY: the spare's sheet has the same 8 entries. The load file is written.",
    )
    yield _opened(
        "The swap of the starboard thruster's card is opened.",
        where,
        "analogue channel 3 shows no value",
        ("PC-1090", "PC-1112"),
    )
    yield from _answered(where)
    yield Call("May the swap begin?", ("swap", "check", where, "--new-card", "spare.toml"))
    yield Call(
        "The file for the new card.",
        ("swap", "load-file", where, "--as", "intel-hex", "--out", "STBD.HEX", *BY),
    )


def _finished(thruster: Layout, where: str) -> Iterator[Scene | File | Call]:
    yield Scene(
        "The new card is loaded, and read back before and after power-up.",
        "CLOSED: the content that was read back is now the newest copy.",
    )
    for name, memory, when in (
        ("NEW1.HEX", starboard(thruster), "2026-06-01 10:02"),
        ("NEW2.HEX", starboard(thruster), "2026-06-01 10:09"),
        ("NEW3.HEX", starboard(thruster, run_hours="8390.4"), "2026-06-01 10:41"),
        ("NEW4.HEX", starboard(thruster, run_hours="8390.4"), "2026-06-01 10:49"),
    ):
        yield dump(name, memory, when)
    yield Call(
        "The new card is read back before power-up.",
        ("swap", "read-back", where, "NEW1.HEX", "NEW2.HEX"),
    )
    yield Call(
        "The new card is read back after power-up.",
        ("swap", "read-back", where, "NEW3.HEX", "NEW4.HEX", "--stage", "after-power"),
    )
    yield _closed(
        "The swap is closed. The content that was read back is the newest copy.",
        where,
        "channel 3=passed: 6.2 bar against the gauge",
    )
    yield Call("The page of this swap.", ("report", "swap", where, "--out", "stbd-swap.html"))
