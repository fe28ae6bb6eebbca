"""How a cell is read: values come out as meant, and what cannot be read says what would be right."""

from __future__ import annotations

from datetime import date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from commissioning.procedures.nameplate import NAMEPLATE_KEYS
from commissioning.register_import.columns import BadCell, Column, Kind, plain, tidy
from commissioning.register_import.sheets import EQUIPMENT, REGISTER, SYSTEMS

VOLTS = Column("v", "nominal voltage", Kind.NUMBER, unit="V", lower=6, upper=1500)
TAG = Column("tag", "tag", max_length=20)


@pytest.mark.parametrize(
    ("typed", "value"),
    [(110, 110), (110.5, 110.5), ("110,5", 110.5), ("110.5 V", 110.5), ("0,4 kV", 400), ("1 200", 1200), ("48V", 48)],
)
def test_numbers_are_read_with_units_and_decimal_commas(typed: object, value: float) -> None:
    assert VOLTS.read(typed) == value


@pytest.mark.parametrize("typed", ["1,200", "twelve", "480 A", "5", 4, 1501, True, datetime(2026, 3, 1), "nan"])
def test_a_number_that_is_not_one_or_not_plausible_is_refused(typed: object) -> None:
    with pytest.raises(BadCell) as refusal:
        VOLTS.read(typed)
    assert refusal.value.wrong
    assert refusal.value.right


def test_whole_numbers_stay_whole_and_others_are_refused() -> None:
    order = Column("order", "order", Kind.WHOLE, lower=0)
    assert order.read("7") == 7
    with pytest.raises(BadCell):
        order.read(7.5)


def test_digits_that_a_spreadsheet_took_for_a_number_become_text_again() -> None:
    assert TAG.read(40117) == "40117"
    assert TAG.read(40117.0) == "40117"


@pytest.mark.parametrize("raw", [datetime(2024, 2, 1), 12345678901234567890, 1e16])
def test_text_that_the_spreadsheet_has_spoilt_is_reported(raw: object) -> None:
    with pytest.raises(BadCell, match="as text"):
        TAG.read(raw)


def test_stray_spaces_and_invisible_letters_do_not_make_another_tag() -> None:
    assert TAG.read(" QPS\u00a0 DC1\x00 ") == "QPS DC1"
    assert TAG.read("Cafe\u0301") == TAG.read("Caf\u00e9")


def test_text_longer_than_its_field_is_refused_not_cut() -> None:
    with pytest.raises(BadCell, match="shorten it to 20"):
        TAG.read("x" * 21)


@pytest.mark.parametrize("typed", ["2026-03-01", datetime(2026, 3, 1), date(2026, 3, 1), "2026-03-01T00:00:00"])
def test_dates_are_read_in_iso_8601(typed: object) -> None:
    assert Column("on", "on", Kind.DATE).read(typed) == date(2026, 3, 1)


@pytest.mark.parametrize("typed", ["03/04/2026", "3.4.26", 46082, "2026-02-30"])
def test_a_date_that_could_be_read_in_two_ways_is_refused(typed: object) -> None:
    with pytest.raises(BadCell, match="year-month-day"):
        Column("on", "on", Kind.DATE).read(typed)


@pytest.mark.parametrize("typed", ["LV switchboard", "lv_board", "lv  Switchboard "])
def test_choices_are_taken_by_word_or_code(typed: str) -> None:
    assert SYSTEMS.by_name["kind"].read(typed) == "lv_board"


def test_a_near_miss_of_a_choice_gets_a_suggestion_and_the_whole_list() -> None:
    with pytest.raises(BadCell) as refusal:
        EQUIPMENT.by_name["kind"].read("batery")
    assert "did you mean 'battery'" in refusal.value.right
    assert "'earth-fault monitor'" in refusal.value.right


def test_every_nameplate_key_is_a_column_whose_unit_can_be_typed() -> None:
    for key, entry in NAMEPLATE_KEYS.items():
        column = SYSTEMS.by_name[f"nameplate.{key}"]
        assert column == EQUIPMENT.by_name[f"nameplate.{key}"]
        if not entry.choices and entry.upper is not None:
            assert column.read(f"{entry.upper} {entry.unit}".strip()) == entry.upper


def test_no_two_columns_of_a_sheet_answer_to_the_same_heading() -> None:
    for sheet in REGISTER:
        for column in sheet.columns:
            assert sheet.column_for(column.title) is column
            assert sheet.column_for(column.name.rpartition(".")[2]) is column


@given(st.text())
def test_tidied_text_stays_tidy(text: str) -> None:
    for lines in (False, True):
        assert tidy(tidy(text, lines=lines), lines=lines) == tidy(text, lines=lines)


@given(st.text())
def test_plain_words_stay_plain(text: str) -> None:
    assert plain(plain(text)) == plain(text)
