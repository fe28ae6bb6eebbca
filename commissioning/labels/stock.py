"""Label stock by its size: sheets of common sizes in millimetres, none named after who makes it.

The sizes are those that such sheets are commonly cut to (common practice, no source); a sheet that differs by a
little is put right with the shift of the form.
"""

from __future__ import annotations

from dataclasses import dataclass

A4, LETTER = (210.0, 297.0), (215.9, 279.4)
PAPERS = {"A4": A4, "Letter": LETTER}


@dataclass(frozen=True, slots=True)
class Stock:
    """A sheet of labels; lengths in mm. What the margins leave over stands between the labels."""

    key: str
    paper: str
    columns: int
    rows: int
    width: float
    height: float
    left: float
    top: float
    gap_x: float = 0.0
    gap_y: float = 0.0

    @property
    def page(self) -> tuple[float, float]:
        return PAPERS[self.paper]

    @property
    def a_sheet(self) -> int:
        return self.columns * self.rows

    @property
    def name(self) -> str:
        return f"{self.paper}: {self.width:g} × {self.height:g} mm, {self.columns} × {self.rows}"

    @property
    def margins(self) -> str:
        return f"{self.left:g} mm from the left edge, {self.top:g} mm from the top"

    def place(self, position: int) -> tuple[int, float, float]:
        """Sheet, and the label's upper left corner from the left and the top of the page, for a place from 0."""
        sheet, on_sheet = divmod(position, self.a_sheet)
        row, column = divmod(on_sheet, self.columns)
        return sheet, self.left + column * (self.width + self.gap_x), self.top + row * (self.height + self.gap_y)


STOCKS = {
    stock.key: stock
    for stock in (
        Stock("a4-63x38", "A4", 3, 7, 63.5, 38.1, 7.25, 15.15, gap_x=2.5),
        Stock("a4-70x37", "A4", 3, 8, 70.0, 37.0, 0.0, 0.5),
        Stock("a4-99x38", "A4", 2, 7, 99.1, 38.1, 4.65, 15.15, gap_x=2.5),
        Stock("a4-105x57", "A4", 2, 5, 105.0, 57.0, 0.0, 6.0),
        Stock("a4-48x25", "A4", 4, 10, 48.5, 25.4, 8.0, 21.5),
        Stock("a4-38x21", "A4", 5, 13, 38.1, 21.2, 4.75, 10.7, gap_x=2.5),
        Stock("letter-67x25", "Letter", 3, 10, 66.7, 25.4, 4.75, 12.7, gap_x=3.15),
        Stock("letter-102x34", "Letter", 2, 7, 101.6, 33.9, 3.95, 21.05, gap_x=4.8),
        Stock("letter-102x51", "Letter", 2, 5, 101.6, 50.8, 3.95, 12.7, gap_x=4.8),
    )
}
USUAL = "a4-63x38"
