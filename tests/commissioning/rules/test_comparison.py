"""Robust z and Wilson's interval, against numbers from elsewhere."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binomtest, median_abs_deviation

from commissioning.rules.comparison import OUTSIDE, pack, share


@given(st.lists(st.floats(-1e6, 1e6), min_size=5, max_size=40, unique=True))
@settings(max_examples=50)
def test_robust_z_agrees_with_the_median_deviation_of_scipy(values: list[float]) -> None:
    scale = median_abs_deviation(values, scale=0.6745)
    found = pack(values)
    if scale < 1e-9 or found is None:
        return
    assert found.z == pytest.approx((np.array(values) - np.median(values)) / scale, rel=1e-6, abs=1e-6)


def test_one_far_value_is_outside_and_does_not_hide_itself() -> None:
    """By mean and standard deviation 60 would lie within three deviations of the other six."""
    values = [52.1, 52.2, 52.3, 52.2, 52.1, 52.4, 60.0]
    found = pack(values)
    assert found is not None
    assert [value for value, z in zip(values, found.z, strict=True) if abs(z) > OUTSIDE] == [60.0]
    assert (60.0 - np.mean(values)) / np.std(values, ddof=1) < 3


def test_too_few_values_or_all_the_same_make_no_pack_and_mostly_the_same_ones_do() -> None:
    assert pack([1.0, 2.0, 3.0, 90.0]) is None
    assert pack([5.0] * 9) is None
    found = pack([5.0] * 8 + [6.0])
    assert found is not None
    assert found.z[-1] == pytest.approx(1 / (1.2533 * (1 / 9)), rel=1e-3)


@given(st.integers(1, 300).flatmap(lambda of: st.tuples(st.integers(0, of), st.just(of))))
def test_wilsons_interval_agrees_with_scipy(case: tuple[int, int]) -> None:
    count, of = case
    expected = binomtest(count, of).proportion_ci(method="wilson")
    found = share(count, of)
    assert (found.low, found.high) == pytest.approx((expected.low, expected.high), abs=1e-6)
    assert found.low <= found.share <= found.high
