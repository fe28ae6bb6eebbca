"""What a logger got wrong is found and told with its place; what is no log is refused in words."""

import numpy
import pytest

from calcs import InputError
from calcs.log_analysis import analyse
from calcs.logger_files import ColumnMap, guess_columns, look_at, read_log
from tests.support.logger_files import CELLS, changed, findings, iso, read, small_test
from tests.support.logs import discharge_test, write_frame, write_log


def test_a_gap_is_told_with_its_place_and_rows(tmp_path):
    def cut(table):
        del table[30:50]

    found = findings(changed(tmp_path, cut))["gap"]
    assert found.at == pytest.approx(29 * 60)
    assert found.rows == (30, 31)
    assert "21 min" in found.words


def test_a_logger_that_turns_faster_near_the_end_has_no_gap(tmp_path):
    times = [*range(0, 6000, 60), *range(6000, 7200, 5)]
    table = [[float(one), 13 - one / 4000, 10.0] for one in times]
    recording = read(write_log(tmp_path / "log.csv", ["t [s]", "U [V]", "I [A]"], table))
    assert recording.findings == ()


def test_of_repeated_stamps_the_first_is_kept(tmp_path):
    def repeat(table):
        table.insert(10, list(table[9]))
        table[10][1] = 99.0

    recording = changed(tmp_path, repeat)
    assert findings(recording)["repeated_time"].rows == (11, 11)
    assert 99.0 not in recording.frame["voltage"].to_list()
    assert recording.frame["seconds"].is_sorted()


def test_a_clock_without_seconds_is_spread_evenly(tmp_path):
    table = [[f"{10 + n // 360:02d}:{n % 360 // 6:02d}", 13 - n / 1000, 10.0] for n in range(720)]
    recording = read(write_log(tmp_path / "log.csv", ["Time", "U [V]", "I [A]"], table))
    assert [one.kind for one in recording.findings] == ["coarse_time"]
    assert recording.frame["seconds"].to_numpy() == pytest.approx(10.0 * numpy.arange(720))


@pytest.mark.parametrize("jump", [-3600, 3600, -120])
def test_a_clock_that_is_set_is_carried_on(tmp_path, jump):
    recording = changed(
        tmp_path, lambda table: None, lambda s: iso(s if s < 3000 else s + jump), ["Time", "U [V]", "I [A]", *CELLS]
    )
    found = findings(recording)
    assert set(found) == {"clock_change"}
    assert recording.frame["seconds"].to_numpy() == pytest.approx(small_test().seconds)


def test_an_hour_without_readings_by_a_counter_is_a_gap_and_no_clock_change(tmp_path):
    recording = changed(tmp_path, lambda table: None, lambda s: s if s < 3000 else s + 3600)
    assert set(findings(recording)) == {"gap"}


@pytest.mark.parametrize("mark", ["---", "OL", "NaN", "9.9E37", "", "0.0000"])
def test_drop_outs_of_a_cell_are_left_out_and_told(tmp_path, mark):
    def lose(table):
        for place in (40, 41, 42):
            table[place][5] = mark

    recording = changed(tmp_path, lose)
    found = findings(recording)["drop_out"]
    assert found.rows == (41, 43)
    assert recording.frame["cell_3"].null_count() == 3
    assert "cell 3: 3 readings" in found.words


def test_a_cell_that_really_falls_through_zero_is_kept(tmp_path):
    def fall(table):
        for place in range(80, 120):
            table[place][5] = round(1.9 - (place - 80) * 0.05, 3)

    recording = changed(tmp_path, fall)
    assert recording.frame["cell_3"].null_count() == 0
    assert recording.frame["cell_3"].min() < 0


def test_a_string_voltage_that_drops_out_does_not_end_the_test(tmp_path):
    def lose(table):
        table[60][1] = 0.0

    recording = changed(tmp_path, lose)
    inputs = {"cells": 6, "end_voltage_per_cell": 1.8, "rated_hours": 2}
    assert analyse(recording, inputs=inputs).summary["outputs"]["time_to_end"]["value"] == pytest.approx(120, abs=1)


def test_lines_after_the_data_are_left_out(tmp_path):
    recording = changed(tmp_path, lambda table: table.append(["End of log", "", "", *[""] * 6]))
    assert "no_time" in findings(recording)
    assert recording.frame.height == len(small_test().seconds)


def test_a_hundred_gaps_are_told_in_a_few_findings(tmp_path):
    times = [600 * block + step for block in range(100) for step in range(0, 100, 10)]
    table = [[float(one), 13 - one / 40_000, 10.0] for one in times]
    recording = read(write_log(tmp_path / "log.csv", ["t [s]", "U [V]", "I [A]"], table))
    assert len(recording.findings) == 21
    assert any("79 more of this kind" in one.words for one in recording.findings)
    assert all(set(one.as_json()) == {"kind", "at", "words", "rows"} for one in recording.findings)


# what is refused


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "empty"),
        (b"hello\nworld\nagain\n", "delimiter in common"),
        (b"a,b,c\nd,e,f\ng,h,i\n", "no rows of readings"),
        (b"\xd0\xcf\x11\xe0" + bytes(600), "old workbook"),
        (b"PK\x03\x04" + bytes(600), "cannot be opened"),
    ],
)
def test_what_is_no_log_is_refused_in_words(tmp_path, content, words):
    path = tmp_path / "log"
    path.write_bytes(content)
    with pytest.raises(InputError, match=words) as refusal:
        look_at(path)
    assert refusal.value.input == "recording"


def test_a_table_without_any_time_cannot_be_guessed():
    with pytest.raises(InputError, match="no column can be the time"):
        guess_columns(["a", "b"], [["5", "7"], ["4", "7"], ["6", "7"]])


@pytest.mark.parametrize(
    ("columns", "words"),
    [
        (ColumnMap(0, "elapsed", voltage=9), "names column 10"),
        (ColumnMap(0, "elapsed", current=2), "neither a string voltage nor cells"),
        (ColumnMap(0, "elapsed", "fortnight", voltage=1), "not known"),
        (ColumnMap(0, "elapsed", voltage=1, units={1: "A"}), "not a unit for it"),
        (ColumnMap(2, "absolute", voltage=1), "cannot be read|does not advance"),
    ],
)
def test_a_map_that_does_not_fit_is_refused(tmp_path, columns, words):
    table = [[60.0 * n, 12.6, 10.0] for n in range(5)]
    path = write_log(tmp_path / "log.csv", ["t [s]", "U [V]", "I [A]"], table)
    with pytest.raises(InputError, match=words):
        read_log(path, columns)


def test_a_large_log_keeps_its_types(tmp_path):
    recording = read(write_frame(tmp_path / "log.csv", discharge_test(cells=12, interval=2).frame()))
    kinds = {name: str(kind) for name, kind in recording.frame.schema.items()}
    assert kinds["seconds"] == kinds["voltage"] == "Float64"
    assert kinds["cell_12"] == "Float32"
    assert recording.notes == ("synthetic log, made for a test", recording.notes[1])
