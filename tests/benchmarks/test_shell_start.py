"""`python -m calcs run …` for every entry against the floor: an interpreter that imports json and argparse and ends.

Imports stay lean: a scalar run loads no numpy, pandas or matplotlib. Asked for: under 300 ms a run on two shared cores,
where the floor takes 20 to 40 ms; so the ratio to the floor is what is held.
"""

from __future__ import annotations

import subprocess
import sys
import time
from statistics import median

import pytest

from tests.support.examples import EXAMPLES

FLOOR = [sys.executable, "-c", "import json, argparse"]
RUNS = 5
#: Times the floor. A run with an uncertainty loads the library that propagates it.
ALLOWED = 8.0


def wall(command: list[str]) -> float:
    times = []
    for _ in range(RUNS):
        start = time.perf_counter()
        subprocess.run(command, check=True, capture_output=True)
        times.append(time.perf_counter() - start)
    return median(times)


@pytest.mark.benchmark_ratio
def test_every_entry_starts_lean() -> None:
    floor = wall(FLOOR)
    ratios = {
        name: wall([sys.executable, "-m", "calcs", "run", name, *(f"{k}={v}" for k, v in inputs.items())]) / floor
        for name, inputs in EXAMPLES.items()
    }
    slowest = sorted(ratios, key=ratios.__getitem__, reverse=True)[:5]
    print(
        f"\nfloor {floor * 1000:.0f} ms; slowest: "
        + ", ".join(f"{n} {ratios[n]:.1f}× ({ratios[n] * floor * 1000:.0f} ms)" for n in slowest)
    )
    assert max(ratios.values()) < ALLOWED
