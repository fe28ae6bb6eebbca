"""What a recording says, and how it is made small enough to be drawn. All logs here are synthetic."""

import json

import numpy
import polars
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs import InputError
from calcs.log_analysis import analyse, plot_series
from calcs.logger_files import ColumnMap, Recording, guess_columns, look_at, read_log
from tests.support.logs import discharge_test, write_frame, write_log

BATTERY = {"cells": 24, "end_voltage_per_cell": 1.8, "rated_hours": 4, "temperature": 25}


def recording_of(path):
    layout = look_at(path)
    return read_log(path, guess_columns(layout.headings, layout.sample))


def recorded(tmp_path, **test):
    return recording_of(write_frame(tmp_path / "log.csv", discharge_test(**test).frame()))


def table(tmp_path, headings, rows):
    return recording_of(write_log(tmp_path / "log.csv", headings, rows))


def test_a_discharge_goes_through_the_one_calculation(tmp_path):
    answer = analyse(recorded(tmp_path, weak={7: 0.12, 11: 2.3}), inputs=BATTERY)
    assert answer.result.name == "discharge_log"
    assert answer.summary["verdict"] == answer.result.verdict == "reject"  # a cell reversed
    seven, eleven = answer.summary["cells"]
    assert (seven["place"], seven["label"], seven["weak"], seven["reversed"]) == (7, "Cell 7", True, False)
    assert eleven["reversed"]
    assert eleven["lowest"] < 0 < seven["lowest"]


def test_a_weak_cell_is_told_with_the_moment_it_left_the_others(tmp_path):
    (weak,) = analyse(recorded(tmp_path, weak={7: 0.12}, noise=0), inputs=BATTERY).summary["cells"]
    # independent: the formula of the synthetic cell, solved on a fine grid
    share = numpy.linspace(0.1, 1, 200_001)
    cell = 1.80 + 0.14 * (1 - share) + 0.06 * (1 - numpy.exp((share - 1) * 12)) - 0.12 * share**3
    expected = share[numpy.argmax(cell < 1.80)] * 240
    assert weak["below_end_at_min"] == pytest.approx(expected, abs=0.2)
    assert weak["below_zero_at_min"] is None


def test_the_dip_at_the_start_makes_no_cell_early(tmp_path):
    (weak,) = analyse(recorded(tmp_path, weak={7: 0.12}), inputs=BATTERY).summary["cells"]
    assert weak["below_end_at_min"] > 60


def test_the_summary_can_be_stored(tmp_path):
    answer = analyse(recorded(tmp_path, weak={7: 0.12}), inputs=BATTERY)
    assert json.loads(json.dumps(answer.summary, allow_nan=False)) == answer.summary
    assert answer.summary["recording"]["cells"] == 24


def test_a_recharge_gives_back_its_charge(tmp_path):
    rows = [[60.0 * n, 50 + n / 50, -20.0 if n < 120 else -20.0 * 0.98 ** (n - 120)] for n in range(300)]
    outputs = analyse(table(tmp_path, ["t [s]", "U [V]", "I [A]"], rows), kind="recharge").summary["outputs"]
    # independent: numpy
    current = numpy.array([round(-row[2], 4) for row in rows])
    assert outputs["returned"]["value"] == pytest.approx(numpy.trapezoid(current) / 60, rel=1e-9)
    assert outputs["highest_voltage"]["value"] == pytest.approx(50 + 299 / 50)
    assert outputs["final_current"]["value"] == pytest.approx(20 * 0.98**179, abs=1e-3)


def test_a_float_log_names_the_cell_apart(tmp_path):
    random = numpy.random.default_rng(1)
    rows = [[600.0 * n, 54.0, 0.1, *(2.25 + random.normal(0, 0.002, 23)), 2.13] for n in range(60)]
    headings = ["t [s]", "U [V]", "I [A]", *(f"Cell {one}" for one in range(1, 25))]
    answer = analyse(table(tmp_path, headings, rows), kind="float")
    assert [one["place"] for one in answer.summary["cells"]] == [24]
    assert answer.summary["cells"][0]["mean"] == pytest.approx(2.13, abs=1e-4)
    assert answer.summary["outputs"]["mean_voltage"]["value"] == pytest.approx(54.0)


