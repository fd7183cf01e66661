"""The commands as a newcomer meets them: by what there is to do, with what each answers."""

from __future__ import annotations

SECTIONS: dict[str, dict[str, str]] = {
    "Try it": {
        "demo": "An invented story, walked through in a folder.",
    },
    "Read and keep": {
        "inspect": "What does a dump file hold?",
        "archive": "Keep the reads of a chip: is the copy verified?",
        "visit": "Open and close an attendance: what was read, what not?",
        "measure": "Keep readings at a unit: is each inside its limits?",
    },
    "See what there is and what changed": {
        "catalogue": "What is held, of when, and is it verified?",
        "history": "What changed at a position, when, who read it? Fading cells.",
        "diff": "What differs between copies or dump files? Remark on it.",
        "compare-units": "Which of the units of one layout is odd, and in what?",
        "due": "What is to be read again or held elsewhere, and why?",
        "decode": "What do the bytes of a copy mean?",
        "report": "Pages to print: of a copy, a visit, a swap.",
        "tables": "Everything on record, for other programs.",
    },
    "Replace a processor card": {
        "swap": "May it begin? What to load? Did it take? From open to close.",
        "card": "Processor cards: where is each, and does it fit?",
        "rules": "The ship's rules: what its owner requires before a swap.",
        "export": "Write a copy as a file.",
    },
    "Backup: keep it in more than one location": {
        "backup": "A second folder, stick or server that holds the same.",
        "pack": "Write all about a vessel into one file.",
        "unpack": "Take in what `pack` wrote.",
    },
    "Set up and put right": {
        "layout": "Which byte means what: write, check and find it.",
        "correct": "Add or correct a fact of a vessel, unit, card or copy.",
        "recheck": "Is everything in the vault still sound?",
        "seal": "A line for the report: it finds a history cut back.",
        "rebuild": "Make the index anew from the records.",
        "recover": "Make a new vault of all that can be proven in a folder.",
    },
}
