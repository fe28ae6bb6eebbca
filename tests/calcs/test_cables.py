"""Conductor resistance and voltage drop."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs import InputError, run


def per_km(**typed):
    return run("conductor_resistance", typed).outputs["per_km"]["value"]


@pytest.mark.parametrize(
    ("area", "conductor_class", "material", "expected"),
    # published: IEC 60228:2004, tables 2 and 3
    [
        (1, 2, "cu", 18.1), (2.5, 2, "cu", 7.41), (25, 2, "cu", 0.727), (630, 2, "cu", 0.0283),
        (1, 5, "cu", 19.5), (25, 5, "cu", 0.780), (630, 5, "cu", 0.0287),
        (10, 2, "al", 3.08), (300, 2, "al", 0.100),
    ],
)  # fmt: skip
def test_table_values_at_20_degrees(area, conductor_class, material, expected):
    assert per_km(area=area, conductor_class=conductor_class, material=material) == pytest.approx(expected, rel=1e-12)


def test_copper_at_working_temperature():
    assert per_km(area=25, temperature=70) == pytest.approx(0.727 * 304.5 / 254.5)  # independent: arithmetic


@pytest.mark.parametrize("typed", [{"area": 3}, {"area": 800}, {"area": 25, "conductor_class": 5, "material": "al"}])
def test_a_conductor_that_is_not_in_the_table_is_refused(typed):
    with pytest.raises(InputError):
        per_km(**typed)


@given(st.sampled_from([1, 1.5, 2.5, 4, 6, 10, 16, 25, 35, 50, 70, 95, 120]), st.floats(-40, 249), st.floats(0.1, 1))
def test_a_warmer_conductor_has_more_resistance(area, temperature, warmer):
    assert per_km(area=area, temperature=temperature) < per_km(area=area, temperature=temperature + warmer)


@pytest.mark.parametrize(
    ("typed", "drop"),
    [
        ({"length": 30, "area": 25, "current": 50}, 2.181),  # independent: 2·0.030·0.727·50
        ({"length": 30, "area": 25, "current": 50, "temperature": 70}, 2.6095),  # independent
        ({"length": 5, "per_km": 6.8964, "current": 20}, 1.379),  # published: a loop of 10 m of 2.5 mm²
        ({"length": 30, "area": 25, "current": 50, "extra": "200 mV"}, 2.381),
        ({"length": "0.03 km", "area": 25, "current": "50000 mA"}, 2.181),
    ],
)
def test_voltage_drop(typed, drop):
    assert run("cable_voltage_drop", typed).outputs["drop"]["value"] == pytest.approx(drop, abs=5e-4)


def test_drop_in_per_cent_and_its_budget():
    typed = {"length": 30, "area": 25, "current": 50, "temperature": 70, "nominal": 110}
    result = run("cable_voltage_drop", typed)
    assert result.outputs["percent"]["value"] == pytest.approx(2.372, abs=5e-4)
    assert result.verdict == "accept"
    strict = run("cable_voltage_drop", typed, limits={"percent": {"upper": 2, "source": "project data sheet"}})
    assert strict.verdict == "reject"
    assert strict.limits == (
        {"output": "percent", "lower": None, "upper": 2, "unit": "%", "source": "project data sheet"},
    )


def test_without_a_nominal_voltage_there_is_nothing_to_decide():
    assert run("cable_voltage_drop", {"length": 30, "area": 25, "current": 50}).verdict == "cannot_say"


def test_a_conductor_without_size_or_resistance_is_refused():
    with pytest.raises(InputError) as refusal:
        run("cable_voltage_drop", {"length": 30, "current": 50})
    assert refusal.value.input == "area"


@given(st.floats(0.1, 1000), st.floats(0.1, 1000))
def test_drop_is_proportional_to_length_and_current(length, current):
    def drop(**typed):
        return run("cable_voltage_drop", {"area": 25, **typed}).outputs["drop"]["value"]

    assert drop(length=length, current=2 * current) == pytest.approx(2 * drop(length=length, current=current))
    assert drop(length=2 * length, current=current) == pytest.approx(2 * drop(length=length, current=current))


def test_a_project_may_bring_its_own_table():
    table = {
        "title": "maker's conductors", "source": "maker's data sheet", "kind": "published",
        "values": {"cu": {"2": [[25, 0.7]]}},
    }  # fmt: skip
    result = run("conductor_resistance", {"area": 25}, tables={"conductor_resistance": table})
    assert result.outputs["per_km"]["value"] == pytest.approx(0.7)
    assert any("maker's data sheet" in line.result for line in result.working)
