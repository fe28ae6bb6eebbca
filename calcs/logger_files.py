"""Recordings of a data logger: a CSV, TSV or XLSX file of any layout, read into one clean frame.

    layout = look_at(path)
    columns = guess_columns(layout.headings, layout.sample)     # a person confirms it
    recording = read_log(path, columns)

Numbers are float32 for cells and temperatures, float64 for time, string voltage and current; volts, amperes, degrees
Celsius and seconds from the first reading whatever the file used. What was kept out is told in `recording.findings`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from io import BytesIO
from pathlib import Path
from typing import Any

from calcs.errors import InputError
from calcs.log_columns import ColumnMap, guess_columns
from calcs.log_findings import Finding, clean
from calcs.log_layout import Layout, look_at, open_workbook, sheet_as_text
from calcs.log_times import seconds_of
from calcs.unit_table import unit as find_unit

__all__ = ["ColumnMap", "Finding", "Layout", "Recording", "guess_columns", "look_at", "read_log"]

_NUMBER = r"^\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*[^\d.]*$"


@dataclass(frozen=True)
class Recording:
    """A log, cleaned.

    `frame` has the columns seconds, row (line of the file's data, counted from 1), voltage, current, cell_1 … cell_n
    and temperature_1 … as far as the file has them; `labels` gives the headings of the file.
    """

    frame: Any
    columns: ColumnMap
    labels: Mapping[str, str]
    findings: tuple[Finding, ...] = ()
    started_at: datetime | None = None
    notes: tuple[str, ...] = ()
    rows_in_file: int = 0

    @property
    def cells(self) -> tuple[str, ...]:
        """Names of the cell columns of the frame."""
        return tuple(name for name in self.frame.columns if name.startswith("cell_"))

    @property
    def temperatures(self) -> tuple[str, ...]:
        return tuple(name for name in self.frame.columns if name.startswith("temperature_"))

    def summary(self) -> dict[str, Any]:
        """The recording in a few numbers, as it is shown and stored with a result."""
        frame = self.frame
        return {
            "rows": self.rows_in_file,
            "rows_used": frame.height,
            "hours": float(frame["seconds"][-1] - frame["seconds"][0]) / 3600 if frame.height else 0.0,
            "cells": len(self.cells),
            "findings": len(self.findings),
        }


def read_log(path: str | Path, columns: ColumnMap, layout: Layout | None = None) -> Recording:
    """Read a log with a confirmed column map; InputError in words when the map does not fit the file.

    `layout` is what `look_at` found in this very file, where it is known: a large workbook is then parsed once.
    """
    path = Path(path)
    layout = layout or look_at(path)
    if max(columns.used()) >= len(layout.headings):
        raise InputError(f"the column map names column {max(columns.used()) + 1}, the file has {len(layout.headings)}",
                         input="recording")  # fmt: skip
    if columns.voltage is None and not columns.cells:
        raise InputError("the column map names neither a string voltage nor cells", input="recording")
    names = _names(columns)
    raw = _load(path, layout, columns, names)
    seconds, started_at = seconds_of(raw, columns)
    frame = _in_units(raw, columns, names).with_columns(seconds.alias("seconds"))
    rows_in_file = frame.height
    frame, findings = clean(frame, by_clock=columns.time_kind != "elapsed")
    labels = {name: columns.labels.get(place) or layout.headings[place] for place, name in names.items()}
    return Recording(frame, columns, labels, findings, started_at, layout.notes, rows_in_file)


def _names(columns: ColumnMap) -> dict[int, str]:
    """The name in our frame of each column that is read."""
    names = {columns.time: "time"}
    if columns.date is not None:
        names[columns.date] = "date"
    if columns.voltage is not None:
        names[columns.voltage] = "voltage"
    if columns.current is not None:
        names[columns.current] = "current"
    names |= {place: f"cell_{count}" for count, place in enumerate(columns.cells, 1)}
    return names | {place: f"temperature_{count}" for count, place in enumerate(columns.temperatures, 1)}


def _load(path: Path, layout: Layout, columns: ColumnMap, names: Mapping[int, str]) -> Any:
    """Mapped columns only: times as text (or numbers), everything else as numbers."""
    import polars

    width = len(layout.headings)
    if layout.workbook:
        frame = sheet_as_text(open_workbook(path), layout.sheet, layout.first_row, None)
        frame = frame.select(polars.nth(place).alias(name) for place, name in names.items())
        return frame.with_columns(_number(name, False) for name in frame.columns if name not in ("time", "date"))
    types = {f"column_{place}": _type(names.get(place, ""), columns, layout) for place in range(width)}
    source, delimiter = _source(path, layout)
    lazy = polars.scan_csv(
        source, has_header=False, separator=delimiter, skip_lines=layout.first_row, schema=types,
        ignore_errors=True, truncate_ragged_lines=True, encoding="utf8-lossy",
        decimal_comma=layout.decimal_comma and not layout.as_text,
    )  # fmt: skip
    lazy = lazy.select(polars.col(f"column_{place}").alias(name) for place, name in names.items())
    if layout.as_text:
        lazy = lazy.with_columns(
            _number(name, layout.decimal_comma) for name in names.values() if name not in ("time", "date")
        )
    return lazy.collect()


def _type(name: str, columns: ColumnMap, layout: Layout) -> Any:
    import polars

    counted = (
        name == "time" and columns.time_kind == "elapsed" and not any(":" in row[columns.time] for row in layout.sample)
    )
    if layout.as_text or name in ("", "date") or (name == "time" and not counted):
        return polars.String
    return polars.Float64 if name in ("time", "voltage", "current") else polars.Float32


def _source(path: Path, layout: Layout) -> tuple[Any, str]:
    """The file itself, or its bytes rewritten where polars cannot read them as they are."""
    if layout.encoding != "utf-16" and layout.delimiter != " ":
        return path, layout.delimiter
    text = path.read_bytes().decode("utf-16" if layout.encoding == "utf-16" else layout.encoding, "replace")
    if layout.delimiter == " ":
        text = re.sub(r"[ \t]+", "\t", re.sub(r"(?m)^[ \t]+|[ \t]+$", "", text))
        return BytesIO(text.encode()), "\t"
    return BytesIO(text.encode()), layout.delimiter


def _number(name: str, decimal_comma: bool) -> Any:
    """A field of text as a number: blanks and a unit after it are left away, anything else is no reading."""
    import polars

    text = polars.col(name).str.strip_chars()
    if decimal_comma:
        text = text.str.replace(",", ".", literal=True)
    kind = polars.Float64 if name in ("voltage", "current") else polars.Float32
    return text.str.extract(_NUMBER).cast(kind, strict=False).alias(name)


def _in_units(raw: Any, columns: ColumnMap, names: Mapping[int, str]) -> Any:
    """Readings in V, A and °C, with the row of each counted from 1."""
    import polars

    wanted = {"voltage": "V", "current": "A", "cell": "V", "temperature": "°C"}
    readings = []
    for place, name in names.items():
        if name in ("time", "date"):
            continue
        target, source = wanted[name.partition("_")[0]], columns.units.get(place, "")
        factor, offset = _conversion(source, target, name)
        column = polars.col(name)
        readings.append(column if factor == 1 and offset == 0 else (column * factor + offset).alias(name))
    return raw.select(readings).with_row_index("row", offset=1)


def _conversion(source: str, target: str, name: str) -> tuple[float, float]:
    if not source or source == target:
        return 1.0, 0.0
    given, wanted = find_unit(source), find_unit(target)
    if given is None or wanted is None or given.dimension != wanted.dimension:
        raise InputError(f"{name}: '{source}' is not a unit for it; choose one such as {target}", input="recording")
    return given.factor / wanted.factor, (given.offset - wanted.offset) / wanted.factor
