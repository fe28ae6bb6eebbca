"""The display list as SVG for a page: classes only, so that the style sheet gives the colours in light and dark."""

from __future__ import annotations

from collections.abc import Callable
from html import escape
from itertools import count

from commissioning.drawings.display import Disc, Drawing, Line, Mark, Shape, Text

_serial = count(1)


def to_svg(drawing: Drawing, *, identity: str = "") -> str:
    """An SVG element with title and description; `identity` makes its ids unique on the page."""
    name = identity or f"drawing-{next(_serial)}"
    body = "".join(_MARKS[type(mark)](mark) for mark in drawing.marks)
    return (
        f'<svg class="drawing" xmlns="http://www.w3.org/2000/svg" role="img" '
        f'viewBox="0 0 {_n(drawing.width)} {_n(drawing.height)}" '
        f'width="{_n(drawing.width)}" height="{_n(drawing.height)}" '
        f'aria-labelledby="{escape(name)}-t {escape(name)}-d">'
        f'<title id="{escape(name)}-t">{escape(drawing.title)}</title>'
        f'<desc id="{escape(name)}-d">{escape(drawing.description)}</desc>{body}</svg>'
    )


def _n(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".")


def _points(points: object) -> str:
    return " ".join(f"{_n(x)},{_n(y)}" for x, y in points)  # type: ignore[attr-defined]


def _line(mark: Line) -> str:
    dash = f' stroke-dasharray="{" ".join(map(_n, mark.dash))}"' if mark.dash else ""
    return (
        f'<polyline class="drawing-stroke drawing-{mark.role}" points="{_points(mark.points)}" '
        f'stroke-width="{_n(mark.weight)}"{dash}/>'
    )


def _shape(mark: Shape) -> str:
    kind = "fill" if mark.filled else "stroke"
    weight = "" if mark.filled else f' stroke-width="{_n(mark.weight)}"'
    return f'<polygon class="drawing-{kind} drawing-{mark.role}" points="{_points(mark.points)}"{weight}/>'


def _disc(mark: Disc) -> str:
    kind = "fill" if mark.filled else "stroke"
    weight = "" if mark.filled else f' stroke-width="{_n(mark.weight)}"'
    return (
        f'<circle class="drawing-{kind} drawing-{mark.role}" cx="{_n(mark.x)}" cy="{_n(mark.y)}" '
        f'r="{_n(mark.radius)}"{weight}/>'
    )


def _text(mark: Text) -> str:
    strong = " drawing-strong" if mark.strong else ""
    return (
        f'<text class="drawing-text drawing-{mark.role}{strong}" x="{_n(mark.x)}" y="{_n(mark.y)}" '
        f'font-size="{_n(mark.size)}" text-anchor="{mark.anchor}">{escape(mark.text)}</text>'
    )


_MARKS: dict[type, Callable[..., str]] = {Line: _line, Shape: _shape, Disc: _disc, Text: _text}

__all__ = ["Mark", "to_svg"]
