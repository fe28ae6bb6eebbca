"""A ten-hour log of 60 cells at one reading a second (2.2 million values), opened and analysed.

Ratios in one run on one machine, against a named floor (plain polars reads the same file) and the naive way
(numpy.loadtxt). Run with `-m benchmark_ratio`.
"""

import json
import subprocess
import sys
from pathlib import Path
from statistics import median

import pytest

from tests.support.logs import discharge_test, write_frame

pytestmark = pytest.mark.benchmark_ratio
TOP = Path(__file__).parents[2]
ROUNDS = 5


@pytest.fixture(scope="module")
def log(tmp_path_factory):
    test = discharge_test(cells=60, hours=9.9, interval=1, weak={17: 0.2, 33: 2.1}, overrun=1.0102)
    return write_frame(tmp_path_factory.mktemp("recording") / "log.csv", test.frame())


def opened(way, log):
    done = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks.recording_ways", way, str(log)],
        capture_output=True, text=True, cwd=TOP, check=True,
    )  # fmt: skip
    return json.loads(done.stdout)


@pytest.fixture(scope="module")
def measured(log):
    """Median of several runs of each way, taken in turns."""
    runs = {way: [] for way in ("plain_polars", "numpy_text", "ours_reading", "ours")}
    for _ in range(ROUNDS):
        for way, taken in runs.items():
            taken.append(opened(way, log))
    answer = {
        way: {what: median(one[what] for one in taken) for what in ("rows", "seconds", "megabytes")}
        for way, taken in runs.items()
    }
    print()
    for way, one in answer.items():
        print(f"{way:<13} {one['seconds']:7.3f} s  {one['megabytes']:6.0f} MB  {one['rows']:.0f} rows")
    return answer


def ratio(measured, way, floor, what):
    return measured[way][what] / measured[floor][what]


def test_every_way_reads_the_same_rows(measured):
    assert {one["rows"] for one in measured.values()} == {36_004}


def test_reading_with_all_checks_stays_near_the_floor(measured):
    assert ratio(measured, "ours_reading", "plain_polars", "seconds") < 4


def test_reading_with_all_checks_stays_near_the_bare_numbers_of_numpy(measured):
    """numpy reads no headings, keeps no faults out and is a little faster for it; it loads less, too."""
    assert ratio(measured, "ours_reading", "numpy_text", "seconds") < 3


def test_analysis_and_plots_take_a_small_multiple_of_the_floor(measured):
    assert ratio(measured, "ours", "plain_polars", "seconds") < 12


def test_peak_memory_stays_near_the_floor(measured):
    assert ratio(measured, "ours", "plain_polars", "megabytes") < 2
    assert measured["ours"]["megabytes"] < 500


def test_memory_is_measured_for_each_way_by_itself(measured):
    """Equal peaks would be the peak of the process that started them."""
    assert measured["numpy_text"]["megabytes"] < 0.9 * measured["ours"]["megabytes"]
