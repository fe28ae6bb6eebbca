"""Synthetic logs of discharge tests, as a logger would write them. Each says 'synthetic' in its header."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy
import polars


@dataclass(frozen=True)
class SyntheticTest:
    """A discharge of a lead-acid string: steady fall, a dip at the start, a knee at the end, noise, one weak cell."""

    seconds: Any
    current: Any
    cells: Any

    @property
    def voltage(self) -> Any:
        return self.cells.sum(axis=1)

    def frame(self) -> polars.DataFrame:
        columns = {
            "Elapsed [s]": self.seconds,
            "String [V]": self.voltage.round(3),
            "Current [A]": self.current.round(3),
        }
        columns |= {f"Cell {one + 1} [V]": self.cells[:, one].round(4) for one in range(self.cells.shape[1])}
        return polars.DataFrame(columns)


def discharge_test(
    *,
    cells: int = 24,
    hours: float = 4.0,
    interval: float = 10.0,
    end: float = 1.80,
    amperes: float = 50.0,
    weak: Mapping[int, float] | None = None,
    noise: float = 0.0005,
    seed: int = 1,
    overrun: float = 1.02,
) -> SyntheticTest:
    """Every healthy cell reaches `end` after `hours`; `weak` names cells (from 1) and the volts they lose by then."""
    random = numpy.random.default_rng(seed)
    seconds = numpy.arange(0.0, hours * 3600 * overrun, interval)
    share = seconds / (hours * 3600)
    mean = end + 0.14 * (1 - share) + 0.06 * (1 - numpy.exp((share - 1) * 12))
    mean = mean - 0.22 * numpy.exp(-(((seconds - 60) / 40) ** 2))  # the dip of a lead-acid discharge at its start
    table = mean[:, None] + random.normal(0, noise, (len(seconds), cells))
    for place, loss in (weak or {}).items():
        table[:, place - 1] -= loss * share**3
    return SyntheticTest(seconds, numpy.full(len(seconds), amperes), table)


def write_log(
    path: Path,
    headings: Sequence[str],
    rows: Sequence[Sequence[Any]],
    *,
    delimiter: str = ",",
    decimal_comma: bool = False,
    preamble: Sequence[str] = ("synthetic log, made for a test",),
    encoding: str = "utf-8",
) -> Path:
    """A text file as a logger writes it."""

    def field(value: Any) -> str:
        text = f"{value:.4f}" if isinstance(value, float) else str(value)
        return text.replace(".", ",") if decimal_comma and isinstance(value, float) else text

    lines = [*preamble, delimiter.join(headings), *(delimiter.join(map(field, row)) for row in rows)]
    path.write_text("\n".join(lines) + "\n", encoding=encoding)
    return path


def write_frame(path: Path, frame: polars.DataFrame) -> Path:
    """A large synthetic log, written fast."""
    with path.open("wb") as file:
        file.write(b"synthetic log, made for a test\n")
        frame.write_csv(file)
    return path
