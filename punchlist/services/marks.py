"""Marks that a finger made on a photo: drawn into the picture that is kept, so that list and dossier show the same."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import atan2, cos, sin

from PIL import Image, ImageDraw

#: What can be drawn: along the finger's way, around what lies between two points, or from one point to the other.
TOOLS = ("line", "circle", "arrow")
MARKS_LIMIT, POINTS_LIMIT = 50, 500
#: A white edge keeps a mark visible on any ground.
COLOUR, EDGE = (211, 47, 0), (255, 255, 255)

Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Mark:
    """One mark; its points are fractions of the picture's width and height, from its upper left corner."""

    tool: str
    path: tuple[Point, ...]


def drawn(picture: Image.Image, marks: Sequence[Mark]) -> Image.Image:
    """The picture with the marks in it, in the order in which they were made."""
    if not marks:
        return picture
    marked = picture.copy()
    pen = ImageDraw.Draw(marked)
    width = max(picture.size) / 130
    for mark in marks:
        path = [(x * picture.width, y * picture.height) for x, y in mark.path]
        for colour, thick in ((EDGE, round(width * 1.8)), (COLOUR, round(width))):
            _stroke(pen, mark.tool, path, colour, max(thick, 1), width)
    return marked


def _stroke(
    pen: ImageDraw.ImageDraw, tool: str, path: list[Point], colour: tuple[int, int, int], thick: int, width: float
) -> None:
    (x, y), (to_x, to_y) = path[0], path[-1]
    if tool == "circle":
        box = (min(x, to_x), min(y, to_y), max(x, to_x), max(y, to_y))
        pen.ellipse(
            tuple(edge + way * thick / 2 for edge, way in zip(box, (-1, -1, 1, 1), strict=True)),
            outline=colour,
            width=thick,
        )
        return
    pen.line(path, fill=colour, width=thick, joint="curve")
    if tool == "arrow":
        angle = atan2(to_y - y, to_x - x)
        for side in (-0.5, 0.5):
            tip = (to_x - cos(angle + side) * width * 7, to_y - sin(angle + side) * width * 7)
            pen.line([(to_x, to_y), tip], fill=colour, width=thick)
