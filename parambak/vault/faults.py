"""Every refusal of the vault's room, and the codes of its remarks.

The codes are stable: scripts rely on them.
"""

from __future__ import annotations

from parambak.errors import CallRefused, Fault, VaultDamaged, VaultRefused

ABSENT = Fault(
    "vault-absent",
    VaultRefused,
    "There is no vault here.",
    "Name the vault's folder with --vault, or make a vault: archive a first read.",
)
NOT_A_VAULT = Fault(
    "vault-not-a-vault",
    VaultRefused,
    "This folder is not a vault.",
    "Name the folder that holds vault.toml, or an empty folder for a new vault. If vault.toml is "
    "lost or damaged, run `parambak recover FOLDER`.",
)
NEWER = Fault(
    "vault-newer",
    VaultRefused,
    "This vault was written by a newer version of parambak.",
    "Install the newer version. Nothing was changed here.",
)
TOML_DAMAGED = Fault(
    "vault-toml-damaged",
    VaultDamaged,
    "vault.toml is not as the vault's first record has it.",
    "Write its three lines again, as formats/vault.md shows them, with the values expected here. "
    "Then run `parambak recheck`.",
)
TOML_LOST = Fault(
    "vault-toml-missing",
    VaultDamaged,
    "This vault is damaged: vault.toml is missing, and the records are here.",
    "Write its three lines again, as formats/vault.md shows them, with the values expected here. "
    "Or make a new vault of what is here: `parambak --vault NEW-FOLDER recover FOLDER`.",
)
UNREADABLE = Fault(
    "vault-unreadable",
    VaultRefused,
    "The operating system does not let this program read it.",
    "Check the medium, its connection and the permissions, then try again.",
)
BUSY = Fault(
    "vault-busy",
    VaultRefused,
    "Another process is writing to this vault.",
    "Wait until it ends, then try again. Nothing was changed.",
)
NO_LOCK = Fault(
    "vault-no-lock",
    VaultRefused,
    "This folder's file system has no locks, so two programs could write at the same time.",
    "Keep the vault on a local disk or stick. Copy it to this folder from there.",
)
UNWRITABLE = Fault(
    "vault-unwritable",
    VaultRefused,
    "This folder refuses writes.",
    "Check the permissions, and whether the medium is write-protected. The vault is unchanged.",
)
DISK_FULL = Fault(
    "vault-disk-full",
    VaultRefused,
    "The disk is full.",
    "Free some space on it, then try again. The vault is unchanged.",
)
WRITE_FAILED = Fault(
    "vault-write-failed",
    VaultRefused,
    "Writing failed.",
    "Check the medium and its connection. Run `parambak recheck`, then try again.",
)
GONE = Fault(
    "vault-gone",
    VaultRefused,
    "The vault disappeared while it was written to.",
    "Plug the stick in again or connect the share. Run `parambak recheck`, then the same command "
    "again.",
)
UNFIT = Fault(
    "vault-record-unfit",
    VaultRefused,
    "A record cannot hold this value.",
    "Shorten or correct the value. Nothing was written.",
)
TOO_LARGE = Fault(
    "vault-object-too-large",
    VaultRefused,
    "This is larger than any file that a vault holds.",
    "Check that it is the right file. Nothing was written.",
)
DAMAGED_OBJECT = Fault(
    "vault-damaged-object",
    VaultDamaged,
    "The bytes of this file are not what they were when written.",
    "Run `parambak recheck`. Then archive the same dump again, or copy the file from another copy "
    "of the vault.",
)
MISSING_OBJECT = Fault(
    "vault-missing-object",
    VaultDamaged,
    "A file that a record names is not in the vault.",
    "Run `parambak recheck`. Then archive the same dump again, or copy the file from another copy "
    "of the vault.",
)
MISSING_RECORD = Fault(
    "vault-missing-record",
    VaultDamaged,
    "A later record names a record that is not in the vault and is not coming in.",
    "Take in the earlier record too, from the same source or from another copy of the vault.",
)
DAMAGED_RECORD = Fault(
    "vault-damaged-record",
    VaultDamaged,
    "This file is not a record as the vault writes it.",
    "Run `parambak recheck`. Then copy the file from another copy of the vault.",
)
NOT_A_PERSON = Fault(
    "vault-not-a-person",
    VaultDamaged,
    "A record names this file as a person, and it is not one.",
    "Run `parambak recheck`.",
)
INDEX_FAILED = Fault(
    "vault-index-failed",
    VaultRefused,
    "No index could be built in the vault, and none in the folder for temporary files.",
    "Free some space for temporary files, then try again.",
)
OWN_UNUSABLE = Fault(
    "vault-own-folder",
    VaultRefused,
    "The user's own folder, which holds this writer's identity, cannot be used.",
    "Check that you may write to the folder. The vault is unchanged.",
)
EXPORT_EXISTS = Fault(
    "vault-export-exists",
    CallRefused,
    "There is already a file with this name.",
    "Give another name with --out, or give --replace to write over the file.",
)
EXPORT_UNFIT = Fault(
    "vault-export-unfit",
    CallRefused,
    "A file cannot be written here.",
    "Give --out the name of a file in a folder that exists.",
)

# Codes of findings, which stop nothing.
INDEX_REBUILT = "vault-index-rebuilt"
INDEX_ASIDE = "vault-index-aside"
HISTORY_CUT = "vault-history-cut"
CLOCK_BACKWARDS = "vault-clock-backwards"
RECORD_VANISHED = "vault-record-vanished"
HISTORY_GAP = "vault-history-gap"
RECORD_SKIPPED = "vault-record-skipped"
TOML_CHANGED = "vault-toml-changed"
FIRST_RECORD_MISSING = "vault-first-record-missing"
OWN_DAMAGED = "vault-own-damaged"
OWN_NOT_WRITTEN = "vault-own-not-written"
# Those that name a record that is not there, or not as it was.
LOSSES = frozenset({HISTORY_CUT, HISTORY_GAP, RECORD_SKIPPED, RECORD_VANISHED})


class Mistrusted(Exception):  # noqa: N818 - a verdict that never leaves the room
    """The index cannot be used; `damaged` if it is to be removed."""

    def __init__(self, reason: str, *, damaged: bool) -> None:
        super().__init__(reason)
        self.damaged = damaged
