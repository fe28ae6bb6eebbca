"""A million readings verified again, against numpy doing the same arithmetic by hand in the same run."""

import time

import numpy
import pytest
from scipy.special import ndtr

from calcs import bulk
from calcs.decision import WORST_FIRST

ROWS = 1_000_000
TIMES_NUMPY = 4.0


@pytest.fixture(scope="module")
def readings():
    draw = numpy.random.default_rng(5)
    return draw.normal(61.2, 0.4, ROWS), draw.normal(61.2, 0.4, ROWS)


def by_hand(upper, lower, expanded, limit):
    """Value, sensitivities, expanded uncertainty, verdict and probability of conformity, each over whole columns."""
    total = upper + lower
    value = 100 * (upper - lower) / total
    to_upper, to_lower = 200 * lower / total**2, -200 * upper / total**2
    width = numpy.sqrt((to_upper * expanded) ** 2 + (to_lower * expanded) ** 2)
    inside = limit - numpy.abs(value)
    verdict = numpy.select(
        [inside >= width, inside >= 0, inside >= -width],
        [WORST_FIRST.index("accept"), WORST_FIRST.index("accept_within_guard_band"), 1],
        0,
    )
    chance = ndtr(2 * (limit - value) / width) - ndtr(2 * (-limit - value) / width)
    return value, width, verdict, chance


def seconds(work):
    best = float("inf")
    for _ in range(3):
        start = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - start)
    return best


@pytest.mark.benchmark_ratio
def test_a_million_readings_take_only_a_few_times_plain_numpy(benchmark, readings):
    upper, lower = readings
    columns, spreads = {"upper": upper, "lower": lower}, {"upper": 0.05, "lower": 0.05}
    got = benchmark.pedantic(bulk, ("midpoint_deviation", columns), {"uncertainties": spreads}, rounds=3)
    value, width, verdict, chance = by_hand(upper, lower, 0.05, 2.0)
    assert numpy.allclose(got.outputs["of_total"], value)
    assert numpy.allclose(got.expanded_uncertainties["of_total"], width, rtol=1e-6)
    assert (got.verdicts == verdict).all()
    assert numpy.allclose(got.conformity_probabilities, chance, atol=1e-9)
    floor = seconds(lambda: by_hand(upper, lower, 0.05, 2.0))
    ratio = benchmark.stats.stats.min / floor
    benchmark.extra_info["times_plain_numpy"] = ratio
    assert ratio < TIMES_NUMPY
