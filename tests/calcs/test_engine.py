"""What all calculations share: limits of a project, working, cautions, editions, refusals."""

import ast
import json

import pytest

import calcs
from calcs import InputError, UnknownCalculation, get, names, run
from calcs.definition import REGISTRY, Output, Scope, Step, define, given, measured
from calcs.expression import body

SHAPE = {
    "calculation", "edition", "inputs", "outputs", "limits", "verdict", "conformity_probability", "working", "cautions",
    "sources",
}  # fmt: skip
GOOD = {"measured": "206.9+-0.5", "nominal": 230}


def test_the_answer_has_the_shape_that_shell_and_api_give_out():
    answer = run("ac_supply_tolerance", GOOD).as_json()
    assert set(answer) == SHAPE
    assert set(answer["outputs"]["deviation"]) == {"value", "unit", "expanded_uncertainty"}
    assert set(answer["limits"][0]) == {"output", "lower", "upper", "unit", "source"}
    assert set(answer["working"][0]) == {"formula", "substituted", "result"}
    assert json.loads(json.dumps(answer, allow_nan=False)) == answer


def test_the_working_shows_formula_numbers_with_units_and_result():
    line = run("ac_supply_tolerance", {"measured": 206.9, "nominal": 230}).working[2]
    assert line.formula == "δ = 100·(U − U_n)/U_n"
    assert line.substituted == "100·(206.9 V − 230 V)/230 V"
    assert line.result == "δ = −10.0435 %"


def test_a_result_is_rounded_to_two_digits_of_its_uncertainty():
    line = run("ac_supply_tolerance", GOOD).working[2]
    assert line.result == "δ = −10.04 ± 0.22 %"


def test_the_working_ends_with_limit_verdict_and_source():
    line = run("ac_supply_tolerance", GOOD).working[-1]
    assert line.formula == "−10 % ≤ δ ≤ 10 %"
    assert line.result.startswith("reject within guard band, probability of conformity")
    assert "IEC 60038" in line.result


def test_a_project_limit_replaces_the_bundled_one():
    stricter = {"deviation": {"lower": -6, "upper": "6 %", "source": "project data sheet 7"}}
    result = run("ac_supply_tolerance", {"measured": 215, "nominal": 230}, limits=stricter)
    assert result.verdict == "reject"
    assert [one["source"] for one in result.limits] == ["project data sheet 7"]


def test_a_project_may_limit_what_had_no_limit():
    result = run("conductor_resistance", {"area": 25}, limits={"per_km": {"upper": 0.75}})
    assert result.verdict == "accept"


def test_a_limit_without_bounds_means_cannot_say():
    result = run("ac_supply_tolerance", GOOD, limits={"deviation": {"source": "not agreed yet"}})
    assert (result.verdict, result.conformity_probability) == ("cannot_say", None)


def test_a_limit_for_something_else_is_refused():
    with pytest.raises(InputError, match="no output 'colour'"):
        run("ac_supply_tolerance", GOOD, limits={"colour": {"upper": 1}})


def test_the_guard_factor_widens_the_band():
    typed = {"measured": "208+-1", "nominal": 230}
    assert run("ac_supply_tolerance", typed).verdict == "accept"
    assert run("ac_supply_tolerance", typed, guard_factor=1.5).verdict == "accept_within_guard_band"
    assert run("ac_supply_tolerance", typed, guard_factor=0).verdict == "accept"


def test_independence_is_stated_when_two_inputs_carry_an_uncertainty():
    one = run("midpoint_deviation", {"upper": "61.9+-0.1", "lower": 60.8})
    two = run("midpoint_deviation", {"upper": "61.9+-0.1", "lower": "60.8+-0.1"})
    assert not any("independent" in caution for caution in one.cautions)
    assert any("independent" in caution for caution in two.cautions)


def test_danger_stands_first_among_the_cautions():
    result = run("insulation_resistance", {"measured": "2 MΩ", "circuit_voltage": 110})
    assert "prove dead at the point of work" in result.cautions[0]


@pytest.mark.parametrize("name", names())
def test_a_battery_is_never_called_dead(name):
    definition = get(name)
    words = " ".join((*definition.attention, *(one.text for one in definition.cautions))).lower()
    assert "is dead" not in words


