"""Symbols for the drawings of what is measured where, after the graphical symbols of IEC 60617 in plain lines.

What a person connects or reads is drawn heavier and in the colour of 'an action is required'; everything else is ink.
"""

from __future__ import annotations

from commissioning.drawings.display import Drawing, Point, Role

WEIGHT = 1.2
HEAVY = 1.8
SMALL = 10.0
#: Height of the upper and of the lower conductor of a circuit.
TOP, FLOOR = 30.0, 120.0


class Sheet(Drawing):
    """A drawing with the symbols of a circuit."""

    def wire(self, *points: Point, role: Role = Role.INK) -> None:
        """A conductor."""
        self.line(*points, role=role, weight=WEIGHT)

    def lead(self, *points: Point) -> None:
        """A lead of the instrument, with a probe at its end."""
        self.line(*points, role=Role.ACTION, weight=HEAVY)
        self.disc(*points[-1], 2.6, Role.ACTION)

    def label(self, x: float, y: float, text: str, anchor: str = "start", *, quiet: bool = False) -> None:
        """Words beside a symbol."""
        self.text(x, y, text, size=SMALL, anchor=anchor, role=Role.QUIET if quiet else Role.INK)

    def meter(self, x: float, y: float, letter: str) -> None:
        """An instrument, with the letter of what it shows."""
        self.disc(x, y, 12, Role.GROUND)
        self.disc(x, y, 12, Role.ACTION, filled=False, weight=HEAVY)
        self.text(x, y + 3.8, letter, size=11 if len(letter) < 3 else 8, anchor="middle", strong=True)

    def across(self, x: float, top: float, bottom: float, letter: str, *, reach: float) -> None:
        """An instrument between two points of a vertical conductor at `reach`."""
        middle = (top + bottom) / 2
        self.lead((x, middle - 12), (x, top), (reach, top))
        self.lead((x, middle + 12), (x, bottom), (reach, bottom))
        self.meter(x, middle, letter)

    def series(self, x: float, y: float, letter: str) -> None:
        """An instrument in a conductor, or a clamp around it."""
        self.meter(x, y, letter)

    def cells(self, x: float, top: float, bottom: float, *, shown: int = 3, poles: str = "+−") -> None:
        """A battery string upright, plus above; `poles` are those that are marked."""
        step = (bottom - top) / shown
        for place in range(shown):
            y = top + step * (place + 0.5)
            self.line((x - 12, y - 3), (x + 12, y - 3), weight=WEIGHT)
            self.line((x - 6, y + 3), (x + 6, y + 3), weight=2.4)
            self.wire((x, y - 3), (x, y - step / 2 if place else top))
            self.wire((x, y + 3), (x, y + step / 2))
        if "+" in poles:
            self.label(x - 16, top + 4, "+", "end")
        if "−" in poles:
            self.label(x - 16, bottom + 2, "−", "end")

    def resistor(self, x: float, top: float, bottom: float) -> None:
        """A resistor upright."""
        reach = min((bottom - top) / 3, 14)
        middle = (top + bottom) / 2
        self.wire((x, top), (x, middle - reach))
        self.wire((x, middle + reach), (x, bottom))
        self.rect(x - 5, middle - reach, 10, 2 * reach, Role.INK, filled=False, weight=WEIGHT)

    def resistor_across(self, left: float, right: float, y: float) -> None:
        """A resistor lying."""
        middle, reach = (left + right) / 2, min((right - left) / 3, 16)
        self.wire((left, y), (middle - reach, y))
        self.wire((middle + reach, y), (right, y))
        self.rect(middle - reach, y - 5, 2 * reach, 10, Role.INK, filled=False, weight=WEIGHT)

    def earth(self, x: float, y: float) -> None:
        """Earth."""
        for place, reach in enumerate((10.0, 6.5, 3.0)):
            self.line((x - reach, y + place * 4), (x + reach, y + place * 4), weight=WEIGHT)

    def box(self, x: float, y: float, width: float, height: float, *words: str) -> None:
        """A piece of equipment."""
        self.rect(x, y, width, height, Role.INK, filled=False, weight=WEIGHT)
        first = y + height / 2 + 3.6 - (len(words) - 1) * 6
        for place, text in enumerate(words):
            self.text(x + width / 2, first + place * 12, text, size=SMALL, anchor="middle")

    def span(self, left: float, right: float, y: float, text: str) -> None:
        """A length, with arrowheads."""
        self.line((left, y), (right, y), role=Role.QUIET, weight=0.9)
        for end, sign in ((left, 1), (right, -1)):
            self.shape((end, y), (end + sign * 6, y - 3), (end + sign * 6, y + 3), role=Role.QUIET)
        self.label((left + right) / 2, y - 4, text, "middle")

    def arrow(self, start: Point, end: Point, role: Role = Role.ACTION) -> None:
        """A flow along an upright or lying line."""
        self.line(start, end, role=role, weight=HEAVY)
        (x0, y0), (x1, y1) = start, end
        if abs(x1 - x0) >= abs(y1 - y0):
            back = -7 if x1 > x0 else 7
            self.shape((x1, y1), (x1 + back, y1 - 4), (x1 + back, y1 + 4), role=role)
        else:
            back = -7 if y1 > y0 else 7
            self.shape((x1, y1), (x1 - 4, y1 + back), (x1 + 4, y1 + back), role=role)
