"""What a commissioning engineer expects of each bundled procedure is in it, in the words of its own chemistry."""

import pytest

from commissioning.procedures.loader import load
from tests.support.bundled import POWER, calculations_of, first_with, mentions, place_of


@pytest.mark.parametrize("key", POWER)
def test_modules_and_relays_repeat_over_their_equipment(key: str) -> None:
    repeated = {(line.equipment, line.repeat): line for line in load(key).lines if line.repeat}
    assert repeated["rectifier_module", "first"].key < repeated["rectifier_module", "following"].key
    assert repeated["relay", "each"].timer_seconds == 15  # common practice, no source


@pytest.mark.parametrize("key", POWER)
def test_bus_float_without_battery_says_what_is_usual(key: str) -> None:
    line = next(
        line for line in load(key).lines if line.calculation == "float_voltage" and line.stage == "energisation"
    )
    assert "122.7 V" in line.how  # 110 V system: common practice, no source
    assert "common practice, no source" in line.how
    assert "above nominal" in line.accept


@pytest.mark.parametrize("key", POWER)
def test_dc_power_covers_what_a_commissioning_engineer_expects(key: str) -> None:
    procedure = load(key)
    mentions(
        procedure,
        "polarity",
        "torque",
        "ventilation",
        "label",
        "links? (out|were)",
        "waiting time",
        "proved before and after",
        "eye wash",
        "spark",
        "insulated to 1000 V",
        "face shield",
        "temperature compensation|temperature-compensated",
        "current limit",
        "boost",
        "low-voltage alarm",
        "U²/R",
        "electronics",
        "short circuit",
    )
    assert calculations_of(procedure) >= {
        "ac_supply_tolerance",
        "voltage_unbalance",
        "float_voltage",
        "load_share",
        "regulation",
        "pole_insulation",
        "insulation_resistance",
        "protective_continuity",
        "cable_voltage_drop",
        "hydrogen_ventilation",
        "link_resistance",
        "midpoint_deviation",
        "temperature_spread",
        "ripple",
        "discharge_log",
        "recharge_time",
    }


def test_vented_battery_has_its_own_content() -> None:
    procedure = load("dc_power_vented")
    mentions(procedure, "specific gravity", "electrolyte level", "flame-arresting", "acid into water", "pilot cells")
    assert calculations_of(procedure) >= {"specific_gravity", "capacity_test"}
    assert "ohmic_deviation" not in calculations_of(procedure)


def test_vrla_battery_has_its_own_content() -> None:
    procedure = load("dc_power_vrla")
    mentions(procedure, "thermal runaway", "internal resistance", "conductance", "valves? (covers|are never opened)")
    assert calculations_of(procedure) >= {"ohmic_deviation", "capacity_test"}
    assert "specific_gravity" not in calculations_of(procedure)


def test_nicd_battery_has_its_own_content() -> None:
    procedure = load("dc_power_nicd")
    mentions(
        procedure, "potassium hydroxide", r"1\.00 V per cell", "IEEE 1106", "alkaline", "transport plug", "interlock"
    )
    assert "nicd_capacity" in calculations_of(procedure)
    assert not calculations_of(procedure) & {"ohmic_deviation", "specific_gravity", "capacity_test"}
    own_tools = first_with(procedure, "alkaline cells only")
    assert own_tools < first_with(procedure, "inspect each cell")


@pytest.mark.parametrize(
    ("key", "chemistry"),
    [("dc_power_vented", "vented_lead_acid"), ("dc_power_vrla", "vrla"), ("dc_power_nicd", "nicd"), ("ups", "vrla")],
)
def test_ventilation_is_worked_out_for_the_right_chemistry(key: str, chemistry: str) -> None:
    (line,) = (line for line in load(key).lines if line.calculation == "hydrogen_ventilation")
    assert {source.name: source.value for source in line.inputs if source.kind == "value"} == {
        "chemistry": chemistry,
        "mode": "boost",
    }


def test_recharge_factor_depends_on_the_chemistry() -> None:
    """1.1 for lead-acid and 1.4 for nickel-cadmium (IEEE 946; memory: typical value, verify)."""

    def factor(key: str) -> float | str | None:
        (line,) = (line for line in load(key).lines if line.calculation == "recharge_time")
        return next(source.value for source in line.inputs if source.name == "factor")

    assert [factor(key) for key in POWER] == [1.1, 1.1, 1.4]


def test_ups_covers_what_a_commissioning_engineer_expects() -> None:
    procedure = load("ups")
    mentions(procedure, "static bypass", "maintenance bypass", "back-feed", "autonomy", "emergency off", "rotation")
    mentions(procedure, "load bank", "neutral", "synchronised", "battery low", "DC link")
    order = [
        first_with(procedure, "rectifier with no battery"),
        first_with(procedure, "inverter without load"),
        first_with(procedure, "static bypass and see"),
        first_with(procedure, "transfer to static bypass"),
        first_with(procedure, "maintenance bypass sequence"),
    ]
    assert order == sorted(order)


def test_dc_board_covers_what_a_commissioning_engineer_expects() -> None:
    procedure = load("dc_board")
    mentions(procedure, "polarity", "discrimination", "fuse-fail", "DC-rated", "coupler", "back-feed", "both poles")
    assert calculations_of(procedure) >= {"cable_voltage_drop", "pole_insulation", "insulation_resistance"}


def test_lv_board_covers_what_a_commissioning_engineer_expects() -> None:
    procedure = load("lv_board")
    mentions(
        procedure, "interlock", "rotation", "RCD", "loop impedance", "current transformer", "arc-flash", "injection"
    )
    assert calculations_of(procedure) >= {
        "protective_continuity",
        "earth_electrode",
        "insulation_resistance",
        "ac_supply_tolerance",
        "voltage_unbalance",
    }
    assert place_of(procedure, "pe-040") < first_with(procedure, "loop impedance") < first_with(procedure, "rcd") + 1
