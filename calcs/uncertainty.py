"""Values with an uncertainty: made from an expanded uncertainty (k = 2), and read back as one.

A value without uncertainty stays a plain float, so that the `uncertainties` library (and numpy behind it) is loaded
only when a reading really carries one.
"""

from __future__ import annotations

from typing import Any

COVERAGE = 2.0
"""Coverage factor k: every expanded uncertainty in and out of this package is k = 2 (about 95 %)."""

ROUNDING = 1e-13
"""A deviation below this share of its value is what binary rounding left of parts that cancel: it counts as none."""


def uncertain(value: float, expanded: float | None) -> Any:
    """`value` carrying the expanded uncertainty `expanded` (k = 2); a plain float when there is none."""
    if not expanded:
        return value
    from uncertainties import ufloat

    return ufloat(value, expanded / COVERAGE)


def nominal(value: Any) -> Any:
    """The value without its uncertainty; lists are taken apart, anything else is returned as it is."""
    if isinstance(value, list | tuple):
        return [nominal(one) for one in value]
    return getattr(value, "nominal_value", value)


def expanded(value: Any) -> Any:
    """The expanded uncertainty (k = 2) of a value; None when it carries none."""
    if isinstance(value, list | tuple):
        each = [expanded(one) for one in value]
        return each if any(one is not None for one in each) else None
    deviation = getattr(value, "std_dev", None)
    if deviation is None:
        return None
    return 0.0 if deviation <= ROUNDING * abs(value.nominal_value) else COVERAGE * deviation
