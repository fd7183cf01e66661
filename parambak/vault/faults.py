"""Every refusal of the vault's room, and the codes of what it only remarks upon.

The codes are stable: scripts rely on them.
"""

from __future__ import annotations

from parambak.errors import CallRefused, Fault, VaultDamaged, VaultRefused

ABSENT = Fault(
    "vault-absent",
    VaultRefused,
    "There is no vault here.",
    "Name the vault's folder with --vault, or archive a first read: that makes one.",
)
NOT_A_VAULT = Fault(
    "vault-not-a-vault",
    VaultRefused,
    "This folder is not a vault.",
    "Name the folder that holds vault.toml, or a new or empty folder to make a vault in. A vault "
    "whose vault.toml is lost or damaged is built anew by `parambak recover FOLDER`.",
)
NEWER = Fault(
    "vault-newer",
    VaultRefused,
    "This vault was written by a newer version of parambak.",
    "Install the newer version; nothing was changed here.",
)
TOML_DAMAGED = Fault(
    "vault-toml-damaged",
    VaultDamaged,
    "vault.toml is not as the vault's first record knows it.",
    "Write its three lines anew, as formats/vault.md shows them, with what is expected here; "
    "recheck tells whether they are right. Nothing else is needed.",
)
UNREADABLE = Fault(
    "vault-unreadable",
    VaultRefused,
    "The system would not let this be read.",
    "Check the medium, its connection and the permissions, then try again.",
)
BUSY = Fault(
    "vault-busy",
    VaultRefused,
    "Another process is writing to this vault.",
    "Wait until it has ended, then try again. Nothing was changed.",
)
NO_LOCK = Fault(
    "vault-no-lock",
    VaultRefused,
    "This folder's file system offers no locks, so two writers could not be kept apart.",
    "Keep the vault on a local disk or stick, and copy it to this folder from there.",
)
UNWRITABLE = Fault(
    "vault-unwritable",
    VaultRefused,
    "This folder refuses writes.",
    "Check its permissions, or whether the medium is write-protected. The vault is as it was.",
)
DISK_FULL = Fault(
    "vault-disk-full",
    VaultRefused,
    "The disk is full.",
    "Make room on it, then try again. The vault is as it was.",
)
WRITE_FAILED = Fault(
    "vault-write-failed",
    VaultRefused,
    "Writing failed.",
    "Check the medium and its connection, then run `parambak recheck` and try again.",
)
GONE = Fault(
    "vault-gone",
    VaultRefused,
    "The vault went away while it was written to.",
    "Plug the stick in again or connect the share, run `parambak recheck`, then the same command "
    "again.",
)
UNFIT = Fault(
    "vault-record-unfit",
    VaultRefused,
    "A record cannot hold this.",
    "Shorten or correct what was to be recorded. Nothing was written.",
)
TOO_LARGE = Fault(
    "vault-object-too-large",
    VaultRefused,
    "This is larger than any object a vault holds.",
    "Check that the right file was given. Nothing was written.",
)
DAMAGED_OBJECT = Fault(
    "vault-damaged-object",
    VaultDamaged,
    "The bytes of this object are not what they were when written.",
    "Run `parambak recheck`; then archive the same dump again, or fetch the file from another "
    "copy of the vault.",
)
MISSING_OBJECT = Fault(
    "vault-missing-object",
    VaultDamaged,
    "An object that a record names is not in the vault.",
    "Run `parambak recheck`; then archive the same dump again, or fetch the file from another "
    "copy of the vault.",
)
MISSING_RECORD = Fault(
    "vault-missing-record",
    VaultDamaged,
    "A record that a later one names is neither in the vault nor coming in.",
    "Fetch the earlier record too, from where this one came or from another copy of the vault.",
)
DAMAGED_RECORD = Fault(
    "vault-damaged-record",
    VaultDamaged,
    "This is not a record as the vault writes them.",
    "Run `parambak recheck`; then fetch the file from another copy of the vault.",
)
NOT_A_PERSON = Fault(
    "vault-not-a-person",
    VaultDamaged,
    "A record names this object as a person, and it is none.",
    "Run `parambak recheck`.",
)
INDEX_FAILED = Fault(
    "vault-index-failed",
    VaultRefused,
    "No index could be built, neither in the vault nor beside it.",
    "Make room in the folder for temporary files, then try again.",
)
OWN_UNUSABLE = Fault(
    "vault-own-folder",
    VaultRefused,
    "The user's own folder, which keeps this writer's identity, cannot be used.",
    "Check that the folder can be written. The vault is as it was.",
)
EXPORT_EXISTS = Fault(
    "vault-export-exists",
    CallRefused,
    "There is a file of this name already.",
    "Choose another name for --out, or give --replace to write over it.",
)
EXPORT_UNFIT = Fault(
    "vault-export-unfit",
    CallRefused,
    "A file cannot be written here.",
    "Give --out the name of a file in a folder that is there.",
)

# What is said and does not stop: codes of findings.
INDEX_REBUILT = "vault-index-rebuilt"
INDEX_ASIDE = "vault-index-aside"
HISTORY_CUT = "vault-history-cut"
CLOCK_BACKWARDS = "vault-clock-backwards"
RECORD_VANISHED = "vault-record-vanished"
RECORD_LACKING = "vault-record-lacking"
RECORD_SKIPPED = "vault-record-skipped"
TOML_CHANGED = "vault-toml-changed"
FIRST_RECORD_LACKING = "vault-first-record-lacking"
OWN_DAMAGED = "vault-own-damaged"
OWN_NOT_WRITTEN = "vault-own-not-written"


class Mistrusted(Exception):  # noqa: N818 - a verdict that never leaves the room
    """The index cannot be used; `damaged` where it is to be thrown away."""

    def __init__(self, reason: str, *, damaged: bool) -> None:
        super().__init__(reason)
        self.damaged = damaged
