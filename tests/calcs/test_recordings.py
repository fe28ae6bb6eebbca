"""A logged discharge: end of the test, charge, capacity, weak and reversed cells. All logs here are synthetic."""

import numpy
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs import InputError, run
from tests.support.logs import discharge_test

SIX = {"cells": 6, "end_voltage_per_cell": 1.8}
STRAIGHT = {"time": "0, 1h, 2h, 3h, 4h", "voltage": "13, 12.6, 12.2, 11.4, 10.2", "current": "10"}


def analysed(**typed):
    return run("discharge_log", typed)


def value(result, output):
    return result.outputs[output]["value"]


def recorded(test, **typed):
    log = {"time": test.seconds, "voltage": test.voltage, "current": test.current, "cell_voltages": test.cells}
    cells = test.cells.shape[1]
    return analysed(recording=log, cells=cells, end_voltage_per_cell=1.8, rated_hours=4, **typed)


def test_end_and_charge_of_a_log_in_straight_lines():
    result = analysed(**STRAIGHT, **SIX, rated_hours=4, temperature=25)
    # independent: from 11.4 V at 3 h to 10.2 V at 4 h the line passes 10.8 V at 3.5 h
    assert value(result, "time_to_end") == pytest.approx(210)
    assert value(result, "removed") == pytest.approx(35)
    assert value(result, "capacity") == pytest.approx(87.5)
    assert result.verdict == "reject"
    assert value(result, "end_reason") == "end voltage of 10.8 V reached"


EIGHT = "1.842, 1.845, 1.840, 1.843, 1.846, 1.841, 1.791, 1.844"


def test_a_weak_cell_that_the_ordinary_deviation_misses():
    result = analysed(**STRAIGHT, **SIX, final_cells=EIGHT)
    # independent: numpy
    values = numpy.array([float(one) for one in EIGHT.split(",")])
    middle = numpy.median(values)
    robust = (values - middle) / (1.4826 * numpy.median(abs(values - middle)))
    assert value(result, "middle_cell") == pytest.approx(1.8425)
    assert value(result, "spread") == pytest.approx(0.055)
    assert value(result, "lowest_z") == pytest.approx(-17.368, abs=5e-4) == pytest.approx(robust.min(), abs=5e-4)
    assert value(result, "weak_cells") == [7]
    assert (values[6] - values.mean()) / values.std(ddof=1) == pytest.approx(-2.46, abs=5e-3)  # above −3.5: missed


def test_at_the_end_of_a_good_test_half_the_cells_are_below_the_end_voltage_and_none_is_weak():
    result = recorded(discharge_test(seed=3))
    assert value(result, "weak_cells") == []
    assert value(result, "reversed") == []


def test_the_dip_at_the_start_is_not_the_end():
    test = discharge_test()
    dip = test.voltage[:30].min()
    assert dip < 24 * 1.8  # the string passes its end voltage in the first minutes and recovers
    result = recorded(test)
    assert value(result, "time_to_end") == pytest.approx(240, abs=1)
    # independent: the synthetic cells pass 1.80 V at 4 h by their own formula; charge is 50 A for that long
    assert value(result, "removed") == pytest.approx(200, abs=1)


def test_charge_of_a_varying_current_agrees_with_a_numerical_integral():
    test = discharge_test(overrun=0.98)
    current = 50 + 5 * numpy.sin(test.seconds / 900)
    log = {"time": test.seconds, "voltage": test.voltage, "current": current}
    result = analysed(recording=log, cells=24, end_voltage_per_cell=1.8)
    # independent: numpy, and the integral of the sine by hand
    assert value(result, "removed") == pytest.approx(numpy.trapezoid(current, test.seconds) / 3600, rel=1e-12)
    last = test.seconds[-1]
    by_hand = (50 * last + 5 * 900 * (1 - numpy.cos(last / 900))) / 3600
    assert value(result, "removed") == pytest.approx(by_hand, rel=1e-6)


