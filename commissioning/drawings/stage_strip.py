"""The stage strip: the stages of a system in order, each with its state as shape and word."""

from __future__ import annotations

from collections.abc import Sequence

from commissioning.drawings.display import Drawing, Role

STATES: dict[str, tuple[str, Role]] = {
    "accepted": ("accepted", Role.NORMAL),
    "in_hand": ("in hand", Role.ACTION),
    "held": ("held", Role.ABNORMAL),
    "not_started": ("not started", Role.NEUTRAL),
    "withdrawn": ("withdrawn", Role.DANGER),
    "not_planned": ("not planned", Role.NEUTRAL),
}


def stage_strip(stages: Sequence[tuple[str, str]], *, width: float = 260.0, height: float = 26.0) -> Drawing:
    """A strip of (name, state); the states are the keys of `STATES`."""
    drawing = Drawing(width, height, "Stages", _words(stages))
    step = width / max(len(stages), 1)
    centre = 7.0
    for index, (name, state) in enumerate(stages):
        left = index * step
        if index:
            drawing.line((left - step + 13, centre), (left, centre), role=Role.GRID, weight=1.0)
        state_mark(drawing, state, left + 6.5, centre)
        drawing.text(left, height - 6.5, name, size=6.5, strong=state in {"in_hand", "held"})
        drawing.text(left, height - 0.2, STATES[state][0], size=6, role=Role.QUIET)
    return drawing


def stage_marks(stages: Sequence[tuple[str, str]], *, width: float = 180.0, height: float = 17.0) -> Drawing:
    """The strip for a row of a table: the mark with its words beside it."""
    drawing = Drawing(width, height, "Stages", _words(stages))
    step = width / max(len(stages), 1)
    for index, (name, state) in enumerate(stages):
        left = index * step
        state_mark(drawing, state, left + 4.4, 7.6, 4.0)
        drawing.text(left + 11, 6.6, name, size=6.5, strong=state in {"in_hand", "held"})
        drawing.text(left + 11, 13.8, STATES[state][0], size=6, role=Role.QUIET)
    return drawing


def _words(stages: Sequence[tuple[str, str]]) -> str:
    words = "; ".join(f"{name}: {STATES[state][0]}" for name, state in stages)
    return f"{words}." if words else "No stages."


def state_mark(drawing: Drawing, state: str, x: float, y: float, size: float = 4.6) -> None:
    """The shape of a state: filled disc with a tick, half disc, bar, ring, crossed ring, dash."""
    role = STATES[state][1]
    if state == "accepted":
        drawing.disc(x, y, size, role)
        drawing.line(
            (x - size * 0.5, y), (x - size * 0.1, y + size * 0.45), (x + size * 0.5, y - size * 0.4),
            role=Role.GROUND, weight=1.1,
        )  # fmt: skip
        return
    if state == "held":
        drawing.shape((x, y - size), (x + size, y + size * 0.8), (x - size, y + size * 0.8), role=role)
        drawing.line((x, y - size * 0.3), (x, y + size * 0.3), weight=1.1)
        return
    if state == "not_planned":
        drawing.line((x - size, y), (x + size, y), role=role, weight=1.2)
        return
    drawing.disc(x, y, size, Role.GROUND)
    drawing.disc(x, y, size, role, filled=False, weight=1.1)
    if state == "in_hand":
        drawing.shape(
            (x - size * 0.35, y - size * 0.55), (x + size * 0.6, y), (x - size * 0.35, y + size * 0.55), role=role
        )
    if state == "withdrawn":
        drawing.line((x - size * 0.6, y - size * 0.6), (x + size * 0.6, y + size * 0.6), role=role, weight=1.1)
        drawing.line((x - size * 0.6, y + size * 0.6), (x + size * 0.6, y - size * 0.6), role=role, weight=1.1)
