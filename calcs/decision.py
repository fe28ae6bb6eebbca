"""Conformity decisions: a measured value, its uncertainty and a limit give one of four verdicts.

Decision rule: ILAC-G8:09/2019 clause 4.2.3 (guard band w = r·U) and JCGM 106:2012 (probability of conformity).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from calcs.definition import Check, Output, Step, define, given, measured
from calcs.maths import normal_distribution
from calcs.uncertainty import COVERAGE, nominal

ACCEPT = "accept"
ACCEPT_WITHIN = "accept_within_guard_band"
REJECT_WITHIN = "reject_within_guard_band"
REJECT = "reject"
CANNOT_SAY = "cannot_say"
UNSUITABLE = "instrument_unsuitable"

WORST_FIRST = (REJECT, REJECT_WITHIN, UNSUITABLE, CANNOT_SAY, ACCEPT_WITHIN, ACCEPT)
"""Verdicts from worst to best: several criteria together are as good as the worst of them."""

WORDS = {verdict: verdict.replace("_", " ") for verdict in WORST_FIRST}


@dataclass(frozen=True)
class Decision:
    """A verdict, the probability that the true value conforms, and the guard band that was used."""

    verdict: str
    probability: float | None
    guard_band: float
    words: str


def slack(value: Any, limit: float, guard_band: Any) -> Any:
    """How far a value may miss an edge by binary rounding alone and still count as equal to it."""
    return 1e-9 * (abs(value) + abs(limit) + guard_band) + 1e-12


def distance_inside(value: float, lower: float | None, upper: float | None) -> float:
    """Distance from the value to the nearest limit, positive inside the limits and negative outside."""
    below = math.inf if lower is None else value - lower
    above = math.inf if upper is None else upper - value
    return min(below, above)


def conformity_probability(
    value: float, expanded_uncertainty: float, lower: float | None = None, upper: float | None = None
) -> float:
    """Probability that the true value lies inside the limits, for a normal distribution about the measured value.

        p = Φ((T_U − y)/u) − Φ((T_L − y)/u),  u = U/2

    y: measured value [any unit]; T_L, T_U: limits [same]; U: expanded uncertainty, k = 2 [same, ≥ 0].
    With U = 0 the probability is 1 inside (edges included) and 0 outside.
    Example: y = −5.47, T_U = −5.40, U = 0.10 gives p = 0.919.
    Reference: JCGM 106:2012, 7.2 and 7.4.
    """
    standard = expanded_uncertainty / COVERAGE
    if standard == 0:
        inside = all(
            limit is None or sign * (limit - value) >= -slack(value, limit, 0.0)
            for limit, sign in ((lower, -1), (upper, 1))
        )
        return 1.0 if inside else 0.0
    below_upper = 1.0 if upper is None else normal_distribution((upper - value) / standard)
    below_lower = 0.0 if lower is None else normal_distribution((lower - value) / standard)
    return min(max(below_upper - below_lower, 0.0), 1.0)


def decide(
    value: float,
    lower: float | None,
    upper: float | None,
    expanded_uncertainty: float | None = 0.0,
    guard_factor: float = 1.0,
) -> Decision:
    """Decide whether `value` conforms to `lower` … `upper` (either may be absent), inclusive at the edge.

    The guard band is w = guard_factor·U. Accepted: inside by at least w. Within the guard band: inside or outside by no
    more than w. Without uncertainty this is simple acceptance. An instrument whose guard bands meet (2w > upper −
    lower) cannot decide anything, and the words say so.
    """
    uncertainty = expanded_uncertainty or 0.0
    if not uncertainty >= 0:
        return Decision(CANNOT_SAY, None, 0.0, "cannot say: the uncertainty of the value is not known")
    band = guard_factor * uncertainty
    if lower is None and upper is None:
        return Decision(CANNOT_SAY, None, band, "cannot say: no limit is known")
    probability = conformity_probability(value, uncertainty, lower, upper)
    if lower is not None and upper is not None and 2 * band > upper - lower + slack(upper, lower, band):
        words = "instrument unsuitable: twice its guard band is wider than the limits"
        return Decision(UNSUITABLE, probability, band, words)
    limits = [limit for limit in (lower, upper) if limit is not None]
    verdict = _verdict(distance_inside(value, lower, upper), band, max(slack(value, one, band) for one in limits))
    return Decision(verdict, probability, band, WORDS[verdict])


def _verdict(inside: float, band: float, eps: float) -> str:
    if inside >= band - eps:
        return ACCEPT
    if inside >= -eps:
        return ACCEPT_WITHIN
    return REJECT_WITHIN if inside >= -band - eps else REJECT


def probability_of_conformity(value, spread, lower=None, upper=None):
    """Probability of conformity as a step of a calculation; see `conformity_probability`."""
    if hasattr(value, "shape"):
        from calcs.columns import decide_columns

        return decide_columns(value, lower, upper, spread, spread)[1]
    return conformity_probability(nominal(value), nominal(spread), nominal(lower), nominal(upper))


def stated_uncertainty(expanded_uncertainty):
    """The uncertainty stated beside the value [unit of the value]."""
    return expanded_uncertainty


def carried_uncertainty(expanded_value):
    """The uncertainty that the value itself carries [unit of the value], where none is stated beside it."""
    return expanded_value


def guard_band_width(guard_factor, spread):
    """Width of the guard band: w = r·U [unit of the value]; r: guard factor [1]. Example: r = 1, U = 0.13 V: 0.13 V."""
    return guard_factor * spread


def uncertainty_is_absent(expanded_uncertainty=None):
    """No uncertainty is stated beside the value."""
    return expanded_uncertainty is None


def a_limit_is_given(lower=None, upper=None):
    """At least one limit is given."""
    return lower is not None or upper is not None


def limits_in_order(lower, upper):
    """The lower limit does not lie above the upper."""
    return lower <= upper


_LARGE = 1e15

define(
    "guard_banded_decision",
    module=__name__,
    title="Decision on a measured value with a guard band",
    inputs=(
        measured("value", "y", "", -_LARGE, _LARGE, "measured value"),
        given("lower", "T_L", "", -_LARGE, _LARGE, "lower limit, in the unit of the value", required=False),
        given("upper", "T_U", "", -_LARGE, _LARGE, "upper limit, in the unit of the value", required=False),
        given("expanded_uncertainty", "U", "", 0, _LARGE, "expanded uncertainty, k = 2", required=False),
        given("guard_factor", "r", "", 0, 10, "guard band as a multiple of U", default=1),
    ),
    outputs=(Output("conformity_probability", "p", "", "probability that the true value conforms"),),
    between=(
        Output("spread", "U", "", "expanded uncertainty in use"),
        Output("guard_band", "w", "", "width of the guard band"),
    ),
    steps=(
        Check(a_limit_is_given, "lower, upper: give at least one limit", input="upper"),
        Check(limits_in_order, "lower: {lower} lies above the upper limit {upper}", input="lower"),
        Step("spread", stated_uncertainty, silent=True),
        Step("spread", carried_uncertainty, when=uncertainty_is_absent, silent=True),
        Step("guard_band", guard_band_width),
        Step("conformity_probability", probability_of_conformity, text="Φ((T_U − y)/u) − Φ((T_L − y)/u), u = U/2"),
    ),
    cautions=("A verdict within the guard band may still be wrong: the probability says how likely.",),
)
