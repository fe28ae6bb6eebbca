"""A judged value, its uncertainty and its limits in the digits in which they are read: one way for page and PDF.

With an expanded uncertainty U, value and U carry two significant digits of U. Without one the value carries digits that
matter against its limits. No value is rounded onto or over a limit that it misses: the words never contradict the
verdict.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from calcs.figures import plain, rounded

#: Without an uncertainty: this part of a limit, or of half the distance between two, is worth a digit.
PART = 500
#: More digits than these say nothing to a reader.
MOST = 6


@dataclass(frozen=True, slots=True)
class Figures:
    """The texts, without their unit; empty where there is none."""

    value: str
    uncertainty: str = ""
    lower: str = ""
    upper: str = ""


def figures(
    value: float, *, uncertainty: float = 0.0, lower: float | None = None, upper: float | None = None
) -> Figures:
    """How the value, its expanded uncertainty and its limits are written."""
    low, high = ("" if limit is None else sensible(limit) for limit in (lower, upper))
    limits = [limit for limit in (lower, upper) if limit is not None]
    if uncertainty and math.isfinite(value):
        first, spread = rounded(value, uncertainty)
        return Figures(_told_apart(value, first, limits), spread, low, high)
    return Figures(_told_apart(value, _beside(value, lower, upper), limits), "", low, high)


def sensible(value: float) -> str:
    """A number without uncertainty: four significant digits, five from 100 on, and never less than its whole part."""
    if not value or not math.isfinite(value) or isinstance(value, int):
        return plain(value)
    wanted = 5 if abs(value) >= 100 else 4
    return plain(value, max(wanted, min(math.floor(math.log10(abs(value))) + 1, 15)))


def _beside(value: float, lower: float | None, upper: float | None) -> str:
    """The value in digits that matter against its limits, and no more than a sensible number of them."""
    if lower is not None and upper is not None and upper > lower:
        reach = (upper - lower) / 2
    else:
        reach = abs(next((limit for limit in (lower, upper) if limit), 0.0))
    if not reach or not math.isfinite(value):
        return sensible(value)
    decimals = max(math.ceil(-math.log10(reach / PART)), 0)
    return sensible(round(float(value), decimals))


def _told_apart(value: float, text: str, limits: list[float]) -> str:
    """The text, or a longer one where it would say that the value lies on or beyond a limit that it does not reach."""
    return next((one for one in (text, *_longer(value, text)) if _says_the_truth(value, one, limits)), plain(value, 15))


def _longer(value: float, text: str) -> Iterator[str]:
    digits = sum(letter.isdigit() for letter in text.lstrip("−0."))
    return (plain(value, more) for more in range(digits + 1, max(MOST, digits) + 1))


def _says_the_truth(value: float, text: str, limits: list[float]) -> bool:
    try:
        told = float(text.replace("−", "-"))
    except ValueError:
        return True
    return all(_side(told - limit, limit) == _side(value - limit, limit) for limit in limits)


def _side(difference: float, limit: float) -> int:
    """Below, on or above, but for the last digits of binary floats."""
    if math.isclose(difference, 0.0, abs_tol=1e-9 * max(abs(limit), 1e-9)):
        return 0
    return 1 if difference > 0 else -1
