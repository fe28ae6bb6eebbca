"""What the calculations say when they cannot go on: one exception, one clear sentence."""

from __future__ import annotations


class InputError(ValueError):
    """An input is wrong.

    `.input` names it (empty when no single input is to blame); the text says what would be right.
    """

    def __init__(self, message: str, *, input: str = "") -> None:
        super().__init__(message)
        self.input = input


class UnknownCalculation(InputError, KeyError):
    """No calculation has this name (or this edition)."""

    def __str__(self) -> str:
        return str(self.args[0])
