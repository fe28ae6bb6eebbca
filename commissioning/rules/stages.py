"""Which stages a kind of system goes through, and what each stage demands of its supplies."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

MECHANICAL_COMPLETION = "mechanical_completion"
PRE_ENERGISATION = "pre_energisation"
ENERGISATION = "energisation"
BATTERY_CONNECTED = "battery_connected"

ALL_STAGES = (MECHANICAL_COMPLETION, PRE_ENERGISATION, ENERGISATION, BATTERY_CONNECTED)

STAGE_WORDS = {
    MECHANICAL_COMPLETION: "mechanical completion",
    PRE_ENERGISATION: "pre-energisation",
    ENERGISATION: "energisation",
    BATTERY_CONNECTED: "battery-connected",
}

#: Kinds of system without a battery have no battery-connected stage.
WITHOUT_BATTERY = frozenset({"dc_board", "lv_board"})

#: In these stages every supply must be recorded isolated when the gate is accepted.
DEAD_STAGES = frozenset({MECHANICAL_COMPLETION, PRE_ENERGISATION})

#: In these stages a check line waits for the lines before it: a wrong order can hurt somebody.
ORDERED_STAGES = frozenset({ENERGISATION})


def stage_plan(kind: str, overrides: Mapping[str, Sequence[str]] | None = None) -> tuple[str, ...]:
    """The ordered stages of a kind of system; `overrides` is the project's own plan by kind.

    Raises ValueError for a plan that is empty, names an unknown stage or is out of order.
    """
    if overrides and kind in overrides:
        plan = tuple(overrides[kind])
        if not plan or list(plan) != [stage for stage in ALL_STAGES if stage in plan]:
            raise ValueError(f"A stage plan keeps the order {', '.join(ALL_STAGES)} and names at least one of them.")
        return plan
    return ALL_STAGES[:3] if kind in WITHOUT_BATTERY else ALL_STAGES