def test_analytic_discharge_of_an_exponential_current():
    seconds = numpy.linspace(0, 7200, 7201)
    log = {"time": seconds, "voltage": 12.6 - 2.4 * seconds / 7200, "current": 20 * numpy.exp(-seconds / 7200)}
    result = analysed(recording=log, **SIX)
    # independent: 12.6 − 2.4·x = 10.8 at x = 0.75; ∫20·exp(−x) over 2 h until there
    assert value(result, "time_to_end") == pytest.approx(90)
    assert value(result, "removed") == pytest.approx(40 * (1 - numpy.exp(-0.75)), rel=1e-7)


@pytest.mark.parametrize("sign", [1, -1])
def test_the_sign_of_the_current_does_not_matter_and_a_recharge_after_the_test_is_left_out(sign):
    test = discharge_test(hours=2)
    after = test.seconds[-1] + numpy.arange(10, 3600, 10)
    log = {
        "time": numpy.concatenate((test.seconds, after)),
        "voltage": numpy.concatenate((test.voltage, numpy.full(len(after), 24 * 2.3))),
        "current": sign * numpy.concatenate((test.current, numpy.full(len(after), -30.0))),
    }
    result = analysed(recording=log, cells=24, end_voltage_per_cell=1.8)
    assert value(result, "time_to_end") == pytest.approx(120, abs=1)
    assert value(result, "removed") == pytest.approx(100, abs=1)


def test_rest_before_and_recovery_after_do_not_count():
    test = discharge_test(hours=2)
    before, after = numpy.arange(-600, 0, 10.0), test.seconds[-1] + numpy.arange(10, 1200, 10)
    log = {
        "time": numpy.concatenate((before, test.seconds, after)),
        "voltage": numpy.concatenate((numpy.full(60, 24 * 2.1), test.voltage, numpy.full(len(after), 24 * 1.95))),
        "current": numpy.concatenate((numpy.full(60, 0.1), test.current, numpy.full(len(after), 0.1))),
    }
    result = analysed(recording=log, cells=24, end_voltage_per_cell=1.8)
    assert value(result, "time_to_end") == pytest.approx(120, abs=1)


def test_a_pause_of_the_load_stops_the_clock_of_the_test():
    test = discharge_test(hours=2)
    half = len(test.seconds) // 2
    pause = numpy.arange(10, 910, 10.0)
    rest = numpy.full(len(pause), 24 * 2.0)
    log = {
        "time": numpy.concatenate((test.seconds[:half], test.seconds[half - 1] + pause, test.seconds[half:] + 900)),
        "voltage": numpy.concatenate((test.voltage[:half], rest, test.voltage[half:])),
        "current": numpy.concatenate((test.current[:half], numpy.zeros(len(pause)), test.current[half:])),
    }
    result = analysed(recording=log, cells=24, end_voltage_per_cell=1.8)
    assert value(result, "time_to_end") == pytest.approx(120, abs=1)
    assert any("load was off in between" in caution for caution in result.cautions)


def with_a_gap(test, first, last):
    kept = numpy.ones(len(test.seconds), bool)
    kept[first:last] = False
    return {"time": test.seconds[kept], "voltage": test.voltage[kept], "current": test.current[kept]}


def test_over_a_gap_time_passes_and_charge_is_not_counted():
    log = with_a_gap(discharge_test(), 500, 560)
    result = analysed(recording=log, cells=24, end_voltage_per_cell=1.8, rated_hours=4)
    assert value(result, "time_to_end") == pytest.approx(240, abs=1)
    # independent: 61 intervals of 10 s at 50 A are missing
    assert value(result, "removed") == pytest.approx(200 - 61 * 10 * 50 / 3600, abs=1)
    assert value(result, "covered") == pytest.approx(100 * (1 - 610 / 14400), abs=0.1)
    assert result.verdict == "accept"


def test_with_too_long_a_gap_nothing_is_decided():
    log = with_a_gap(discharge_test(), 500, 600)
    result = analysed(recording=log, cells=24, end_voltage_per_cell=1.8, rated_hours=4)
    assert result.verdict == "cannot_say"
    assert any("gaps are too long" in caution for caution in result.cautions)


