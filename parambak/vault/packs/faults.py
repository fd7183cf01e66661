"""Every refusal of packed vessels. The codes are stable: scripts rely on them."""

from __future__ import annotations

from parambak.errors import Fault, PackRefused, VaultDamaged

_OTHER_COPY = (
    "Ask for the pack again. If this is the only copy, run `parambak recover PACK --vault NEW`: "
    "it takes what can still be proven."
)

NOT_ONE = Fault(
    "pack-not-one",
    PackRefused,
    "This is not a file of packed vessels.",
    "Give the unchanged file that `parambak pack` wrote. If it is damaged, run `parambak recover "
    "PACK --vault NEW`.",
)
UNREADABLE = Fault(
    "pack-unreadable",
    PackRefused,
    "The operating system does not let this program read the file.",
    "Check the name, the medium and the permissions, then try again.",
)
TRUNCATED = Fault("pack-truncated", PackRefused, "The file ends too early.", _OTHER_COPY)
BEYOND = Fault(
    "pack-beyond",
    PackRefused,
    "The file has bytes that belong to none of its members.",
    _OTHER_COPY,
)
HEADER = Fault(
    "pack-header", PackRefused, "A header does not have the form of a pack.", _OTHER_COPY
)
CENTRAL = Fault(
    "pack-central",
    PackRefused,
    "The directory at the file's end differs from the headers of the members.",
    _OTHER_COPY,
)
ENCRYPTED = Fault(
    "pack-encrypted",
    PackRefused,
    "A member is encrypted.",
    "Ask for the file as `parambak pack` wrote it. Packs are never encrypted.",
)
METHOD = Fault(
    "pack-method",
    PackRefused,
    "A member is compressed by a method that packs never use.",
    _OTHER_COPY,
)
LINK = Fault("pack-link", PackRefused, "A member is a link.", _OTHER_COPY)
NAME = Fault("pack-name", PackRefused, "A member has a name that packs never use.", _OTHER_COPY)
NAME_TWICE = Fault("pack-name-twice", PackRefused, "Two members have the same name.", _OTHER_COPY)
SIZE = Fault(
    "pack-size",
    PackRefused,
    "The file, or a member of it, is over a limit of packs.",
    "Pack fewer vessels into one file. Do not unpack a file from an unknown sender.",
)
MANIFEST = Fault(
    "pack-manifest", PackRefused, "The manifest does not have the form of a pack.", _OTHER_COPY
)
NEWER = Fault(
    "pack-newer",
    PackRefused,
    "This pack was written by a newer version of parambak.",
    "Install the newer version. Nothing was taken in.",
)
MEMBERS = Fault(
    "pack-members",
    PackRefused,
    "The manifest and the members do not list the same files.",
    _OTHER_COPY,
)
OTHER_VESSEL = Fault(
    "pack-other-vessel",
    PackRefused,
    "A record is about a vessel that the manifest does not name.",
    "Ask for a pack that `parambak pack` wrote. Nothing of this one was taken in.",
)
UNNAMED_OBJECT = Fault(
    "pack-unnamed-object",
    PackRefused,
    "No record of the pack names this file.",
    "Ask for a pack that `parambak pack` wrote. Nothing of this one was taken in.",
)
DAMAGED = Fault(
    "pack-damaged",
    VaultDamaged,
    "The bytes of this member are not what they were when packed.",
    "Ask for the pack again. The undamaged files of this one can be unpacked.",
)
NOT_WHOLE = Fault(
    "pack-not-whole",
    VaultDamaged,
    "A record of this vessel is missing or damaged in the vault, so it cannot be packed.",
    "Run `parambak recheck`; then fetch the file from another copy of the vault.",
)
READ_BACK = Fault(
    "pack-read-back",
    PackRefused,
    "The pack did not read back as it was written. It was removed.",
    "Check the medium and its connection, then try again.",
)
