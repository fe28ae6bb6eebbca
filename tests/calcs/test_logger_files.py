"""Files of data loggers: any layout is read to the same recording. All logs here are synthetic."""

from datetime import timedelta

import numpy
import openpyxl
import pytest

from calcs.logger_files import ColumnMap, guess_columns, look_at
from tests.support.logger_files import CELLS, START, clock, counted, iso, read, rows, small_test
from tests.support.logs import write_log

LAYOUTS = {
    "elapsed seconds": dict(headings=["Elapsed [s]", "String [V]", "Current [A]", *CELLS], stamp=float),
    "minutes, semicolon, decimal comma": dict(
        headings=["Zeit (min)", "Spannung (V)", "Strom (A)", *(f"Zelle {one}" for one in range(1, 7))],
        stamp=lambda second: second / 60, delimiter=";", decimal_comma=True,
    ),
    "tab, elapsed clock": dict(headings=["Elapsed", "Battery V", "Amps", *CELLS], stamp=counted, delimiter="\t"),
    "time of day over midnight": dict(headings=["Time", "Ubat", "Ibat", *CELLS], stamp=clock),
    "date and time": dict(headings=["Timestamp", "Total voltage (V)", "Load current (A)", *CELLS], stamp=iso),
    "day first": dict(
        headings=["Date/Time", "Bus V", "Current", *CELLS],
        stamp=lambda second: (START + timedelta(seconds=second)).strftime("%d/%m/%Y %H:%M:%S"),
    ),
    "ISO with zone": dict(
        headings=["time", "String V", "A", *CELLS], stamp=lambda second: iso(second).replace(" ", "T") + "+02:00"
    ),
    "twelve hours": dict(
        headings=["Time", "String V", "Current (A)", *CELLS],
        stamp=lambda second: (START + timedelta(seconds=second)).strftime("%m/%d/%Y %I:%M:%S %p"),
    ),
    "millivolts, western code page": dict(
        headings=["t [s]", "U [V]", "I [A]", *(f"U{one} [mV]" for one in range(1, 7))], stamp=float, volts="mV",
        encoding="cp1252", preamble=["synthetic log", "Temperatur: 20 °C", "Gerät 7"],
    ),
    "UTF-16": dict(headings=["Elapsed (s)", "String (V)", "Current (A)", *CELLS], stamp=float, encoding="utf-16"),
    "bars": dict(headings=["Elapsed (s)", "String (V)", "Current (A)", *CELLS], stamp=float, delimiter="|"),
    "unix seconds": dict(
        headings=["epoch time", "String (V)", "Current (A)", *CELLS], stamp=lambda second: 1_718_144_000.0 + second
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", LAYOUTS)
def test_every_layout_gives_the_same_recording(tmp_path, name):
    how = dict(LAYOUTS[name])
    test = small_test()
    table = rows(test, how.pop("stamp"), how.pop("volts", "V"))
    recording = read(write_log(tmp_path / "log.txt", how.pop("headings"), table, **how))
    assert recording.frame["seconds"].to_numpy() == pytest.approx(test.seconds, abs=2e-3)
    assert recording.frame["voltage"].to_numpy() == pytest.approx(test.voltage, abs=1e-3)
    assert recording.frame["current"].to_numpy() == pytest.approx(test.current)
    assert recording.frame.select(recording.cells).to_numpy() == pytest.approx(test.cells, abs=2e-4)
    assert {one.kind for one in recording.findings} <= {"midnight"}
    assert recording.columns.confidence > 0.6


def test_headings_with_a_row_of_units_below_and_blanks_as_delimiter(tmp_path):
    path = tmp_path / "log.txt"
    lines = ["synthetic log", "", "Time  Ustring  I  C01  C02  C03", "s     V        A  mV   mV   mV"]
    lines += [f" {60 * n:>6}   {6.3 - n / 100:.3f}   10.0  2101   2100   2099 " for n in range(30)]
    path.write_text("\n".join(lines))
    recording = read(path)
    assert recording.frame.height == 30
    assert recording.frame["cell_1"][3] == pytest.approx(2.101)
    assert recording.frame["voltage"][2] == pytest.approx(6.28)


def test_date_and_clock_in_two_columns_with_a_counter_before_them(tmp_path):
    test = small_test()
    table = [
        [n + 1, (START + timedelta(seconds=row[0])).strftime("%d.%m.%Y"), clock(row[0]), *row[1:]]
        for n, row in enumerate(rows(test, float))
    ]
    headings = ["No.", "Datum", "Uhrzeit", "Spannung [V]", "Strom [A]", *CELLS]
    recording = read(write_log(tmp_path / "log.csv", headings, table, delimiter=";", decimal_comma=True))
    assert recording.started_at == START
    assert recording.findings == ()
    assert recording.frame["seconds"][-1] == pytest.approx(test.seconds[-1])


def test_a_workbook_is_read_like_a_text(tmp_path):
    test = small_test()
    book = openpyxl.Workbook()
    book.active.title = "notes"
    sheet = book.create_sheet("data")
    sheet.append(["synthetic log"])
    sheet.append([])
    sheet.append(["Time", "String (V)", "Current (A)", *CELLS])
    for row in rows(test, lambda second: START + timedelta(seconds=second)):
        sheet.append(row)
    sheet["D10"] = "---"
    book.save(tmp_path / "log.xlsx")
    recording = read(tmp_path / "log.xlsx")
    assert recording.started_at == START
    assert recording.frame["seconds"].to_numpy() == pytest.approx(test.seconds)
    assert recording.frame["voltage"].to_numpy() == pytest.approx(test.voltage)
    assert [one.kind for one in recording.findings] == ["drop_out"]


def test_elapsed_time_that_a_workbook_shows_as_a_clock(tmp_path):
    book = openpyxl.Workbook()
    book.active.append(["synthetic duration", "String (V)", "Current (A)"])
    for n in range(40):
        book.active.append([timedelta(hours=n), 13 - n / 20, 10.0])
    book.save(tmp_path / "log.xlsx")
    recording = read(tmp_path / "log.xlsx")
    assert recording.frame["seconds"].to_numpy() == pytest.approx(3600 * numpy.arange(40))
    assert recording.started_at is None


def test_without_a_string_voltage_the_cells_are_added_up(tmp_path):
    test = small_test()
    table = [[row[0], row[2], *row[3:]] for row in rows(test, float)]
    table[20][4] = "---"
    recording = read(write_log(tmp_path / "log.csv", ["Elapsed [s]", "Current [A]", *CELLS], table))
    expected = test.voltage.copy()
    expected[20] = test.cells[20, [0, 1, 3, 4, 5]].mean() * 6  # a sixth is missing: more than a tenth, no sum
    assert recording.frame["voltage"][20] is None
    assert recording.frame["voltage"].to_numpy()[19] == pytest.approx(expected[19], abs=1e-3)


def test_fahrenheit_becomes_celsius(tmp_path):
    table = [[60.0 * n, 12.6 - n / 100, 10.0, 77.0, 86.0] for n in range(20)]
    recording = read(write_log(tmp_path / "log.csv", ["t [s]", "U [V]", "I [A]", "T1 [°F]", "T2 [°F]"], table))
    assert recording.frame["temperature_1"][0] == pytest.approx(25, abs=1e-4)
    assert recording.frame["temperature_2"][0] == pytest.approx(30, abs=1e-4)


# what a person is asked to confirm


def test_a_guess_says_what_it_took_and_how_sure_it_is():
    sample = [[str(60 * n), "125.3", "50.1", "2.088", "2.089"] for n in range(10)]
    good = guess_columns(["Elapsed [s]", "String [V]", "Current [A]", "Cell 1 [V]", "Cell 2 [V]"], sample)
    assert (good.time, good.voltage, good.current, good.cells) == (0, 1, 2, (3, 4))
    assert good.confidence > 0.8
    assert any("column 3 'Current'" in words for words in good.words)
    bare = guess_columns(["column 1", "column 2", "column 3"], [[str(n), "125", "50"] for n in range(10)])
    assert bare.confidence < 0.5


def test_a_date_that_reads_both_ways_lowers_the_confidence_and_says_so():
    sample = [[f"05/06/2024 10:{n:02d}:00", "125.3", "50"] for n in range(10)]
    guess = guess_columns(["Time", "String V", "Current A"], sample)
    assert guess.day_first
    assert guess.confidence < 0.85
    assert any("both would fit" in words for words in guess.words)
    american = guess_columns(["Time", "String V", "Current A"], [["06/25/2024 10:00:00", "125.3", "50"]] * 3)
    assert not american.day_first


def test_two_currents_are_a_doubt():
    sample = [[str(n), "125", "50", "49"] for n in range(10)]
    guess = guess_columns(["Time [s]", "String [V]", "Battery [A]", "Load [A]"], sample)
    assert any("2 columns would fit" in words for words in guess.words)
    assert guess.confidence < 0.8


def test_a_map_survives_being_stored():
    guess = guess_columns(["t [s]", "U [V]", "I [A]"], [[str(n), "125", "50"] for n in range(5)])
    assert ColumnMap.from_json(guess.as_json()) == guess


def test_the_same_headings_have_the_same_mark(tmp_path):
    table = [[1.0 * n, 12.0, 10.0] for n in range(5)]
    marks = {
        look_at(write_log(tmp_path / f"{n}.csv", ["t [s]", "U [V]", head], table)).headings_sha256()
        for n, head in enumerate(["I [A]", "I [A]", "J [A]"])
    }
    assert len(marks) == 2
