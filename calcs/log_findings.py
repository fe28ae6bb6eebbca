"""What a logger got wrong, as data, and the rules by which it is kept out of a result.

- no_time: a row whose time stamp cannot be read is left out.
- coarse_time: stamps that repeat throughout (a clock without seconds) are spread evenly over their span.
- midnight: a time of day that starts again is carried on over midnight.
- clock_change: a clock that was set (back at all, or forward by an hour) is carried on after one usual interval.
- repeated_time: of rows with one time stamp the first is kept.
- drop_out: a reading that is missing, absurd or jumps to zero is left out; its neighbours are joined by a straight line
  where they are near enough, else there is a gap.
- gap: an interval more than five times as long as both its neighbours. Time passes over it, charge is not counted.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from calcs.errors import InputError

GAP_FACTOR = 5.0
COARSE_SHARE = 0.2
HALF_A_DAY, HOUR = 43_200.0, 3_600.0
ABSURD = 1e6
ZERO_SHARE = 0.001  # of the usual voltage: what is below it is next to zero
MOST_OF_A_KIND = 20


@dataclass(frozen=True)
class Finding:
    """Something about a log that a person should know: its kind, when (seconds), words, and rows of the file."""

    kind: str
    at: float
    words: str
    rows: tuple[int, int]

    def as_json(self) -> dict[str, Any]:
        return {"kind": self.kind, "at": self.at, "words": self.words, "rows": list(self.rows)}


def clean(frame: Any, *, by_clock: bool) -> tuple[Any, tuple[Finding, ...]]:
    """The frame with its time steady and rising, wrong readings as null, and what was done to it."""
    findings: list[Finding] = []
    frame = _with_time(frame, findings)
    frame = _steady_time(frame, by_clock, findings)
    frame = _without_drop_outs(frame, findings)
    usable = _usable(frame)
    for place in gap_places(usable["seconds"].to_numpy()):
        start, end = usable["seconds"][int(place)], usable["seconds"][int(place) + 1]
        rows = (usable["row"][int(place)], usable["row"][int(place) + 1])
        words = f"no readings for {_span(end - start)}; time passes, the charge in between is not counted"
        findings.append(Finding("gap", float(start), words, rows))
    return frame, _not_too_many(sorted(findings, key=lambda one: one.at))


def _usable(frame: Any) -> Any:
    return frame.drop_nulls([name for name in ("voltage", "current") if name in frame.columns])


def gap_places(seconds: Any) -> Any:
    """Places before a gap: an interval more than five times both its neighbours, or far above all the others."""
    import numpy

    steps = numpy.diff(seconds)
    if len(steps) < 3:
        return numpy.array([], int)
    before = numpy.concatenate(([steps[1]], steps[:-1]))
    after = numpy.concatenate((steps[1:], [steps[-2]]))
    alone = steps > GAP_FACTOR * numpy.maximum(before, after)
    return numpy.flatnonzero(alone | (steps > 4 * GAP_FACTOR * numpy.quantile(steps, 0.95)))


def _with_time(frame: Any, findings: list[Finding]) -> Any:
    missing = frame.filter(frame["seconds"].is_null())
    if missing.height:
        rows = (missing["row"][0], missing["row"][-1])
        findings.append(Finding("no_time", 0.0, f"{missing.height} rows without a time stamp are left out", rows))
    kept = frame.filter(frame["seconds"].is_not_null())
    if kept.height < 2:
        raise InputError("the log has fewer than two rows with a time stamp", input="recording")
    return kept


def _steady_time(frame: Any, by_clock: bool, findings: list[Finding]) -> Any:
    import numpy
    import polars

    seconds, rows = frame["seconds"].to_numpy().astype(float), frame["row"].to_numpy()
    steps = numpy.diff(seconds)
    forward = steps[steps > 0]
    if not len(forward):
        raise InputError("the time of the log does not advance", input="recording")
    usual = float(numpy.median(forward))
    if (steps == 0).mean() > COARSE_SHARE:
        seconds = _spread(seconds, usual)
        steps = numpy.diff(seconds)
        words = f"time stamps repeat throughout; readings are spread evenly over each {_span(usual)}"
        findings.append(Finding("coarse_time", 0.0, words, (int(rows[0]), int(rows[-1]))))
        usual = float(numpy.median(steps[steps > 0]))
    shifts = _shifts(steps, usual, by_clock, seconds, rows, findings)
    seconds = seconds + numpy.concatenate(([0.0], numpy.cumsum(shifts)))
    advance = numpy.concatenate(([True], numpy.diff(seconds) > 0))
    for first, last in _runs(~advance):
        words = f"{last - first + 1} rows repeat a time stamp; the first of them is kept"
        findings.append(Finding("repeated_time", float(seconds[first]), words, (int(rows[first]), int(rows[last]))))
    return frame.with_columns(polars.Series("seconds", seconds)).filter(polars.Series(advance))


def _spread(seconds: Any, usual: float) -> Any:
    """Readings that share a stamp, set evenly from it to the next."""
    import numpy

    starts = numpy.flatnonzero(numpy.concatenate(([True], numpy.diff(seconds) != 0)))
    counts = numpy.diff(numpy.append(starts, len(seconds)))
    ahead = numpy.append(numpy.diff(seconds[starts]), usual)
    spans = numpy.where((ahead > 0) & (ahead < GAP_FACTOR * usual), ahead, usual)
    within = numpy.arange(len(seconds)) - numpy.repeat(starts, counts)
    size = numpy.repeat(counts, counts)
    # the first stamp may have begun before the log did: its readings stand at the end of its span
    late = numpy.where(
        numpy.repeat(numpy.arange(len(starts)), counts) == 0, max(int(numpy.median(counts)) - counts[0], 0), 0
    )
    size = numpy.where(late > 0, int(numpy.median(counts)), size)
    return seconds + numpy.repeat(spans, counts) * (within + late) / size


def _shifts(steps: Any, usual: float, by_clock: bool, seconds: Any, rows: Any, findings: list[Finding]) -> Any:
    """What is added at each step so that the time goes on over midnight and over a clock that was set."""
    import numpy

    shifts = numpy.zeros_like(steps)
    near = max(2 * usual, 2.0)
    hour_ahead = by_clock & (usual < HOUR / 4) & (abs(steps - HOUR) <= near)
    for place in numpy.flatnonzero((steps < 0) | hour_ahead):
        step = float(steps[place])
        if by_clock and step < -HALF_A_DAY:
            shifts[place] = 2 * HALF_A_DAY
            kind, words = "midnight", "the time of day starts again; it is carried on over midnight"
        else:
            shifts[place] = usual - step
            kind = "clock_change"
            way = (
                f"goes back by {_span(-step)}" if step < 0 else f"jumps ahead by {_span(step)}, as a clock that is set"
            )
            words = f"the time {way}; it is carried on after one interval of {_span(usual)}"
        findings.append(Finding(kind, float(seconds[place]), words, (int(rows[place]), int(rows[place + 1]))))
    return shifts


def _without_drop_outs(frame: Any, findings: list[Finding]) -> Any:
    """Readings that are missing, absurd, or jump to zero become null; the sum of the cells is made after that."""
    import polars

    names = [name for name in frame.columns if name not in ("row", "seconds")]
    expressions = []
    for name in _suspect(frame, names):
        value = polars.col(name)
        bad = value.is_null() | ~value.is_finite() | (value.abs() > ABSURD)
        if name == "voltage" or name.startswith("cell_"):
            usual = value.median().abs()
            zero = value.abs() <= ZERO_SHARE * usual
            before = polars.when(zero | bad).then(None).otherwise(value).forward_fill()
            bad = bad | (zero & (before.is_null() | (before > 0.5 * usual)))
        expressions.append(polars.when(bad).then(None).otherwise(value).alias(name))
    cleaned = frame.with_columns(expressions)
    for name, count in cleaned.select(polars.col(names).null_count()).row(0, named=True).items():
        if count:
            _tell_drop_out(cleaned, name, count, findings)
    return cleaned if "voltage" in cleaned.columns else _with_sum(cleaned)


def _suspect(frame: Any, names: list[str]) -> list[str]:
    """Columns with a reading that is missing, absurd or next to zero: one quick look spares the others the long one."""
    import polars

    each = polars.col(names)
    missing, not_finite, smallest, largest = (
        frame.select(one).row(0)
        for one in (each.null_count(), (~each.is_finite()).sum(), each.abs().min(), each.abs().max())
    )
    looks = zip(names, missing, not_finite, smallest, largest, strict=True)
    return [
        name
        for name, absent, odd, low, high in looks
        if absent or odd or low is None or high > ABSURD or low <= ZERO_SHARE * high
    ]


def _tell_drop_out(frame: Any, name: str, count: int, findings: list[Finding]) -> None:
    lost = frame.filter(frame[name].is_null())
    words = f"{name.replace('_', ' ')}: {count} readings are missing, absurd or fell to zero at once; they are left out"
    findings.append(Finding("drop_out", float(lost["seconds"][0]), words, (lost["row"][0], lost["row"][-1])))


def _with_sum(frame: Any) -> Any:
    """The string voltage as the sum of its cells; up to a tenth of them may be missing and count as the mean."""
    import polars

    cells = [name for name in frame.columns if name.startswith("cell_")]
    present = polars.sum_horizontal(polars.col(cells).is_not_null())
    total = polars.mean_horizontal(polars.col(cells).cast(polars.Float64)) * len(cells)
    return frame.with_columns(polars.when(present >= 0.9 * len(cells)).then(total).alias("voltage"))


def _runs(mask: Any) -> list[tuple[int, int]]:
    """(first, last) of every run of true values."""
    import numpy

    edges = numpy.diff(numpy.concatenate(([0], mask.astype(numpy.int8), [0])))
    return list(zip(numpy.flatnonzero(edges == 1), numpy.flatnonzero(edges == -1) - 1, strict=True))


def _span(seconds: float) -> str:
    """A span of time in the unit in which it reads well."""
    for size, name in ((3600, "h"), (60, "min")):
        if seconds >= 2 * size:
            return f"{seconds / size:.4g} {name}"
    return f"{seconds:.4g} s"


def _not_too_many(findings: list[Finding]) -> tuple[Finding, ...]:
    """At most so many of a kind; the rest of a kind is told in one."""
    kept: list[Finding] = []
    for kind in dict.fromkeys(one.kind for one in findings):
        same = [one for one in findings if one.kind == kind]
        kept += same[:MOST_OF_A_KIND]
        rest = same[MOST_OF_A_KIND:]
        if rest:
            kept.append(
                Finding(kind, rest[0].at, f"{len(rest)} more of this kind", (rest[0].rows[0], rest[-1].rows[1]))
            )
    return tuple(sorted(kept, key=lambda one: one.at))
