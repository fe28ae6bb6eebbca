"""A synthetic log of a discharge test, as a logger with a Continental setting writes it. Its first line says so."""

from __future__ import annotations

import math
import random
from datetime import timedelta

from django.utils import timezone

from commissioning.models import CheckLine
from commissioning.services.reading_inputs import nameplate_value

INTERVAL = timedelta(minutes=1)
#: Minutes logged before the load is switched on, and after it is switched off.
BEFORE, AFTER = 5, 10
#: The battery lasts a little longer than it must.
GOOD_FOR = 1.04
WEAK_CELL, WEAK_LOSS = 37, 0.14
LOGGER = {"temperature": "21", "voltage_uncertainty": "0.1", "current_uncertainty": "0.5", "time_uncertainty": "1"}


def discharge_log(line: CheckLine) -> bytes:
    """CSV with decimal commas: the line's battery at its rated current until its end voltage, with one weak cell."""
    cells, hours = int(nameplate_of(line, "cells")), nameplate_of(line, "capacity_hours")
    end, amperes = nameplate_of(line, "end_volts_per_cell"), nameplate_of(line, "capacity_ah") / hours
    chance = random.Random(cells)  # noqa: S311 - the same log each time, nothing secret
    minutes = math.ceil(hours * 60 * GOOD_FOR)
    start = timezone.localtime() - timedelta(hours=hours + 2)
    own = [chance.gauss(0, 0.004) for _ in range(cells)]
    rows = ["Synthetic log for the demo: no battery was tested;;"]
    rows.append(";".join(["Date and time", "String [V]", "Current [A]", *(f"Cell {n + 1} [V]" for n in range(cells))]))
    for minute in range(-BEFORE, minutes + AFTER):
        loaded = 0 <= minute <= minutes
        share = minute / (hours * 60 * GOOD_FOR)
        mean = _under_load(share, end) if loaded else (1.34 if minute < 0 else _recovering(minute - minutes))
        volts = [mean + spread + chance.gauss(0, 0.0008) for spread in own]
        if minute >= 0:
            volts[WEAK_CELL - 1] -= WEAK_LOSS * min(share, 1.0) ** 4
        current = amperes + chance.gauss(0, 0.03) if loaded else 0.0
        moment = f"{start + (minute + BEFORE) * INTERVAL:%Y-%m-%d %H:%M:%S}"
        fields = [f"{sum(volts):.2f}", f"{current:.2f}", *(f"{one:.4f}" for one in volts)]
        rows.append(";".join([moment, *(text.replace(".", ",") for text in fields)]))
    return ("\n".join(rows) + "\n").encode()


def nameplate_of(line: CheckLine, key: str) -> float:
    """What the nameplate of the system's battery says."""
    found = nameplate_value(system=line.stage.system, line=line, spec={"key": key, "of": "battery"})
    if found is None:
        raise RuntimeError(f"The register of the demo does not say '{key}' of the battery of {line.stage.system.tag}.")
    return float(found)


def _under_load(share: float, end: float) -> float:
    """Volts of a healthy cell: quick fall, long slope, knee; the end voltage when its time is up."""
    return end + 0.13 * (1 - share) + 0.07 * math.exp(-share * 25) + 0.09 * (1 - math.exp((share - 1) * 14))


def _recovering(minutes: int) -> float:
    return 1.20 - 0.12 * math.exp(-minutes / 3)
