"""Every refusal that has to do with a backup location."""

from __future__ import annotations

from parambak.errors import CallRefused, Fault, VaultRefused

ADDRESS = Fault(
    "backup-address",
    CallRefused,
    "This is no address that a backup location can have.",
    "Give a folder's path, sftp://USER@HOST/PATH, or the URL of a store that keeps files.",
)
PASSWORD = Fault(
    "backup-address-password",
    CallRefused,
    "An address holds no password and no key: it is kept and shown.",
    "Leave it out. A server takes the keys of the ssh agent or of ~/.ssh; another store takes "
    "them from its own settings.",
)
LIBRARY = Fault(
    "backup-library",
    CallRefused,
    "This address needs a library that is not installed.",
    "Run `{install}`.",
)
INSIDE = Fault(
    "backup-inside-vault",
    CallRefused,
    "A backup location inside the vault's own folder, or around it, is lost together with it.",
    "Name a folder on another disk or stick.",
)
FORMAT_UNKNOWN = Fault(
    "backup-format",
    VaultRefused,
    "The marker of this backup location has a format number that this program does not know.",
    "If a newer version of parambak made this backup location, install that one here. If none "
    "did, a byte of backup-location.toml is damaged: keep a copy of it, and write the line "
    "`format = 1` anew with a text editor. Nothing was changed here.",
)
ABSENT = Fault(
    "backup-absent",
    VaultRefused,
    "The backup location is not at its address.",
    "Plug the stick in or connect the share, or make the folder that it would be in, then try "
    "again; `backup send --at ADDRESS` where it is found under another letter or path today.",
)
NOT_EMPTY = Fault(
    "backup-not-empty",
    VaultRefused,
    "This folder holds something else than a backup location or a vault.",
    "Name an empty folder or one that is not there yet.",
)
OTHER_VAULT = Fault(
    "backup-other-vault",
    VaultRefused,
    "Another vault is here.",
    "If both are to be kept together here, add --merge; else name another folder.",
)
ANOTHER = Fault(
    "backup-another",
    VaultRefused,
    "This is another backup location than the one named.",
    (
        "Plug in the right stick; `parambak backup list` shows the backup locations and their "
        "identities."
    ),
)
MARKER = Fault(
    "backup-marker",
    VaultRefused,
    "The marker of this backup location is not as it is written.",
    "Check that it is the right folder. If it is, put back the three lines that "
    "formats/backup-locations.md shows, with the backup location's identity as `parambak backup "
    "list` shows it.",
)
KIND = Fault(
    "backup-kind",
    VaultRefused,
    "A backup location holds packs or a vault, never both.",
    "Name another folder, or add or leave out --packed as it was before.",
)
PACKED_ELSEWHERE = Fault(
    "backup-packed-folder",
    CallRefused,
    "Only a folder can be packed.",
    "Leave out --packed.",
)
HOST_KEY_UNKNOWN = Fault(
    "backup-host-key-unknown",
    VaultRefused,
    "The server's key is not among the known hosts, so it may be anybody's server.",
    "Call the server once with `ssh`, compare the key that it shows with the one that its keeper "
    "tells you, and try again.",
)
HOST_KEY_CHANGED = Fault(
    "backup-host-key-changed",
    VaultRefused,
    "The server's key is not the one among the known hosts: it may be another's server.",
    "Send nothing. Ask the server's keeper; if the key was changed on purpose, correct the line "
    "in known_hosts.",
)
LOGIN = Fault(
    "backup-login",
    VaultRefused,
    "The server does not let us in.",
    "Load a key that it accepts into the ssh agent, or keep one in ~/.ssh without a passphrase. "
    "Passwords are never asked for.",
)
UNREACHABLE = Fault(
    "backup-unreachable",
    VaultRefused,
    "The backup location cannot be reached.",
    "Check the network, the address and the server, then try again.",
)
FULL = Fault(
    "backup-full",
    VaultRefused,
    "The backup location is full.",
    "{done} of {total} files were proven there. Make room, then run it again: it goes on.",
)
UNWRITABLE = Fault(
    "backup-unwritable",
    VaultRefused,
    "The backup location refuses writes.",
    "{done} of {total} files were proven there. Check its permissions and whether it is "
    "write-protected, then run it again: it goes on.",
)
LOST = Fault(
    "backup-lost",
    VaultRefused,
    "The backup location failed or stopped answering.",
    "{done} of {total} files were proven there. Plug it in or connect it again, then run it "
    "again: it goes on.",
)
