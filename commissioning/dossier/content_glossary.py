"""The glossary that every dossier prints: terms of the trade and of open standards, and where they come from."""

from __future__ import annotations

GLOSSARY = (
    (
        "accept within guard band",
        "Inside the limit, by less than the uncertainty of the measurement.",
        "ILAC-G8:09/2019",
    ),
    ("alarm sighting", "An alarm seen while commissioning: explained, expected until a later stage, or genuine.", ""),
    ("battery-connected", "The stage in which the battery is connected and the whole supply is proved with it.", ""),
    (
        "capacity, autonomy",
        "Charge a battery delivers to its end voltage; time it carries its load.",
        "IEC 60050-482; IEC 60896",
    ),
    ("carry-over list", "Work that is handed over undone, as agreed.", "NORSOK Z-007"),
    (
        "category A, B, C",
        "A: before this stage's gate. B: before handover. C: carried over, as agreed.",
        "NORSOK Z-007 (A, B)",
    ),
    ("check record", "A check line with its result, who did it and when.", "NORSOK Z-007"),
    ("concession", "Agreed acceptance of what does not meet its limit, signed, with its reason.", "ISO 9000"),
    ("energisation", "The stage in which supplies are released for the first time, without the battery.", ""),
    (
        "expanded uncertainty, U",
        "Half the interval in which the true value lies with about 95 % probability (k = 2).",
        "JCGM 100",
    ),
    (
        "float, boost",
        "Voltage at which a battery is kept charged; higher voltage that equalises its cells.",
        "IEC 60050-482",
    ),
    ("gate", "The conditions under which a stage is accepted.", ""),
    ("guard band", "The strip inside a limit that is as wide as the uncertainty of the measurement.", "JCGM 106:2012"),
    ("handover dossier", "The record handed to the owner.", "NORSOK Z-007"),
    (
        "hold point, witness point, review point",
        "Where work stops for a named party; where it is invited; where papers are reviewed.",
        "",
    ),
    ("interim", "A dossier in which something is missing; page 2 says what.", ""),
    ("LIVE", "At least one supply is recorded released.", "EN 50110-1"),
    ("lock number", "The number of the lock that holds an isolated supply.", ""),
    (
        "mechanical completion",
        "The stage in which everything is proved built as designed, dead.",
        "NORSOK Z-007; IEC 62337",
    ),
    ("permission to energise", "The authorised person's signed permission to release the supplies that it names.", ""),
    ("pre-energisation", "The stage of dead tests before the first energisation.", ""),
    ("probability of conformity", "How probable it is that the true value meets the limit.", "JCGM 106:2012"),
    (
        "proved dead",
        "Tested at the point of work, with a detector proved before and after. No record replaces it.",
        "EN 50110-1",
    ),
    ("punch item", "Work left undone or wrong, with its category, who owes it and what was done.", ""),
    (
        "recorded isolated",
        "Every supply is recorded isolated. It is not a proof: prove dead at the point of work.",
        "EN 50110-1",
    ),
    (
        "signal point, far end",
        "One input or output proved end to end: forced at one end, seen at the other.",
        "IEC 62382",
    ),
)


def glossary() -> list[dict[str, str]]:
    """The terms as the dossier prints them."""
    return [{"term": term, "meaning": meaning, "source": source} for term, meaning, source in GLOSSARY]
