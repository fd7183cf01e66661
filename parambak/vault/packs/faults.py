"""Every refusal of packed vessels. The codes are stable: scripts rely on them."""

from __future__ import annotations

from parambak.errors import Fault, PackRefused, VaultDamaged

_OTHER_COPY = (
    "Ask for the pack again. If this is the only copy: `parambak recover PACK --vault NEW` takes "
    "from it what can still be proven."
)

NOT_ONE = Fault(
    "pack-not-one",
    PackRefused,
    "This is not a file of packed vessels.",
    "Give the file that `parambak pack` wrote, as it is. If it was one, and is damaged: `parambak "
    "recover PACK --vault NEW`.",
)
UNREADABLE = Fault(
    "pack-unreadable",
    PackRefused,
    "The system would not let this file be read.",
    "Check its name, the medium and the permissions, then try again.",
)
TRUNCATED = Fault("pack-truncated", PackRefused, "The file ends too early.", _OTHER_COPY)
BEYOND = Fault(
    "pack-beyond",
    PackRefused,
    "There are bytes in the file that belong to nothing that it lists.",
    _OTHER_COPY,
)
HEADER = Fault("pack-header", PackRefused, "A header is not as packs have it.", _OTHER_COPY)
CENTRAL = Fault(
    "pack-central",
    PackRefused,
    "The directory at the file's end differs from what stands at its members.",
    _OTHER_COPY,
)
ENCRYPTED = Fault(
    "pack-encrypted",
    PackRefused,
    "A member is encrypted.",
    "Ask for the file as `parambak pack` wrote it; packs are never encrypted.",
)
METHOD = Fault(
    "pack-method", PackRefused, "A member is packed by a method that packs never use.", _OTHER_COPY
)
LINK = Fault("pack-link", PackRefused, "A member is a link.", _OTHER_COPY)
NAME = Fault("pack-name", PackRefused, "A member has a name that no pack gives.", _OTHER_COPY)
NAME_TWICE = Fault("pack-name-twice", PackRefused, "Two members have one name.", _OTHER_COPY)
SIZE = Fault(
    "pack-size",
    PackRefused,
    "The file, or a member of it, passes a limit of packs.",
    "Pack fewer vessels into one file; what nobody knows should not be unpacked.",
)
MANIFEST = Fault("pack-manifest", PackRefused, "The manifest is not as packs have it.", _OTHER_COPY)
NEWER = Fault(
    "pack-newer",
    PackRefused,
    "This pack was written by a newer version of parambak.",
    "Install the newer version; nothing was taken in.",
)
MEMBERS = Fault(
    "pack-members",
    PackRefused,
    "The manifest and the members are not the same files.",
    _OTHER_COPY,
)
OTHER_VESSEL = Fault(
    "pack-other-vessel",
    PackRefused,
    "A record is about a vessel that the manifest does not name.",
    "Ask for a pack that `parambak pack` wrote; nothing of this one was taken in.",
)
UNNAMED_OBJECT = Fault(
    "pack-unnamed-object",
    PackRefused,
    "No record of the pack names this object.",
    "Ask for a pack that `parambak pack` wrote; nothing of this one was taken in.",
)
DAMAGED = Fault(
    "pack-damaged",
    VaultDamaged,
    "The bytes of this member are not what they were when packed.",
    "Ask for the pack again, or keep this one: what is sound in it can be unpacked.",
)
NOT_WHOLE = Fault(
    "pack-not-whole",
    VaultDamaged,
    "A record of this vessel is missing or damaged in the vault, so it cannot be packed whole.",
    "Run `parambak recheck`; then fetch the file from another copy of the vault.",
)
READ_BACK = Fault(
    "pack-read-back",
    PackRefused,
    "The pack did not read back as it was written; it was taken away again.",
    "Check the medium and its connection, then try again.",
)
