"""Every refusal about a backup location."""

from __future__ import annotations

from parambak.errors import CallRefused, Fault, VaultRefused

ADDRESS = Fault(
    "backup-address",
    CallRefused,
    "This is not an address for a backup location.",
    "Give a folder's path, sftp://USER@HOST/PATH, or the URL of a store that keeps files.",
)
PASSWORD = Fault(
    "backup-address-password",
    CallRefused,
    "An address may not hold a password or a key: it is stored and shown.",
    "Leave it out. A server takes the keys of the ssh agent or of ~/.ssh. Another store takes "
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
    "This program does not know the format number in the marker of this backup location.",
    "If a newer version of parambak made this backup location, install that version. If not, keep "
    "a copy of backup-location.toml, and correct its line to `format = 1` with a text editor. "
    "Nothing was changed here.",
)
ABSENT = Fault(
    "backup-absent",
    VaultRefused,
    "The backup location is not at its address.",
    "Plug the stick in or connect the share, or make the parent folder, then try again. If it has "
    "another drive letter or path today, give `backup send --at ADDRESS`.",
)
NOT_EMPTY = Fault(
    "backup-not-empty",
    VaultRefused,
    "This folder holds files that are not of a backup location or a vault.",
    "Name an empty folder, or one that does not exist yet.",
)
OTHER_VAULT = Fault(
    "backup-other-vault",
    VaultRefused,
    "Another vault is here.",
    "To keep both vaults together here, add --merge. Else name another folder.",
)
ANOTHER = Fault(
    "backup-another",
    VaultRefused,
    "This is not the backup location that was named, but another.",
    "Plug in the right stick. `parambak backup list` shows all backup locations with their "
    "identities.",
)
MARKER = Fault(
    "backup-marker",
    VaultRefused,
    "The marker of this backup location is damaged.",
    "Check that it is the right folder. If it is, write the three lines that "
    "formats/backup-locations.md shows, with the identity that `parambak backup list` shows.",
)
KIND = Fault(
    "backup-kind",
    VaultRefused,
    "A backup location holds packs or a vault, not both.",
    "Name another folder, or use --packed as before.",
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
    "The server's key is not in known_hosts, so this may be another server.",
    "Call the server once with `ssh`. Compare the key that it shows with the key that the server's "
    "owner gives you. Then try again.",
)
HOST_KEY_CHANGED = Fault(
    "backup-host-key-changed",
    VaultRefused,
    "The server's key is not the key in known_hosts: this may be another server.",
    "Send nothing. Ask the server's owner. If the key was changed on purpose, correct the line in "
    "known_hosts.",
)
LOGIN = Fault(
    "backup-login",
    VaultRefused,
    "The server refuses the login.",
    "Load a key that it accepts into the ssh agent, or keep one in ~/.ssh without a passphrase. "
    "This program never uses a password.",
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
    "{done} of {total} files were proven there. Free some space, then run the command again: it "
    "goes on.",
)
UNWRITABLE = Fault(
    "backup-unwritable",
    VaultRefused,
    "The backup location refuses writes.",
    "{done} of {total} files were proven there. Check its permissions, and whether it is "
    "write-protected. Then run the command again: it goes on.",
)
LOST = Fault(
    "backup-lost",
    VaultRefused,
    "The backup location failed or stopped answering.",
    "{done} of {total} files were proven there. Plug it in or connect it. Then run the command "
    "again: it goes on.",
)
