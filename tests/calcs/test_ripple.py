"""Ripple voltage and current of a charger."""

import numpy
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs import InputError, run


def outputs(**typed):
    return {name: one["value"] for name, one in run("ripple", typed).outputs.items()}


def six_pulse(samples=100_000):
    """Independent: an ideal six-pulse bridge, the tops of six sine waves 60° apart."""
    return numpy.cos(((numpy.arange(samples) + 0.5) / samples - 0.5) * numpy.pi / 3)


def test_rms_over_dc():
    assert outputs(dc=122.7, rms=0.6)["rms_percent"] == pytest.approx(0.4890, abs=5e-5)  # independent: arithmetic


def test_an_ideal_six_pulse_bridge():
    got = outputs(samples=six_pulse())
    assert got["peak_to_peak_percent"] == pytest.approx(14.030, abs=5e-4)  # independent: numpy; textbook 14.0 %
    assert got["rms_percent"] == pytest.approx(4.197, abs=5e-4)  # independent: numpy; textbook 4.2 %


def test_current_per_hundred_ampere_hours():
    assert outputs(ripple_current=8, capacity=200)["amps_per_100ah"] == pytest.approx(4.0)  # independent: arithmetic


@pytest.mark.parametrize(
    ("typed", "verdict"),
    [
        ({"dc": 120, "rms": 0.6}, "accept"),  # the edge, 0.5 % (published)
        ({"dc": 120, "rms": 0.601}, "reject"),
        ({"ripple_current": 10, "capacity": 200}, "accept"),  # the edge, 5 A/100 Ah (memory: typical value, verify)
        ({"ripple_current": 10.1, "capacity": 200}, "reject"),
        ({"dc": 122.7, "rms": 0.3, "ripple_current": 11, "capacity": 200}, "reject"),
        ({"dc": 122.7, "rms": "0.6 ± 0.02"}, "accept_within_guard_band"),
        ({"dc": 122.7, "peak_to_peak": 0.3}, "cannot_say"),  # no limit is known for peak to peak
    ],
)
def test_limits(typed, verdict):
    assert run("ripple", typed).verdict == verdict


def test_a_caution_asks_for_more_samples():
    few, many = run("ripple", {"samples": "122.1, 123.3"}), run("ripple", {"samples": six_pulse(60)})
    assert any("Few samples" in caution for caution in few.cautions)
    assert not any("Few samples" in caution for caution in many.cautions)


@pytest.mark.parametrize(
    ("typed", "input"),
    [
        ({"dc": 122.7}, "rms"),
        ({"rms": 0.6}, "dc"),
        ({"ripple_current": 8}, "capacity"),
        ({"samples": "122.7"}, "samples"),
        ({"samples": "-1, 1"}, "samples"),
        ({"dc": 122.7, "rms": "600 mA"}, "rms"),
        ({"dc": 0, "rms": 0.6}, "dc"),
    ],
)
def test_what_is_missing_or_wrong_is_named(typed, input):
    with pytest.raises(InputError) as refusal:
        run("ripple", typed)
    assert refusal.value.input == input


def test_millivolts_carry_their_unit():
    assert outputs(dc=122.7, rms="600 mV") == outputs(dc=122.7, rms=0.6)


@given(st.floats(10, 500), st.floats(0.01, 5), st.integers(1, 5))
def test_samples_of_a_sine_agree_with_its_rms_and_peaks(dc, amplitude, periods):
    angle = 2 * numpy.pi * periods * numpy.arange(400) / 400
    got = outputs(samples=dc + amplitude * numpy.sin(angle))
    assert got["rms_percent"] == pytest.approx(100 * amplitude / 2**0.5 / dc, rel=1e-6)
    assert got["peak_to_peak_percent"] == pytest.approx(200 * amplitude / dc, rel=0.01)


def test_uncertainty_of_samples_agrees_with_monte_carlo():
    values = [122.0, 122.9, 123.5, 122.4]
    result = run("ripple", {"samples": ", ".join(f"{one} ± 0.1" for one in values)})
    # independent: Monte Carlo after JCGM 101
    drawn = numpy.random.default_rng(3).normal(values, 0.05, (200_000, 4))
    rms = 100 * drawn.std(axis=1) / drawn.mean(axis=1)
    assert result.outputs["rms_percent"]["expanded_uncertainty"] == pytest.approx(2 * rms.std(), rel=0.02)
