"""Ways to open one log, each run in a process of its own: ours, plain polars, numpy's text reader.

Run as a program: way, path of the log. It prints seconds and peak memory as JSON. Starting Python and importing does
not count as time, for none of them; it does count as memory, for all of them.
"""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path

import numpy
import polars

import calcs
from calcs.log_analysis import analyse, plot_series
from calcs.logger_files import Recording, guess_columns, look_at, read_log


def _recording(path: Path) -> Recording:
    layout = look_at(path)
    return read_log(path, guess_columns(layout.headings, layout.sample))


def ours_reading(path: Path) -> int:
    """Columns guessed, read and cleaned: what the other two do, and the checks."""
    return _recording(path).frame.height


def ours(path: Path) -> int:
    """The same, and analysed, and made small enough to draw."""
    recording = _recording(path)
    battery = {"cells": len(recording.cells), "end_voltage_per_cell": 1.8, "rated_hours": 10, "temperature": 20}
    answer = analyse(recording, inputs=battery)
    assert answer.summary["outputs"]["time_to_end"]["value"]
    assert len(json.dumps(plot_series(recording, 1200))) < 300_000
    return recording.frame.height


def plain_polars(path: Path) -> int:
    """The floor: the numbers in memory, nothing else."""
    return polars.read_csv(path, skip_lines=1).height


def numpy_text(path: Path) -> int:
    """The naive way."""
    return len(numpy.loadtxt(path, delimiter=",", skiprows=2))


def peak_megabytes() -> float:
    """Highest memory of this process alone; `ru_maxrss` would also count the process that started it."""
    status = Path("/proc/self/status").read_text()
    return int(next(line for line in status.splitlines() if line.startswith("VmHWM")).split()[1]) / 1024


WAYS = {"ours": ours, "ours_reading": ours_reading, "plain_polars": plain_polars, "numpy_text": numpy_text}

if __name__ == "__main__":
    calcs.names()
    start = time.perf_counter()
    rows = WAYS[sys.argv[1]](Path(sys.argv[2]))
    seconds = time.perf_counter() - start
    print(json.dumps({"rows": rows, "seconds": seconds, "megabytes": peak_megabytes()}))
