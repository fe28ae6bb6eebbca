"""The short code of a label: the record's key in letters and digits that every phone reads.

A tag can be renamed, a key cannot: a label that was stuck on once leads to its equipment for ever. The alphabet is
Crockford's base 32 (no I, L, O or U), so that a code read aloud or typed by hand has no two letters alike.
"""

from __future__ import annotations

from uuid import UUID

ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
LENGTH = 26  # 26 letters of 5 bits hold the 128 of a key
#: What a person types for what a label shows.
MISREAD = str.maketrans({"I": "1", "L": "1", "O": "0", "-": "", " ": ""})


def code_of(key: UUID) -> str:
    """The code printed for a record's key."""
    number, letters = key.int, []
    for _ in range(LENGTH):
        number, place = divmod(number, 32)
        letters.append(ALPHABET[place])
    return "".join(reversed(letters))


def key_of(code: str) -> UUID | None:
    """The key that a code stands for; None for what is no code."""
    text = code.upper().translate(MISREAD)
    if len(text) != LENGTH or any(letter not in ALPHABET for letter in text):
        return None
    number = 0
    for letter in text:
        number = number * 32 + ALPHABET.index(letter)
    return UUID(int=number) if number < 1 << 128 else None