@pytest.mark.parametrize(("share", "verdict", "capacity"), [(0.95, "accept", 95), (0.5, "cannot_say", 50)])
def test_a_test_stopped_early_shows_at_least_so_much(share, verdict, capacity):
    result = recorded(discharge_test(overrun=share))
    assert value(result, "time_to_end") is None
    assert value(result, "reached") is False
    assert value(result, "capacity") == pytest.approx(capacity, abs=0.2)
    assert result.verdict == verdict
    assert any("at least" in caution for caution in result.cautions)
    assert "ends under load" in value(result, "end_reason")


def test_a_load_taken_off_is_told_from_a_log_that_just_ends():
    log = {"time": [0, 3600, 7200, 7210], "voltage": [12.6, 12.2, 11.9, 12.3], "current": [10, 10, 10, 0]}
    assert "load taken off at 11.9 V" in value(analysed(recording=log, **SIX), "end_reason")


def test_a_reversed_cell_is_named_and_rejected():
    result = recorded(discharge_test(weak={5: 2.2, 9: 0.08}), temperature=25)
    assert value(result, "weak_cells") == [5, 9]
    assert value(result, "reversed") == [5]
    assert result.verdict == "reject"


def test_cell_channels_that_drop_out_are_left_out_of_the_comparison():
    test = discharge_test(weak={9: 0.08})
    test.cells[-200:, 3] = numpy.nan
    test.cells[:, 11] = numpy.nan
    log = {"time": test.seconds, "voltage": numpy.nan_to_num(test.cells).sum(axis=1) + 8, "current": test.current}
    log["voltage"] = discharge_test(weak={9: 0.08}).voltage
    result = analysed(recording=log | {"cell_voltages": test.cells}, cells=24, end_voltage_per_cell=1.8)
    assert value(result, "weak_cells") == [9]


def test_temperature_corrects_lead_acid_and_leaves_nickel_cadmium_alone():
    typed = {**STRAIGHT, "rated_hours": 4, "temperature": 20}
    assert value(analysed(**typed, **SIX), "capacity") == pytest.approx(87.5 / 0.942)  # memory: K_T, typical value
    nicd = {**typed, "voltage": "13, 12.6, 12.2, 11.4, 9.6", "cells": 10, "end_voltage_per_cell": 1.0}
    result = analysed(**nicd)
    assert value(result, "capacity") == pytest.approx(100 * value(result, "time_to_end") / 240)


def test_agrees_with_the_capacity_test_by_time():
    log = analysed(**STRAIGHT, **SIX, rated_hours=4, temperature=18)
    by_time = run("capacity_test", {"actual_time": 210, "rated_time": 240, "temperature": 18})
    assert value(log, "capacity") == pytest.approx(value(by_time, "capacity"))


def test_uncertainty_of_voltage_and_current_agrees_with_monte_carlo():
    typed = {**STRAIGHT, **SIX, "rated_hours": 4, "temperature": "20 ± 1"}
    result = analysed(**typed, voltage_uncertainty=0.06, current_uncertainty=1.0)
    # independent: Monte Carlo after JCGM 101 over the straight part, 1.2 V in an hour; K_T by numpy
    random = numpy.random.default_rng(4)
    minutes = 210 + random.normal(0, 0.03, 200_000) / 1.2 * 60
    factor = numpy.interp(random.normal(20, 0.5, 200_000) * 1.8 + 32, [65, 68, 70], [0.920, 0.942, 0.955])
    charge = 10 * random.normal(1, 0.005, 200_000) * minutes / 60
    expected = {"time_to_end": minutes, "removed": charge, "capacity": 100 * minutes / 240 / factor}
    for output, drawn in expected.items():
        got = result.outputs[output]["expanded_uncertainty"]
        assert got == pytest.approx(2 * drawn.std(), rel=0.05)


def test_uncertainty_on_a_dense_log_agrees_with_monte_carlo():
    test = discharge_test(noise=0)
    result = recorded(test, voltage_uncertainty=0.05, current_uncertainty=0.5)
    # independent: the crossing found again by numpy for each drawn offset of the voltmeter
    random = numpy.random.default_rng(6)
    late = test.seconds > 7200
    offsets, gains = random.normal(0, 0.025, 20_000), random.normal(1, 0.0025, 20_000)
    minutes = numpy.interp(offsets - 24 * 1.8, -test.voltage[late], test.seconds[late]) / 60
    assert result.outputs["time_to_end"]["expanded_uncertainty"] == pytest.approx(2 * minutes.std(), rel=0.05)
    charge = 50 * gains * minutes / 60
    assert result.outputs["removed"]["expanded_uncertainty"] == pytest.approx(2 * charge.std(), rel=0.05)


