"""What `differences()` shows of two versions."""

from dataclasses import replace
from datetime import date

import pytest

from commissioning.procedures.loader import (
    InputSource,
    LimitData,
    LineData,
    LineDifference,
    ProcedureData,
    differences,
    load,
)


def a_line(key: str, **content: object) -> LineData:
    plain = LineData(
        key=key, stage="energisation", title=f"Do {key}", how="How.", accept="Good.", action="inspect", work="either"
    )
    return replace(plain, **content)


def a_procedure(*lines: LineData) -> ProcedureData:
    return ProcedureData(
        key="ups",
        title="UPS",
        version=1,
        issued=date(2026, 11, 25),
        system_kind="ups",
        stages=("mechanical_completion", "energisation"),
        cautions=(),
        sources=("maker's manual",),
        lines=lines,
    )


def test_a_procedure_does_not_differ_from_itself() -> None:
    procedure = load("lv_board")
    assert differences(procedure, procedure) == []


def test_added_and_removed_lines_are_named() -> None:
    one, two, three = a_line("en-010"), a_line("en-020"), a_line("en-030")
    assert differences(a_procedure(one, two), a_procedure(two, three)) == [
        LineDifference("removed", "en-010"),
        LineDifference("added", "en-030"),
    ]


def test_a_changed_line_shows_each_field_before_and_after() -> None:
    old, new = a_line("en-010"), a_line("en-010", accept="Better.", timer_seconds=15)
    assert differences(a_procedure(old), a_procedure(new)) == [
        LineDifference("changed", "en-010", {"accept": ("Good.", "Better."), "timer_seconds": (None, 15)})
    ]


def test_changed_inputs_and_limits_are_shown_one_by_one() -> None:
    measured = InputSource("value", "measured", label="Voltage", unit="V")
    old = a_line("en-010", inputs=(measured,), limits=(LimitData("deviation", "maker's manual", upper=2),))
    new = a_line(
        "en-010", inputs=(replace(measured, unit="mV"),), limits=(LimitData("deviation", "maker's manual", upper=1),)
    )
    assert differences(a_procedure(old), a_procedure(new))[0].fields == {
        "inputs.value.unit": ("V", "mV"),
        "limits.deviation.upper": (2, 1),
    }


def test_a_new_input_is_shown_against_nothing() -> None:
    new = a_line("en-010", inputs=(InputSource("value", "measured", label="Voltage"),))
    assert differences(a_procedure(a_line("en-010")), a_procedure(new))[0].fields["inputs.value.label"] == (
        None,
        "Voltage",
    )


def test_one_line_that_jumps_is_one_move() -> None:
    one, two, three, four = (a_line(f"en-0{n}0") for n in (1, 2, 3, 4))
    assert differences(a_procedure(one, two, three, four), a_procedure(two, three, four, one)) == [
        LineDifference("moved", "en-010", {"after": ("", "en-040")})
    ]


def test_an_inserted_line_moves_no_other() -> None:
    one, two, new = a_line("en-010"), a_line("en-020"), a_line("en-015")
    assert [one.kind for one in differences(a_procedure(one, two), a_procedure(one, new, two))] == ["added"]


def test_a_line_may_both_change_and_move() -> None:
    one, two, three = a_line("en-010"), a_line("en-020"), a_line("en-030")
    found = differences(a_procedure(one, two, three), a_procedure(two, three, replace(one, title="Do it later")))
    assert [(difference.kind, difference.key) for difference in found] == [("changed", "en-010"), ("moved", "en-010")]


def test_a_line_in_another_stage_has_moved() -> None:
    one = a_line("en-010")
    found = differences(a_procedure(one), a_procedure(replace(one, stage="mechanical_completion")))
    assert [difference.kind for difference in found] == ["changed", "moved"]
    assert found[0].fields == {"stage": ("energisation", "mechanical_completion")}


def test_the_second_version_of_the_vrla_procedure_changes_what_it_says() -> None:
    old, new = load("dc_power_vrla", 1), load("dc_power_vrla", 2)
    found = {(difference.kind, difference.key): difference.fields for difference in differences(old, new)}
    assert set(found) == {
        ("changed", "bc-200"),
        ("moved", "bc-200"),
        ("changed", "bc-205"),
        ("moved", "bc-205"),
        ("added", "bc-265"),
    }
    assert found["moved", "bc-200"] == {"after": ("bc-190", "bc-260")}
    assert found["changed", "bc-205"]["limits.deviation.upper"] == (None, 20)
    assert old.changes == ""
    assert all(key in new.changes for key in ("bc-200", "bc-205", "bc-265"))
    assert new.issued > old.issued


@pytest.mark.parametrize("field", ["title", "version", "changes"])
def test_the_content_hash_covers_every_word(field: str) -> None:
    procedure = load("dc_board")
    assert load("dc_board").content_hash == procedure.content_hash
    other = replace(procedure, **{field: 9 if field == "version" else "another"})
    assert other.content_hash != procedure.content_hash
