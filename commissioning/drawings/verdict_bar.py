"""The verdict bar: where a value lies between its limits, with guard bands and the value's own uncertainty.

The four verdicts differ by the shape of the value's mark and by word: a filled diamond (accept), a hollow diamond
(accept within guard band), a hollow square with a cross (reject within guard band), a filled square (reject).
"""

from __future__ import annotations

from dataclasses import dataclass

from commissioning.drawings.display import Drawing, Role
from commissioning.drawings.judged_figures import Figures, figures

WORDS = {
    "accept": "accept",
    "accept_within_guard_band": "accept within guard band",
    "reject_within_guard_band": "reject within guard band",
    "reject": "reject",
    "cannot_say": "cannot say",
}
ROLES = {
    "accept": Role.NORMAL,
    "accept_within_guard_band": Role.NORMAL,
    "reject_within_guard_band": Role.DANGER,
    "reject": Role.DANGER,
    "cannot_say": Role.NEUTRAL,
}


@dataclass(frozen=True)
class Judged:
    """A value, its expanded uncertainty, its limits and the verdict on it."""

    value: float
    verdict: str
    lower: float | None = None
    upper: float | None = None
    uncertainty: float = 0.0
    unit: str = ""
    guard_factor: float = 1.0

    @property
    def figures(self) -> Figures:
        """Its numbers as they are written."""
        return figures(self.value, uncertainty=self.uncertainty, lower=self.lower, upper=self.upper)


def verdict_bar(judged: Judged, *, width: float = 90.0, height: float = 10.0) -> Drawing:
    """The bar alone, without words: a table carries the words beside it."""
    drawing = Drawing(width, height, f"Verdict: {WORDS[judged.verdict]}", described(judged))
    middle = height / 2
    low, high = span(judged)
    pixel = (width - 8) / (high - low)

    def place(value: float) -> float:
        return 4 + min(max(value, low), high) * pixel - low * pixel

    _scale(drawing, judged, place, middle)
    reach = judged.uncertainty
    if reach * pixel > 1.5:
        left, right = place(judged.value - reach), place(judged.value + reach)
        drawing.line((left, middle), (right, middle), weight=0.8)
        for end in (left, right):
            drawing.line((end, middle - 1.8), (end, middle + 1.8), weight=0.8)
    value_mark(drawing, judged.verdict, place(judged.value), middle, 2.6)
    return drawing


def span(judged: Judged) -> tuple[float, float]:
    """The stretch shown: the limits with a third of their distance beyond, and at least the value."""
    limits = [limit for limit in (judged.lower, judged.upper) if limit is not None]
    if len(limits) == 2:
        margin = (limits[1] - limits[0]) / 3 or abs(limits[0]) * 0.1 or 1.0
        return limits[0] - margin, limits[1] + margin
    edge = limits[0] if limits else judged.value
    reach = max(abs(judged.value - edge) * 1.25, judged.uncertainty * 3, abs(edge) * 0.1) or 1.0
    if not limits:
        return edge - reach, edge + reach
    inside = reach if judged.upper is None else -reach
    return min(edge - inside * 0.6, edge + inside), max(edge - inside * 0.6, edge + inside)


def _scale(drawing: Drawing, judged: Judged, place: object, middle: float) -> None:
    at = place
    low = at(judged.lower) if judged.lower is not None else 0.0  # type: ignore[operator]
    high = at(judged.upper) if judged.upper is not None else drawing.width  # type: ignore[operator]
    drawing.line((0, middle), (drawing.width, middle), role=Role.GRID, weight=0.5)
    drawing.rect(low, middle - 2.2, high - low, 4.4, Role.GRID)
    band = judged.uncertainty * judged.guard_factor
    for limit, sign in ((judged.lower, 1), (judged.upper, -1)):
        if limit is None:
            continue
        edge = at(limit)  # type: ignore[operator]
        if band:
            inner = at(limit + sign * band)  # type: ignore[operator]
            drawing.rect(min(edge, inner), middle - 2.2, abs(inner - edge), 4.4, Role.NEUTRAL)
        drawing.line((edge, middle - 4.2), (edge, middle + 4.2), weight=1.0)


def value_mark(drawing: Drawing, verdict: str, x: float, y: float, size: float) -> None:
    """The mark of a verdict, by shape."""
    role, diamond = ROLES[verdict], ((x, y - size), (x + size, y), (x, y + size), (x - size, y))
    if verdict.startswith("accept"):
        drawing.shape(*diamond, role=role if verdict == "accept" else Role.GROUND)
        drawing.shape(*diamond, role=role, filled=False, weight=0.8)
    elif verdict.startswith("reject"):
        side = size * 0.85
        drawing.rect(x - side, y - side, 2 * side, 2 * side, role if verdict == "reject" else Role.GROUND)
        drawing.rect(x - side, y - side, 2 * side, 2 * side, role, filled=False, weight=0.8)
        if verdict == "reject_within_guard_band":
            drawing.line((x - side, y - side), (x + side, y + side), role=role, weight=0.8)
            drawing.line((x - side, y + side), (x + side, y - side), role=role, weight=0.8)
    else:
        drawing.disc(x, y, size * 0.8, Role.GROUND)
        drawing.disc(x, y, size * 0.8, role, filled=False, weight=0.8)


def described(judged: Judged) -> str:
    """The bar in words, in the digits in which its numbers are read."""
    unit, told = f" {judged.unit}" if judged.unit else "", judged.figures
    named = (
        ("Value", told.value),
        ("expanded uncertainty", told.uncertainty),
        ("lower limit", told.lower),
        ("upper limit", told.upper),
    )
    parts = [f"{name} {text}{unit}" for name, text in named if text]
    return f"{', '.join(parts)}: {WORDS[judged.verdict]}."