@given(st.floats(0.5, 20), st.integers(2, 400), st.floats(1.65, 1.95))
def test_a_straight_fall_ends_where_the_line_says(hours, count, end):
    seconds = numpy.linspace(0, hours * 3600, count + 1)
    log = {"time": seconds, "voltage": 6 * (2.1 - 0.5 * seconds / seconds[-1]), "current": 10.0}
    result = analysed(recording=log, cells=6, end_voltage_per_cell=end)
    expected = hours * 60 * (2.1 - end) / 0.5
    assert value(result, "time_to_end") == pytest.approx(expected, rel=1e-6)
    assert value(result, "removed") == pytest.approx(10 * expected / 60, rel=1e-6)


@given(st.floats(1.6, 1.95), st.floats(0.001, 0.1))
def test_a_lower_end_voltage_takes_longer_and_more_charge(end, less):
    seconds = numpy.linspace(0, 36_000, 500)
    log = {"time": seconds, "voltage": 6 * (2.1 - 0.7 * (seconds / 36_000) ** 2), "current": 10.0}
    high, low = (analysed(recording=log, cells=6, end_voltage_per_cell=one) for one in (end, end - less))
    assert value(low, "time_to_end") > value(high, "time_to_end")
    assert value(low, "removed") > value(high, "removed")


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"time": None}, "recording is missing"),
        ({"time": "0, 1h, 1h, 3h, 4h"}, "lies after the one before"),
        ({"time": "0, 1h"}, "lists of one length"),
        ({"current": "10, 10"}, "one for each of 5 readings"),
        ({"current": "0"}, "no discharge"),
        ({"voltage": "13.9, 13.9, 13.8, 13.9, 13.9"}, "voltage of a battery on charge"),
        ({"voltage": "13 A, 12, 12, 11, 10"}, "measures a current"),
        ({"final_cells": "1.8"}, "fewer than two cells"),
        ({"cells": None}, "cells is missing"),
    ],
)
def test_logs_that_cannot_be_judged_are_refused(change, words):
    with pytest.raises(InputError, match=words):
        analysed(**{**STRAIGHT, **SIX, **change})


@pytest.mark.parametrize("text", ["/etc/passwd", "log.csv", "0,1,2"])
def test_a_recording_given_as_text_is_refused_so_that_no_file_is_opened(text):
    with pytest.raises(InputError, match="read from its file") as refusal:
        analysed(recording=text, **SIX)
    assert refusal.value.input == "recording"


def test_a_recording_without_current_takes_a_stated_one():
    log = {"time": [0, 7200, 14400], "voltage": [12.6, 11.7, 10.2]}
    result = analysed(recording=log, current=10, **SIX)
    assert value(result, "removed") == pytest.approx(10 * (2 + 2 * 0.9 / 1.5))
    with pytest.raises(InputError, match="state the constant current"):
        analysed(recording=log, **SIX)


def test_a_result_holds_no_series_and_keeps_the_caution_first():
    result = recorded(discharge_test(cells=60))
    assert result.inputs["recording"]["value"]["cells"] == 60
    assert len(str(result.as_json())) < 12_000
    assert result.cautions[0].startswith("Discharge test: the battery is live")


def test_a_current_that_wanders_is_pointed_out():
    test = discharge_test()
    log = {"time": test.seconds, "voltage": test.voltage, "current": test.current * (1 + 0.2 * test.seconds / 14400)}
    result = analysed(recording=log, cells=24, end_voltage_per_cell=1.8)
    assert any("constant current" in caution for caution in result.cautions)


def test_another_number_of_cells_than_stated_is_pointed_out():
    log = {"time": [0, 7200, 14400], "voltage": [12.6, 11.7, 10.2], "current": 10, "cell_voltages": [[2.1] * 5] * 3}
    result = analysed(recording=log, **SIX)
    assert any("another number of cells" in caution for caution in result.cautions)
