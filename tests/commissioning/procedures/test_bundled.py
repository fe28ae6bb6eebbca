"""The bundled procedures as a person would walk them: complete, in a safe order, with cautions and sources."""

import json
import re
from pathlib import Path

import pytest

from commissioning.procedures.loader import DATA, ProcedureData, load
from commissioning.procedures.terms import STAGES, SYSTEM_KINDS
from tests.support.bundled import (
    ALL,
    BOARDS,
    POWER,
    WITH_BATTERY,
    all_words,
    first_with,
    named,
    place_of,
)

ISSUED = json.loads(Path(__file__).with_name("issued.json").read_text(encoding="utf-8"))
DANGER = re.compile(
    r"\b(live|acid|alkali|hydroxide|hydrogen|electrolyte|energise|load bank|test voltage|arc|bare bars|stored charge"
    r"|posts?|inter-cell|hydrometer|boost charging|spark)\b",
    re.IGNORECASE,
)
AMERICAN = re.compile(
    r"\b(\w*(?<!s)ize[ds]?|\w+izing|\w+ization|colou?r(?<!colour)|gray|center|fiber|aluminum|grounded|grounding|ground "
    r"fault|labeled|behavior|neutralizer|check-list|cable gland plate cover|odor|mold)\b",
    re.IGNORECASE,
)


each_procedure = pytest.mark.parametrize("procedure", ALL, ids=named(ALL))


def test_every_kind_of_system_has_a_procedure_and_one_has_two_versions() -> None:
    assert {procedure.key for procedure in ALL} == set(SYSTEM_KINDS)
    assert [procedure.version for procedure in ALL if procedure.key == "dc_power_vrla"] == [1, 2]
    assert len(list(DATA.glob("*@*.toml"))) == len(ALL) + len(list(DATA.glob("part_*.toml")))


@each_procedure
def test_an_issued_version_never_changes(procedure: ProcedureData) -> None:
    """A procedure that was issued is changed by issuing the next version; the hashes here are those of the issue."""
    assert procedure.content_hash == ISSUED[f"{procedure.key}@{procedure.version}"]


@each_procedure
def test_keys_are_unique_and_stages_in_order(procedure: ProcedureData) -> None:
    keys = [line.key for line in procedure.lines]
    assert len(set(keys)) == len(keys)
    stages = [STAGES.index(line.stage) for line in procedure.lines]
    assert stages == sorted(stages)
    assert {line.stage for line in procedure.lines} == set(procedure.stages)


@pytest.mark.parametrize(
    ("keys", "fewest", "most"),
    [(POWER, 55, 80), (("ups",), 40, 65), (BOARDS, 25, 40)],
    ids=["dc power", "ups", "boards"],
)
def test_a_procedure_is_long_enough_to_commission_with(keys: tuple[str, ...], fewest: int, most: int) -> None:
    assert all(fewest <= len(load(key).lines) <= most for key in keys)


@pytest.mark.parametrize("key", WITH_BATTERY)
def test_systems_with_a_battery_have_four_stages(key: str) -> None:
    assert load(key).stages == STAGES


@pytest.mark.parametrize("key", BOARDS)
def test_boards_without_a_battery_have_three_stages(key: str) -> None:
    assert load(key).stages == STAGES[:3]


@pytest.mark.parametrize("key", POWER)
def test_a_modular_rectifier_is_energised_in_this_order(key: str) -> None:
    """The order given by the people who commission these systems (common practice, no source)."""
    procedure = load(key)
    lines = [line for line in procedure.lines if line.stage == "energisation"]
    calculated = {line.calculation: index for index, line in enumerate(lines) if line.calculation}
    titles = [line.title.lower() for line in lines]

    def at(*words: str) -> int:
        return next(index for index, title in enumerate(titles) if all(word in title for word in words))

    order = [
        at("permission to energise", "naming each supply"),
        calculated["ac_supply_tolerance"],
        calculated["voltage_unbalance"],
        at("release the supply under the permission"),
        at("first rectifier module as master"),
        at("next module: address, output and self-check"),
        calculated["load_share"],
        calculated["float_voltage"],
        at("earth-fault monitor", "alarm clear"),
        at("read every alarm", "explained, expected or genuine"),
        at("reset the alarms"),
        at("force this relay"),
        at("shut down in order"),
        at("isolate the supply", "lock"),
        at("prove dead", "close up until the battery is complete"),
    ]
    assert order == sorted(order)
    assert len(set(order)) == len(order)


