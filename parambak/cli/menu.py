"""The commands as a new user reads them: by the job, each with what it answers."""

from __future__ import annotations

SECTIONS: dict[str, dict[str, str]] = {
    "Try it": {
        "demo": "An invented story, run step by step in a folder.",
    },
    "Read and keep": {
        "inspect": "What does a dump file hold?",
        "archive": "Keep the reads of a chip: is the copy verified?",
        "visit": "Open and close an attendance: what was read, what was not?",
        "measure": "Keep readings at a unit: are they inside their limits?",
    },
    "See what is kept and what changed": {
        "catalogue": "Which copies are kept, how old, and are they verified?",
        "history": "What changed at a position, when, and who read it?",
        "diff": "What differs between copies or dump files?",
        "compare-units": "Which unit differs from the others of its layout?",
        "due": "Which chips must be read again, which copies sent, and why?",
        "decode": "What do the bytes of a copy mean?",
        "report": "Pages to print: of a copy, a visit, a swap.",
        "tables": "Everything on record, for other programs.",
    },
    "Replace a processor card": {
        "swap": "May it begin? What to load? Is it loaded correctly?",
        "card": "Processor cards: where is each, and does it fit?",
        "rules": "The ship's rules: what its owner requires before a swap.",
        "export": "Write a copy as a file.",
    },
    "Backup: keep it in more than one location": {
        "backup": "Keep the vault in a second folder, stick or server.",
        "pack": "Write everything about a vessel into one file.",
        "unpack": "Take in a file that `pack` wrote.",
    },
    "Set up and correct": {
        "unit": "Record a unit before any of its chips is read.",
        "position": "Record a position before its chip is read.",
        "layout": "Which byte means what: write, check, search, attach layouts.",
        "correct": "Add or correct a name, number or date on record.",
        "withdraw": "Take back a read, a position, a remark: it counts nowhere.",
        "undo": "Take back the last command that put something on record.",
        "recheck": "Is every file of the vault still unchanged?",
        "accept-loss": "Go on without what is lost, by name and reason.",
        "seal": "A line for the report: it shows if records are removed later.",
        "rebuild": "Make the index again from the records.",
        "recover": "Make a new vault of all that can be proven in a folder.",
    },
}
