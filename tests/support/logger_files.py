"""Small logs as loggers write them, read back, and changed by what goes wrong with a logger."""

from datetime import datetime, timedelta

from calcs.logger_files import guess_columns, look_at, read_log
from tests.support.logs import discharge_test, write_log

START = datetime(2024, 6, 11, 22, 30)


def read(path):
    layout = look_at(path)
    return read_log(path, guess_columns(layout.headings, layout.sample))


def small_test(**change):
    return discharge_test(cells=6, hours=2, interval=60, **change)


def rows(test, stamp, volts="V"):
    scale = 1000 if volts == "mV" else 1
    return [
        [stamp(float(second)), float(voltage), float(current), *(float(one) * scale for one in cells)]
        for second, voltage, current, cells in zip(test.seconds, test.voltage, test.current, test.cells, strict=True)
    ]


def iso(second):
    return (START + timedelta(seconds=second)).isoformat(sep=" ")


def clock(second):
    return (START + timedelta(seconds=second)).strftime("%H:%M:%S")


def counted(second):
    return f"{int(second) // 3600:02d}:{int(second) % 3600 // 60:02d}:{int(second) % 60:02d}"


CELLS = [f"Cell {one}" for one in range(1, 7)]


def changed(tmp_path, change, stamp=float, headings=("Elapsed [s]", "String [V]", "Current [A]", *CELLS), **how):
    table = rows(small_test(), stamp)
    change(table)
    return read(write_log(tmp_path / "log.csv", list(headings), table, **how))


def findings(recording):
    return {one.kind: one for one in recording.findings}
