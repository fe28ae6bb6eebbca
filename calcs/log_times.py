"""Time stamps of a logger as seconds from the start: counted, on a clock, or with a date."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

from calcs.errors import InputError
from calcs.log_columns import ColumnMap

SECONDS_IN = {
    "ms": 0.001, "s": 1, "sec": 1, "second": 1, "seconds": 1, "min": 60, "mins": 60, "minute": 60, "minutes": 60,
    "h": 3600, "hr": 3600, "hrs": 3600, "hour": 3600, "hours": 3600, "d": 86400, "day": 86400, "days": 86400,
}  # fmt: skip
_YEAR_FIRST = ("%Y-%m-%d", "%Y/%m/%d", "%Y.%m.%d", "%Y%m%d")
_DAY_FIRST = ("%d/%m/%Y", "%d.%m.%Y", "%d-%m-%Y", "%d/%m/%y", "%d.%m.%y", "%d-%m-%y")
_MONTH_FIRST = ("%m/%d/%Y", "%m.%d.%Y", "%m-%d-%Y", "%m/%d/%y", "%m.%d.%y", "%m-%d-%y")
_NAMED = ("%d %b %Y", "%d-%b-%Y", "%d %b %y", "%d-%b-%y")
_CLOCKS = ("%H:%M:%S%.f", "%H:%M", "%I:%M:%S%.f %p", "%I:%M %p")
LEAP = 25.0  # days from one reading to the next that no test has
_SPREADSHEET_ZERO = datetime(1899, 12, 30)


def seconds_of(frame: Any, columns: ColumnMap) -> tuple[Any, datetime | None]:
    """(series of seconds, date and time of second zero where the log has a date); unreadable stamps are null.

    `frame` holds text in the columns `time` and, where the date stands alone, `date`.
    """
    if columns.time_kind == "absolute":
        seconds, start = _dated(frame, columns)
    elif frame["time"].dtype.is_numeric():
        seconds, start = frame["time"] * _scale(columns.time_unit), None
    else:
        seconds, start = _clock_or_count(frame["time"], columns), None
    first = seconds.drop_nulls()
    if first.is_empty():
        raise InputError(
            f"no time stamp can be read in the column '{columns.labels.get(columns.time, 'time')}'", input="recording"
        )
    zero = first[0]
    if start is not None:
        start += timedelta(seconds=zero)
    return seconds - zero, start


def _scale(unit: str) -> float:
    try:
        return SECONDS_IN[unit]
    except KeyError:
        known = ", ".join(("ms", "s", "min", "h", "d"))
        raise InputError(f"time in '{unit}' is not known; choose one of {known}", input="recording") from None


def _clock_or_count(text: Any, columns: ColumnMap) -> Any:
    """`1d 02:03:04.5`, `26:03:04`, `9:15`, `9:15:00 PM` or a plain number, as seconds."""
    import polars

    clean = text.str.strip_chars().str.replace(",", ".", literal=True)
    counted = clean.cast(polars.Float64, strict=False)
    if counted.null_count() <= len(counted) // 2:
        return counted * _scale(columns.time_unit)
    parts = clean.str.extract_groups(
        r"(?i)^(?:(\d+)\s*d\s*|(\d+)[. ])?(\d+):(\d{2})(?::(\d{2}(?:\.\d+)?))?\s*([ap]m)?$"
    ).struct.unnest()
    days = parts["1"].fill_null(parts["2"]).cast(polars.Float64, strict=False).fill_null(0)
    hours = parts["3"].cast(polars.Float64, strict=False)
    half = parts["6"].str.to_lowercase()
    if half.null_count() < len(half):
        hours = hours % 12 + (half == "pm").fill_null(False).cast(polars.Float64) * 12
    minutes = parts["4"].cast(polars.Float64, strict=False)
    return days * 86400 + hours * 3600 + minutes * 60 + parts["5"].cast(polars.Float64, strict=False).fill_null(0)


def _dated(frame: Any, columns: ColumnMap) -> tuple[Any, datetime | None]:
    import polars

    text = frame["time"]
    counted = text.cast(polars.Float64, strict=False)
    if columns.date is None and counted.null_count() <= len(counted) // 2:
        zero = _SPREADSHEET_ZERO if columns.time_unit == "d" else datetime(1970, 1, 1, tzinfo=UTC)
        return counted * _scale(columns.time_unit), zero
    if columns.date is not None:
        text = frame["date"].str.strip_chars() + " " + text.str.strip_chars()
    clean = text.str.strip_chars().str.replace("T", " ", literal=True).str.replace(r"(:\d{2}),(\d+)", "${1}.${2}")
    bare = clean.str.replace(r"\s*(Z|UTC|[+-]\d{2}:?\d{2})$", "")
    offset = clean.str.extract(r"([+-]\d{2}:?\d{2})$").str.replace(":", "", literal=True)
    moments = bare.str.to_datetime(_format(bare, columns.day_first), strict=False, time_unit="us")
    seconds = moments.dt.epoch("us").cast(polars.Float64) / 1e6
    zoned = clean.str.contains(r"(Z|UTC|[+-]\d{2}:?\d{2})$").fill_null(False).any()
    if offset.null_count() < len(offset):
        shift = offset.str.slice(0, 3).cast(polars.Float64) * 3600
        minutes = offset.str.slice(0, 1).replace_strict({"+": 1.0, "-": -1.0}, default=None)
        seconds = seconds - (shift + minutes * offset.str.slice(3, 2).cast(polars.Float64) * 60).fill_null(0)
    first = moments.drop_nulls()
    if first.is_empty() or first[0].year < 1970:  # a workbook's cell with a time of day and no date
        return seconds, None
    return seconds, datetime(1970, 1, 1, tzinfo=UTC if zoned else None)


def _formats(day_first: bool) -> Iterator[str]:
    dates = (*_YEAR_FIRST, *(_DAY_FIRST + _MONTH_FIRST if day_first else _MONTH_FIRST + _DAY_FIRST), *_NAMED)
    return (f"{date} {clock}" for clock in _CLOCKS for date in dates)


def _format(text: Any, day_first: bool) -> str:
    """The format that reads most of the first and last stamps; of equals the one named first.

    A format under which the log would leap over weeks gives way to one under which it does not: 11 and 12 June, and
    not 6 November and 6 December.
    """
    import polars

    sample = polars.concat([text.head(100), text.tail(100)])
    best, read, days = "", 0, 0.0
    for one in _formats(day_first):
        moments = sample.str.to_datetime(one, strict=False)
        fits = len(sample) - moments.null_count()
        leap = _longest_step(moments) if fits and fits >= read else 0.0
        if fits > read or (fits == read > 0 and days > LEAP and leap < days / 10):
            best, read, days = one, fits, leap
        if read == len(sample) and days <= LEAP:
            break
    if not best:
        words = f"date and time '{sample[0]}' cannot be read; write them as 2024-06-11 09:00:00"
        raise InputError(words, input="recording")
    return best


def _longest_step(moments: Any) -> float:
    """Longest step between stamps that follow each other [days]."""
    steps = moments.drop_nulls().diff().drop_nulls().abs()
    return steps.max().total_seconds() / 86400 if len(steps) else 0.0