def test_a_recharge_read_as_a_discharge_is_refused(tmp_path):
    rows = [[60.0 * n, 54.0, -20.0] for n in range(60)]
    with pytest.raises(InputError, match="on charge"):
        analyse(table(tmp_path, ["t [s]", "U [V]", "I [A]"], rows), inputs=BATTERY)


def test_an_unknown_kind_is_refused(tmp_path):
    with pytest.raises(InputError, match="not of 'storage'"):
        analyse(recorded(tmp_path), kind="storage")


def test_temperatures_are_told_by_their_headings(tmp_path):
    rows = [[60.0 * n, 12.6 - n / 100, 10.0, 21.0 + n / 10] for n in range(20)]
    recording = table(tmp_path, ["t [s]", "U [V]", "I [A]", "Temp pilot [°C]"], rows)
    answer = analyse(recording, inputs={"cells": 6, "end_voltage_per_cell": 1.8})
    assert answer.summary["temperatures"]["Temp pilot"]["highest"] == pytest.approx(22.9, abs=1e-5)


# plots


def test_a_plot_keeps_every_extreme(tmp_path):
    test = discharge_test(cells=12)
    test.cells[700, 4] = 1.234
    test.cells[701, 5] = 2.345
    recording = recording_of(write_frame(tmp_path / "log.csv", test.frame()))
    plots = {one["title"]: one for one in plot_series(recording, 100)["plots"]}
    five, six = plots["Cells"]["series"][4], plots["Cells"]["series"][5]
    assert min(five["values"]) == pytest.approx(1.234)
    assert max(six["values"]) == pytest.approx(2.345)
    assert five["name"] == "Cell 5"
    assert max(plots["Spread of the cells"]["series"][0]["values"]) == pytest.approx(
        numpy.ptp(test.cells, axis=1).max(), abs=2e-4
    )


@given(st.integers(2, 400), st.integers(2, 3000), st.integers(0, 2**31))
def test_lowest_and_highest_survive_any_width(width, count, seed):
    values = numpy.random.default_rng(seed).normal(100, 5, count).round(3)
    frame = polars.DataFrame({"row": range(count), "seconds": numpy.arange(count) * 1.0, "voltage": values})
    plot = plot_series(Recording(frame, ColumnMap(0, "elapsed", voltage=1), {"voltage": "U"}), width)["plots"][0]
    drawn = plot["series"][0]["values"]
    assert (min(drawn), max(drawn)) == (values.min(), values.max())
    assert len(drawn) == len(plot["times"]) <= max(width, 2)
    assert set(drawn) <= set(values)
    assert plot["times"] == sorted(plot["times"])


def test_sixty_cells_over_ten_hours_stay_below_300_kb(tmp_path):
    recording = recorded(tmp_path, cells=60, hours=10, interval=5, weak={17: 0.2})
    plots = plot_series(recording, 2000, weak=[17])
    assert len(json.dumps(plots)) < 300_000
    assert plots["buckets"] > 200
    cells = next(one for one in plots["plots"] if one["title"] == "Cells")
    assert len(cells["series"]) == 60
    assert [one["name"] for one in cells["series"] if one["weak"]] == ["Cell 17"]


def test_a_plot_without_cells_has_no_spread(tmp_path):
    rows = [[60.0 * n, 12.6 - n / 100, 10.0] for n in range(20)]
    plots = plot_series(table(tmp_path, ["t [s]", "U [V]", "I [A]"], rows))["plots"]
    assert [one["title"] for one in plots] == ["String voltage", "Current"]


def test_what_was_left_out_is_not_drawn(tmp_path):
    test = discharge_test(cells=4, interval=60)
    test.cells[50, 1] = 0.0
    recording = recording_of(write_frame(tmp_path / "log.csv", test.frame()))
    cells = next(one for one in plot_series(recording)["plots"] if one["title"] == "Cells")
    assert min(one for one in cells["series"][1]["values"] if one is not None) > 1.5
