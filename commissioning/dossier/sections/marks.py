"""Drawings on a sheet, with the dossier's own faces."""

from __future__ import annotations

from commissioning.dossier import fonts
from commissioning.dossier.page import BOLD, REGULAR, Sheet
from commissioning.drawings.display import Drawing
from commissioning.drawings.pdf import operators


def show(text: str, strong: bool, size: float) -> str:
    """Operators that show the text."""
    return fonts.operators(text, BOLD if strong else REGULAR, size)


def measure(text: str, strong: bool, size: float) -> float:
    """Width of the text in points."""
    return fonts.width(text, BOLD if strong else REGULAR, size)


def draw(sheet: Sheet, drawing: Drawing, x: float, y: float) -> None:
    """Draw with the upper left corner at `x`, `y`."""
    sheet.embed(operators(drawing, x, y, show=show, measure=measure))
