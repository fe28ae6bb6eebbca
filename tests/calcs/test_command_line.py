"""`python -m calcs` as a person or a script calls it."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

TOP = Path(__file__).parents[2]


def calcs(*words):
    return subprocess.run(
        [sys.executable, "-W", "error", "-m", "calcs", *words], capture_output=True, text=True, cwd=TOP, check=False
    )


def test_list_names_the_catalogue():
    done = calcs("list")
    assert done.returncode == 0
    listed = [line.split()[0] for line in done.stdout.splitlines()]
    assert listed == sorted(listed)
    assert {"ac_supply_tolerance", "pole_insulation", "guard_banded_decision"} <= set(listed)


def test_list_as_json():
    entries = json.loads(calcs("list", "--json").stdout)
    assert {"calculation", "edition", "title"} == set(entries[0])


def test_show_prints_inputs_formulas_limits_and_sources():
    text = calcs("show", "voltage_unbalance").stdout
    for words in ("U_ab [V]", "u_2 = 100·√(max(1 − r; 0)/(1 + r))", "negative_sequence ≤ 2", "typical value, verify"):
        assert words in text
    described = json.loads(calcs("show", "voltage_unbalance", "--json").stdout)
    assert [one["name"] for one in described["inputs"]] == ["ab", "bc", "ca"]


def test_run_prints_the_working_and_the_verdict():
    done = calcs("run", "float_voltage", "cells=54", "volts_per_cell=2.27", "temperature=20",
                 "reference_temperature=20", "coefficient=-3 mV/K", "measured=122.7+-0.13")  # fmt: skip
    assert done.returncode == 0
    assert "U_t = 122.58 V" in done.stdout
    assert "verdict: accept" in done.stdout


def test_run_as_json_has_the_fixed_shape():
    done = calcs("run", "insulation_resistance", "measured=0.52Mohm", "circuit_voltage=110", "--json")
    answer = json.loads(done.stdout)
    assert done.returncode == 0  # it could calculate, whatever the verdict
    assert answer["verdict"] == "reject"
    assert answer["inputs"]["measured"]["value"] == pytest.approx(520_000)
    assert list(answer) == [
        "calculation", "edition", "inputs", "outputs", "limits", "verdict", "conformity_probability", "working",
        "cautions", "sources",
    ]  # fmt: skip


def test_a_list_is_separated_by_commas():
    answer = json.loads(calcs("run", "load_share", "currents=10.1,9.8,10.3,9.8", "rated=15", "--json").stdout)
    assert answer["outputs"]["spread"]["value"] == pytest.approx(5.0)


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ((), "usage"),
        (("dance",), "usage"),
        (("show", "voltage_unbalanced"), "did you mean voltage_unbalance"),
        (("run", "nothing_like_it"), "no calculation"),
        (("run", "ac_supply_tolerance", "nominal=230"), "measured is missing"),
        (("run", "ac_supply_tolerance", "measured=230", "nominal=230 A"), "measures a current"),
        (("run", "ac_supply_tolerance", "measured=nan", "nominal=230"), "not a number"),
        (("run", "ac_supply_tolerance", "measured=-1", "nominal=230"), "not possible here"),
        (("run", "ac_supply_tolerance", "230", "nominal=230"), "not an input"),
        (("run", "ac_supply_tolerance", "measured=1", "measured=2", "nominal=230"), "twice"),
        (("run", "conductor_resistance", "area=3"), "not in the table"),
    ],
)
def test_a_wrong_input_ends_with_two_and_one_line(words, says):
    done = calcs(*words)
    assert done.returncode == 2
    assert done.stdout == ""
    assert says in done.stderr
    assert len(done.stderr.splitlines()) == 1


@pytest.mark.parametrize("heavy", ["numpy", "pint", "uncertainties", "django"])
def test_a_plain_reading_loads_no_heavy_library(heavy):
    code = (
        "import sys, calcs; calcs.run('ac_supply_tolerance', {'measured': '0.23 kV', 'nominal': 230});"
        f"sys.exit('{heavy}' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], cwd=TOP, check=False).returncode == 0


def test_cautions_that_matter_for_life_stand_before_the_result():
    lines = calcs("run", "arc_flash_estimate", "voltage=125", "bolted_current=5 kA", "time=2", "distance=45.72").stdout
    assert lines.index("Estimate, for planning only; a qualified engineer decides") < lines.index("cal/cm²")


def test_a_logged_discharge_runs_from_lists_and_from_a_file(tmp_path):
    battery = ("cells=6", "end_voltage_per_cell=1.8", "rated_hours=4", "temperature=77 degF", "--json")
    lists = calcs(
        "run", "discharge_log", "time=0,1h,2h,3h,4h", "voltage=13,12.6,12.2,11.4,10.2", "current=10", *battery
    )
    assert json.loads(lists.stdout)["outputs"]["time_to_end"]["value"] == pytest.approx(210)
    path = tmp_path / "log.csv"
    volts = (13, 12.6, 12.2, 11.4, 10.2)
    path.write_text("synthetic\nt [h],U [V],I [A]\n" + "".join(f"{hour},{one},10\n" for hour, one in enumerate(volts)))
    file = calcs("run", "discharge_log", f"log={path}", *battery)
    assert file.returncode == 0
    assert json.loads(file.stdout)["outputs"] == json.loads(lists.stdout)["outputs"]
    assert "string voltage: column 2 'U'" in file.stderr


def test_a_log_that_is_not_there_is_one_clear_line():
    done = calcs("run", "discharge_log", "log=/nowhere/log.csv", "cells=6", "end_voltage_per_cell=1.8")
    assert done.returncode == 2
    assert done.stderr.strip() == "log: '/nowhere/log.csv' cannot be opened (No such file or directory)"
