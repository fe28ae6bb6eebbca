"""Numbers that tell like things apart: how far a value lies from its pack, and a share with what its few cases allow.

Robust z: 0.6745 · (x − median) / MAD, MAD being the median distance from the median; beyond 3.5 a value lies outside
the pack (B. Iglewicz and D. C. Hoaglin, How to Detect and Handle Outliers, ASQC Basic References in Quality Control 16,
1993). Where more than half of the values are the same, MAD is nought and the mean distance stands in:
(x − median) / (1.2533 · mean distance).

Interval of a share k of n: E. B. Wilson, Probable inference, the law of succession, and statistical inference, Journal
of the American Statistical Association 22 (1927), 209-212; here with 95 %.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean, median

#: A pack of fewer says nothing about any of them.
FEWEST = 5
OUTSIDE = 3.5
#: 95 % of a normal distribution lies within so many standard deviations.
Z_95 = 1.959964


@dataclass(frozen=True, slots=True)
class Pack:
    """The middle of like values, and the robust z of each of them in their order."""

    middle: float
    z: tuple[float, ...]


def pack(values: Sequence[float]) -> Pack | None:
    """Nothing where there are too few values, or all are the same."""
    if len(values) < FEWEST:
        return None
    middle = median(values)
    away = [abs(one - middle) for one in values]
    scale = median(away) / 0.6745 or fmean(away) * math.sqrt(math.pi / 2)
    if not scale or not math.isfinite(scale):
        return None
    return Pack(middle, tuple((one - middle) / scale for one in values))


@dataclass(frozen=True, slots=True)
class Share:
    """So many of so many, with the interval in which the true share lies with 95 %."""

    count: int
    of: int
    low: float
    high: float

    @property
    def share(self) -> float:
        return self.count / self.of


def share(count: int, of: int) -> Share:
    """Wilson's interval; `of` is at least one."""
    p, square = count / of, Z_95**2
    middle = (p + square / (2 * of)) / (1 + square / of)
    half = Z_95 / (1 + square / of) * math.sqrt(p * (1 - p) / of + square / (4 * of**2))
    return Share(count, of, max(middle - half, 0.0) if count else 0.0, min(middle + half, 1.0) if count < of else 1.0)
