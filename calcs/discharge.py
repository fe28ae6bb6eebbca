"""A logged discharge as arrays: the part under load, its crossing of the end voltage, its charge, its cells.

The steps of the calculation `discharge_log`; times in seconds, on a clock that runs only while the load is on.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from calcs.errors import InputError
from calcs.figures import plain
from calcs.log_findings import gap_places
from calcs.uncertainty import expanded, nominal, uncertain


class Many(list):
    """A list of numbers; of more than a dozen, the number, the lowest and the highest are shown."""

    def summary(self) -> Any:
        known = sorted(one for one in nominal(list(self)) if math.isfinite(one))
        if len(self) <= 12 or not known:
            return list(self)
        return f"{len(self)} values from {plain(known[0])} to {plain(known[-1])}"


@dataclass(frozen=True)
class Log:
    """Time [s], string voltage [V], current [A] and cell voltages [V] (row by cell) of a log, without holes in time."""

    seconds: Any
    voltage: Any
    current: Any = None
    cells: Any = None
    voltage_spread: float = 0.0

    def summary(self) -> dict[str, Any]:
        return {
            "readings": len(self.seconds),
            "hours": float(self.seconds[-1] - self.seconds[0]) / 3600,
            "cells": 0 if self.cells is None else int(self.cells.shape[1]),
        }


@dataclass(frozen=True)
class Discharge(Log):
    """The part of a log under load; the current is positive, `gaps` are places before a gap."""

    gaps: Any = None
    paused: float = 0.0
    load_taken_off: bool = False


def as_log(given: Any) -> Log:
    """A log from a recording that was read, or from a mapping of lists; text is refused, so that it opens no file."""
    if isinstance(given, Log):
        return given
    if hasattr(given, "frame") and hasattr(given, "cells"):
        return _from_frame(given.frame, given.cells)
    if isinstance(given, Mapping):
        return _from_mapping(given)
    raise InputError(
        "recording: give a log that was read from its file, or time, voltage and current", input="recording"
    )


def _from_frame(frame: Any, cells: tuple[str, ...]) -> Log:
    measured = [name for name in ("voltage", "current") if name in frame.columns]
    usable = frame.drop_nulls(measured)
    if usable.height < 2:
        raise InputError("recording: fewer than two rows hold a reading", input="recording")
    table = usable.select(cells).to_numpy() if cells else None
    current = usable["current"].to_numpy() if "current" in measured else None
    return Log(usable["seconds"].to_numpy(), usable["voltage"].to_numpy(), current, table)


def _from_mapping(given: Mapping[str, Any]) -> Log:
    missing = {"time", "voltage"} - set(given)
    if missing:
        raise InputError(f"recording: {', '.join(sorted(missing))} is missing", input="recording")
    return log_of_lists(given["time"], given["voltage"], given.get("current"), given.get("cell_voltages"))


def log_of_lists(time: Any, voltage: Any, current: Any, cell_voltages: Any = None) -> Log:
    """A log from lists of one length (a single current counts for all): times rising, every value a number."""
    import numpy

    seconds, volts = (numpy.asarray(nominal(one), float) for one in (time, voltage))
    amps = _amperes(current, len(seconds))
    spreads = [one for one in (expanded(voltage) or ()) if one]
    if len(seconds) != len(volts) or len(seconds) < 2:
        words = f"time, voltage: give lists of one length, two or more, not of {len(seconds)} and {len(volts)}"
        raise InputError(words, input="voltage")
    if not (numpy.diff(seconds) > 0).all():
        raise InputError("time: every time stamp lies after the one before it", input="time")
    if not all(numpy.isfinite(one).all() for one in (seconds, volts)):
        raise InputError("voltage: every value is a number", input="voltage")
    table = None if cell_voltages is None else numpy.asarray(cell_voltages, float)
    if table is not None and (table.ndim != 2 or len(table) != len(seconds)):
        raise InputError("cell_voltages: give one row of cells for each time", input="recording")
    return Log(seconds, volts, amps, table, max(spreads, default=0.0))


def _amperes(current: Any, count: int) -> Any:
    """A current for each reading: one alone counts for all; None where no current is known."""
    import numpy

    if current is None:
        return None
    amps = numpy.atleast_1d(numpy.asarray(nominal(current), float))
    if len(amps) == 1:
        amps = numpy.full(count, float(amps[0]))
    if len(amps) != count or not numpy.isfinite(amps).all():
        raise InputError(f"current: give one number, or one for each of {count} readings", input="current")
    return amps


def with_current(log: Log, current: Any) -> Log:
    """The log with a current that was stated, where it recorded none."""
    if log.current is not None:
        return log
    if current is None:
        raise InputError("current: the log has none; state the constant current of the test", input="current")
    return replace(log, current=_amperes(current, len(log.seconds)))


def under_load(log: Log, discharge_sign: str, threshold: float) -> Discharge:
    """The part of the log in which the battery discharges with more than a share of its usual current.

    The sign of discharging is the one under which the voltage is lower, unless it is stated. Time runs on only while
    the load is on.
    """
    import numpy

    current = log.current * _sign(log, discharge_sign)
    usual = numpy.quantile(current[current > 0], 0.9) if (current > 0).any() else 0.0
    loaded = current > threshold / 100 * usual
    if loaded.sum() < 2:
        raise InputError("current: the log shows no discharge", input="recording")
    places = numpy.flatnonzero(loaded)
    steps = numpy.diff(log.seconds)
    running = loaded[:-1] & loaded[1:]
    elapsed = numpy.concatenate(([0.0], numpy.cumsum(numpy.where(running, steps, 0.0))))
    first, last = places[0], places[-1]
    paused = float(log.seconds[last] - log.seconds[first] - (elapsed[last] - elapsed[first]))
    gaps = numpy.zeros(len(steps), bool)
    gaps[gap_places(log.seconds)] = True
    seconds = elapsed[places] - elapsed[first]
    kept = numpy.concatenate(([True], numpy.diff(seconds) > 0))  # the first reading after a pause repeats its time
    chosen = places[kept]
    passed = numpy.concatenate(([0], numpy.cumsum(gaps)))  # gaps before each reading of the log
    return Discharge(
        seconds[kept], log.voltage[chosen], current[chosen], None if log.cells is None else log.cells[chosen],
        log.voltage_spread, numpy.flatnonzero(numpy.diff(passed[chosen])), paused, bool(last < len(loaded) - 1),
    )  # fmt: skip


def _sign(log: Log, discharge_sign: str) -> int:
    if discharge_sign != "auto":
        return 1 if discharge_sign == "positive" else -1
    size = 0.05 * float(abs(log.current).max())
    forward, backward = log.current > size, log.current < -size
    if forward.any() and backward.any():
        return 1 if log.voltage[forward].mean() < log.voltage[backward].mean() else -1
    return -1 if backward.any() else 1


def crossing(discharge: Discharge, end_level: float) -> float | None:
    """Time [s] of the first fall through the end voltage that stays, in a straight line between two readings.

    A dip at the start that is left again is not the end. None when the end voltage is not reached.
    """
    import numpy

    above = numpy.flatnonzero(discharge.voltage > end_level * (1 + 1e-9))
    if not len(above):
        return float(discharge.seconds[0])
    last = int(above[-1])
    if last == len(discharge.voltage) - 1:
        return None
    (t0, t1), (v0, v1) = discharge.seconds[last : last + 2], discharge.voltage[last : last + 2]
    return float(t0 + (t1 - t0) * (v0 - end_level) / (v0 - v1))


def slope_at(discharge: Discharge, moment: float) -> float:
    """Fall of the voltage [V/s, > 0] about a moment: a line through the readings within a fiftieth of the test."""
    import numpy

    width = max(float(discharge.seconds[-1]) / 50, 0.0)
    near = abs(discharge.seconds - moment) <= width
    if near.sum() < 4:  # few readings: the two about the moment
        after = min(max(int(numpy.searchsorted(discharge.seconds, moment)), 1), len(discharge.seconds) - 1)
        near = numpy.array([after - 1, after])
    x, y = discharge.seconds[near] - moment, discharge.voltage[near]
    return -float(numpy.polyfit(x, y, 1)[0])


def minutes_to_end(discharge: Discharge, end_level: float, voltage_uncertainty: float, time_uncertainty: float) -> Any:
    """Time to the end voltage [min]; its uncertainty is that of the voltage over the slope, and that of the clock."""
    moment = crossing(discharge, end_level)
    if moment is None:
        return None
    spread = max(voltage_uncertainty, discharge.voltage_spread)
    if not spread and not time_uncertainty:
        return moment / 60
    slope = slope_at(discharge, moment)
    if slope <= 0:
        raise InputError("voltage: it does not fall where it passes the end voltage", input="recording")
    return uncertain(moment / 60, ((spread / slope) ** 2 + time_uncertainty**2) ** 0.5 / 60)


def charge_until(discharge: Discharge, minutes: Any) -> Any:
    """Charge [Ah] from the start until a moment: trapezoids between readings, nothing over a gap."""
    import numpy

    moment = float(nominal(minutes)) * 60
    steps, current = numpy.diff(discharge.seconds), discharge.current
    parts = steps * (current[:-1] + current[1:]) / 2
    parts[discharge.gaps] = 0.0
    whole = numpy.concatenate(([0.0], numpy.cumsum(parts)))
    place = min(int(numpy.searchsorted(discharge.seconds, moment, side="right")) - 1, len(steps))
    now = float(numpy.interp(moment, discharge.seconds, current))
    rest = 0.0
    if place < len(steps) and place not in discharge.gaps:
        rest = (moment - float(discharge.seconds[place])) * (float(current[place]) + now) / 2
    charge = (float(whole[place]) + rest) / 3600
    # a later end takes the current of that moment along: the uncertainty of the time carries over to the charge
    return charge + now / 60 * (minutes - moment / 60)


def covered_share(discharge: Discharge, minutes: Any) -> float:
    """Share of the time until a moment that readings cover [%]; gaps are not covered."""
    import numpy

    moment = max(float(nominal(minutes)) * 60, 1e-9)
    starts, ends = discharge.seconds[:-1][discharge.gaps], discharge.seconds[1:][discharge.gaps]
    lost = numpy.clip(numpy.minimum(ends, moment) - starts, 0, None).sum() if len(starts) else 0.0
    return 100 * (1 - float(lost) / moment)


def cells_at(discharge: Discharge, minutes: Any) -> list[float] | None:
    """Last voltage of each cell at or before a moment [V]; not-a-number for a cell without any reading."""
    import numpy

    if discharge.cells is None:
        return None
    until = max(int(numpy.searchsorted(discharge.seconds, float(nominal(minutes)) * 60 + 1e-9, side="right")), 1)
    table = discharge.cells[:until]
    known = numpy.isfinite(table)
    last = until - 1 - numpy.argmax(known[::-1], axis=0)
    values = table[last, numpy.arange(table.shape[1])]
    return Many(float(one) for one in numpy.where(known.any(axis=0), values, numpy.nan))


def lowest_under_load(discharge: Discharge) -> list[float] | None:
    """Lowest voltage of each cell while the load was on [V]; infinite for a cell without any reading."""
    import numpy

    if discharge.cells is None:
        return None
    known = numpy.where(numpy.isfinite(discharge.cells), discharge.cells, numpy.inf)
    return Many(float(one) for one in known.min(axis=0))