@pytest.mark.parametrize(
    ("typed", "at_fault"),
    [
        ({"nominal": 230}, "measured"),
        ({"measured": "", "nominal": 230}, "measured"),
        ({"measured": 230, "nominal": 0}, "nominal"),
        ({"measured": 230, "nominal": 230, "colour": "red"}, "colour"),
        ({"measured": float("nan"), "nominal": 230}, "measured"),
        ({"measured": 230, "nominal": 230, "tolerance": 51}, "tolerance"),
    ],
)
def test_a_wrong_input_is_named(typed, at_fault):
    with pytest.raises(InputError) as refusal:
        run("ac_supply_tolerance", typed)
    assert refusal.value.input == at_fault


def test_an_unknown_name_gets_near_matches():
    with pytest.raises(UnknownCalculation, match="did you mean voltage_unbalance"):
        get("voltage_unbalanced")
    with pytest.raises(KeyError):
        get("voltage_unbalanced")
    with pytest.raises(InputError):
        run("nothing_like_it", {})


def test_a_division_by_zero_is_refused_in_words():
    typed = {"system": 122.7, "positive": 0, "negative": 0, "meter_resistance": "1M"}
    with pytest.raises(InputError, match="no result can be calculated"):
        run("pole_insulation", typed)


@pytest.fixture
def two_editions():
    parts = {
        "title": "for this test",
        "inputs": (measured("x", "x", "V", 0, 10, "a voltage"), given("y", "y", "V", 0, 10, "one more")),
        "outputs": (Output("z", "z", "V"),), "module": "tests.nothing",
    }  # fmt: skip
    define("of_two_editions", edition="2", steps=(Step("z", lambda x: x, text="x"),), **parts)
    define("of_two_editions", edition="10", steps=(Step("z", lambda x, y: x + y, text="x + y"),), **parts)
    yield
    for edition in ("2", "10"):
        del REGISTRY["of_two_editions", edition]


@pytest.mark.usefixtures("two_editions")
def test_an_old_edition_stays_callable():
    typed = {"x": 1, "y": 2}
    assert run("of_two_editions", typed).outputs["z"]["value"] == 3
    assert run("of_two_editions", typed).edition == "10"
    assert run("of_two_editions", typed, edition="2").outputs["z"]["value"] == 1
    assert calcs.editions("of_two_editions") == ("2", "10")
    with pytest.raises(UnknownCalculation, match="no edition 3"):
        get("of_two_editions", "3")


@pytest.mark.parametrize("name", names())
def test_a_definition_is_complete(name):
    definition = get(name)
    described = definition.as_json()
    assert json.loads(json.dumps(described, allow_nan=False)) == described
    assert definition.title
    assert definition.sources
    assert all(one.help for one in (*definition.inputs, *definition.outputs))
    assert all(definition.described(limit.output) for limit in definition.limits)
    assert all(limit.source for limit in definition.limits)


@pytest.mark.parametrize("name", names())
def test_every_formula_has_a_handbook_text(name):
    formulas = [
        step.formula for step in get(name).steps if not isinstance(step, type(None)) and hasattr(step, "formula")
    ]
    assert all(formula.__doc__ for formula in formulas)
    for step in get(name).steps:
        if isinstance(step, Step) and not step.text and not step.silent:
            assert body(step.formula) is not None, f"{step.value} needs a text or a single expression"


@pytest.mark.parametrize("name", names())
def test_limits_stand_in_data_not_in_formulas(name):
    """Numbers of a formula are small whole numbers, hundredths or halves: arithmetic, not limits."""
    harmless = {0, 1, 2, 3, 4, 6, 20, 100, 1000, 0.5, 1e-9, 1e-12}
    for step in get(name).steps:
        if isinstance(step, Step) and not step.text and not step.silent and get(name).module in OWN:
            numbers = {one.value for one in ast.walk(body(step.formula)) if isinstance(one, ast.Constant)}
            assert {one for one in numbers if isinstance(one, int | float)} <= harmless


OWN = {
    f"calcs.{one}"
    for one in (
        "supply", "float_charge", "midpoint", "pole_insulation", "insulation", "cables", "rectifiers",
        "decision", "instruments",
    )
}  # fmt: skip


def test_scope_and_step_are_data():
    assert any(isinstance(step, Scope) for step in get("polarisation_index").steps)