@each_procedure
def test_nothing_is_tested_or_energised_before_it_was_proved_and_permitted(procedure: ProcedureData) -> None:
    isolated, proved = place_of(procedure, "pe-010"), place_of(procedure, "pe-030")
    waited = place_of(procedure, "pe-020")
    injecting = [index for index, line in enumerate(procedure.lines) if line.injects_voltage]
    permitted = place_of(procedure, "en-010")
    live = [index for index, line in enumerate(procedure.lines) if line.work == "live"]
    assert isolated < waited < proved < min(injecting)
    assert max(injecting) < place_of(procedure, "pe-350") < permitted < min(live)
    assert procedure.line("en-010").point == "hold"
    assert place_of(procedure, "mc-010") == 0
    assert place_of(procedure, "mc-020") == 1


@each_procedure
def test_no_test_voltage_is_injected_once_energisation_began(procedure: ProcedureData) -> None:
    early = ("mechanical_completion", "pre_energisation")
    assert all(line.stage in early for line in procedure.lines if line.injects_voltage)


@pytest.mark.parametrize("key", WITH_BATTERY)
def test_battery_is_closed_only_after_hold_permission_and_a_look_at_both_sides(key: str) -> None:
    procedure = load(key)
    order = [
        first_with(procedure, "protective equipment", stage="battery_connected"),
        first_with(procedure, "isolator open and locked", stage="battery_connected"),
        first_with(procedure, "torque", "links"),
        first_with(procedure, "string voltage and polarity at isolator"),
        first_with(procedure, "hold", "battery itself"),
        first_with(procedure, "permission to energise", "battery"),
        first_with(procedure, "across the open battery isolator"),
        first_with(procedure, "close the battery isolator"),
        first_with(procedure, "discharge test" if key != "ups" else "autonomy test"),
        first_with(procedure, "leave in service"),
    ]
    assert order == sorted(order)
    assert {procedure.line(key).point for key in ("bc-080", "bc-090")} == {"hold"}


@pytest.mark.parametrize("key", WITH_BATTERY)
def test_ventilation_and_eye_wash_are_proved_before_any_cell_is_handled(key: str) -> None:
    procedure = load(key)
    first_cell = first_with(procedure, "inspect each", stage="battery_connected")
    ventilation = next(i for i, line in enumerate(procedure.lines) if line.calculation == "hydrogen_ventilation")
    assert max(ventilation, first_with(procedure, "eye wash")) < first_cell


@pytest.mark.parametrize("key", POWER)
def test_boost_and_its_fall_backs_are_proved_before_the_first_charge(key: str) -> None:
    procedure = load(key)
    assert first_with(procedure, "prove", "boost") < min(
        index
        for index, line in enumerate(procedure.lines)
        if re.search(r"\b(initial|commissioning) charge\b", line.title)
    )


@each_procedure
def test_dangerous_lines_carry_a_caution(procedure: ProcedureData) -> None:
    bare = [line.key for line in procedure.lines if not line.caution and (line.work == "live" or line.injects_voltage)]
    worded = [line.key for line in procedure.lines if not line.caution and DANGER.search(f"{line.title} {line.how}")]
    assert bare == []
    assert worded == []


@each_procedure
def test_no_line_says_that_something_is_dead(procedure: ProcedureData) -> None:
    """Only a test at the point of work proves dead; a record never does."""
    words = re.compile(r"\b(is|are) (now )?dead\b", re.IGNORECASE)
    claims = [line.key for line in procedure.lines if words.search(re.sub(r"is not dead", "", all_words(line)))]
    assert claims == []


@each_procedure
def test_every_limit_names_its_source(procedure: ProcedureData) -> None:
    for line in procedure.lines:
        assert all(limit.source for limit in line.limits)
        assert all(
            source.source for source in line.inputs if source.kind == "value" and source.name in ("lower", "upper")
        )


@each_procedure
def test_every_measure_line_takes_a_reading_or_a_recording(procedure: ProcedureData) -> None:
    without = [
        line.key
        for line in procedure.lines
        if line.action == "measure" and not any(source.kind in ("measured", "recording") for source in line.inputs)
    ]
    assert without == []


@each_procedure
def test_spelling_is_british(procedure: ProcedureData) -> None:
    texts = [all_words(line) for line in procedure.lines] + [*procedure.cautions, procedure.changes]
    assert [match.group() for text in texts for match in AMERICAN.finditer(text)] == []


def test_the_spelling_check_finds_american_words() -> None:
    found = [match.group() for match in AMERICAN.finditer("energized color center of this size, grounded; colour")]
    assert found == ["energized", "color", "center", "grounded"]


@each_procedure
def test_a_line_can_be_read_on_a_phone(procedure: ProcedureData) -> None:
    for line in procedure.lines:
        assert len(line.title) <= 80
        assert 40 <= len(line.how) <= 620, line.key
        assert line.title[0].isupper()
        assert not line.title.endswith(".")
