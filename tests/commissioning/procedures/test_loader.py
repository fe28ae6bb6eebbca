"""Reading procedure files: what is put together, what is refused, and how it is said."""

import subprocess
import sys
from pathlib import Path

import pytest

from commissioning.procedures.loader import (
    NAMEPLATE_KEYS,
    ProcedureData,
    ProcedureError,
    bundled,
    load,
    read_folder,
)

HEAD = """
[procedure]
key = "dc_board"
title = "A board"
version = 1
issued = 2026-11-25
system_kind = "dc_board"
stages = ["mechanical_completion", "pre_energisation", "energisation"]
sources = ["maker's manual"]
"""
LINE = """
[[line]]
key = "en-040"
stage = "energisation"
title = "Close the incomer"
how = "Close it."
accept = "Closed."
action = "inspect"
work = "either"
"""
CALCULATED = """
calculation = "float_voltage"
[line.inputs.measured]
kind = "measured"
label = "Bus"
unit = "V"
[line.inputs.cells]
kind = "nameplate"
key = "cells"
of = "battery"
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path


def loaded(folder: Path, text: str, name: str = "dc_board@1.toml") -> ProcedureData:
    (folder / name).write_text(text, encoding="utf-8")
    (procedure,) = (one for one in read_folder(folder) if f"{one.key}@{one.version}.toml" == name)
    return procedure


def refused(folder: Path, text: str, name: str = "dc_board@1.toml") -> list[tuple[str, str, str]]:
    """File, line and field of each problem."""
    with pytest.raises(ProcedureError) as caught:
        loaded(folder, text, name)
    return [(problem.file, problem.line, problem.field) for problem in caught.value.problems]


def test_a_small_procedure_is_read(folder: Path) -> None:
    procedure = loaded(folder, HEAD + LINE + CALCULATED)
    (line,) = procedure.lines
    assert (line.key, line.calculation, line.required, line.point) == ("en-040", "float_voltage", True, "none")
    assert [(source.name, source.kind, source.key, source.of) for source in line.inputs] == [
        ("measured", "measured", "", ""),
        ("cells", "nameplate", "cells", "battery"),
    ]


def test_line_breaks_of_the_file_are_not_the_readers(folder: Path) -> None:
    text = HEAD + LINE.replace('how = "Close it."', 'how = """Close\nit."""')
    assert loaded(folder, text).lines[0].how == "Close it."


@pytest.mark.parametrize(
    ("old", "new", "field"),
    [
        ('key = "en-040"', 'key = "EN40"', "key"),
        ('stage = "energisation"', 'stage = "battery_connected"', "stage"),
        ('stage = "energisation"', 'stage = "soon"', "stage"),
        ('title = "Close the incomer"', f'title = "{"x" * 81}"', "title"),
        ('title = "Close the incomer"', "title = 5", "title"),
        ('how = "Close it."', 'how = ""', "how"),
        ('accept = "Closed."', "", "accept"),
        ('action = "inspect"', 'action = "look"', "action"),
        ('work = "either"', 'work = "hot"', "work"),
        ('work = "either"', 'work = "live"', "caution"),
        ('work = "either"', 'work = "dead"\ninjects_voltage = true', "caution"),
        ('work = "either"', 'work = "live"\ninjects_voltage = true\ncaution = "C."', "injects_voltage"),
        ('work = "either"', 'work = "either"\nrequired = "yes"', "required"),
        ('work = "either"', 'work = "either"\npoint = "hold"', "party"),
        ('work = "either"', 'work = "either"\nparty = "client"', "point"),
        ('work = "either"', 'work = "either"\npoint = "hold"\nparty = "inspector"', "party"),
        ('work = "either"', 'work = "either"\nrepeat = "each"', "equipment"),
        ('work = "either"', 'work = "either"\nrepeat = "often"\nequipment = "relay"', "repeat"),
        ('work = "either"', 'work = "either"\nequipment = "lamp"', "equipment"),
        ('work = "either"', 'work = "either"\ntimer_seconds = 0', "timer_seconds"),
        ('work = "either"', 'work = "either"\ntimer_seconds = true', "timer_seconds"),
        ('work = "either"', 'work = "either"\nurgent = true', "urgent"),
        ('work = "either"', 'work = "either"\ncalculation = "float_voltage"', "inputs"),
        ('work = "either"', 'work = "either"\ncalculation = "Float Voltage"\ninputs = {}', "calculation"),
        ('work = "either"', 'work = "either"\ninputs = "none"', "inputs"),
        ('work = "either"', 'work = "either"\nlimits = "none"', "limits"),
        ('work = "either"', 'work = "either"\n[[line.limits]]\noutput="deviation"\nupper=1\nsource="S"', "limits"),
    ],
)
def test_a_wrong_field_of_a_line_is_named(folder: Path, old: str, new: str, field: str) -> None:
    text = HEAD + LINE
    assert old in text
    problems = refused(folder, text.replace(old, new, 1) if old != 'key = "en-040"' else text.replace(old, new))
    assert field in [name for _, _, name in problems]
    assert {file for file, _, _ in problems} == {"dc_board@1.toml"}


@pytest.mark.parametrize(
    ("old", "new", "field"),
    [
        ('kind = "measured"', 'kind = "guessed"', "inputs.measured.kind"),
        ('label = "Bus"', "", "inputs.measured.label"),
        ('unit = "V"', 'unit = "volts"', "inputs.measured.unit"),
        ('unit = "V"', 'unit = "V"\nvalue = 3', "inputs.measured.value"),
        ('unit = "V"', 'unit = "V"\ncolour = 3', "inputs.measured.colour"),
        ('key = "cells"', 'key = "jars"', "inputs.cells.key"),
        ('of = "battery"', 'of = "cupboard"', "inputs.cells.of"),
        ('of = "battery"', "", "inputs.cells.of"),
        ("[line.inputs.cells]", "[line.inputs.Cells]", "inputs.Cells"),
        ('calculation = "float_voltage"', "", "inputs.cells.kind"),
        ('of = "battery"', 'of = "battery"\n[line.inputs.upper]\nkind = "value"\nvalue = 5', "inputs.upper.source"),
        ('of = "battery"', 'of = "battery"\n[line.inputs.upper]\nkind = "value"\nvalue = nan', "inputs.upper.value"),
        (
            'of = "battery"',
            'of = "battery"\n[[line.limits]]\noutput = "deviation"\nupper = 1',
            "limits.deviation.source",
        ),
        (
            'of = "battery"',
            'of = "battery"\n[[line.limits]]\noutput = "deviation"\nsource = "S"',
            "limits.deviation.lower",
        ),
        (
            'of = "battery"',
            'of = "battery"\n[[line.limits]]\noutput = "deviation"\nsource = "S"\nlower = 2\nupper = 1',
            "limits.deviation.lower",
        ),
    ],
)
def test_a_wrong_input_or_limit_is_named(folder: Path, old: str, new: str, field: str) -> None:
    text = LINE + CALCULATED
    assert old in text
    problems = refused(folder, HEAD + text.replace(old, new, 1))
    assert ("dc_board@1.toml", "en-040", field) in problems


@pytest.mark.parametrize(
    ("old", "new", "field"),
    [
        ('key = "dc_board"', 'key = "toaster"', "key"),
        ("issued = 2026-11-25", 'issued = "soon"', "issued"),
        ("issued = 2026-11-25", "issued = 2026-11-25T08:00:00", "issued"),
        ("version = 1", "version = 2", "changes"),
        ("version = 1", "version = 0", "version"),
        ('stages = ["mechanical_completion", ', 'stages = ["energisation", ', "stages"),
        ('sources = ["maker\'s manual"]', "sources = []", "sources"),
        ('title = "A board"', 'title = "A board"\nowner = "me"', "owner"),
    ],
)
def test_a_wrong_head_is_named(folder: Path, old: str, new: str, field: str) -> None:
    assert old in HEAD
    problems = refused(folder, HEAD.replace(old, new, 1) + LINE)
    assert ("dc_board@1.toml", "", field) in problems


def test_all_problems_are_told_at_once_with_file_line_and_field(folder: Path) -> None:
    text = HEAD + LINE.replace('action = "inspect"', 'action = "look"').replace('work = "either"', 'work = "hot"')
    with pytest.raises(ProcedureError) as caught:
        loaded(folder, text)
    assert str(caught.value).splitlines() == [
        "dc_board@1.toml, en-040, action: must be one of inspect, measure, function_test, witness",
        "dc_board@1.toml, en-040, work: must be one of dead, live, either",
    ]


def test_a_file_that_is_no_toml_is_named(folder: Path) -> None:
    assert ("dc_board@1.toml", "", "") in refused(folder, "[procedure")


def test_the_file_is_called_after_key_and_version(folder: Path) -> None:
    assert ("board.toml", "", "version") in refused(folder, HEAD + LINE, "board.toml")


def part(key: str, **changes: str) -> str:
    text = LINE.replace("en-040", key)
    for name, value in changes.items():
        text = "\n".join(f'{name} = "{value}"' if row.startswith(f"{name} =") else row for row in text.splitlines())
    return text + "\n"


def test_included_lines_own_lines_and_overrides_are_put_in_order(folder: Path) -> None:
    (folder / "part_base@1.toml").write_text(
        part("en-010") + part("en-030") + part("mc-050", stage="mechanical_completion")
    )
    text = 'include = ["part_base@1.toml"]\n' + HEAD + part("en-020") + '[[override]]\nkey = "en-030"\ntitle = "Ours"\n'
    procedure = loaded(folder, text)
    assert [line.key for line in procedure.lines] == ["mc-050", "en-010", "en-020", "en-030"]
    assert procedure.line("en-030").title == "Ours"
    assert procedure.line("en-030").how == "Close it."


def test_an_override_reaches_into_one_input(folder: Path) -> None:
    (folder / "part_base@1.toml").write_text(LINE + CALCULATED)
    text = (
        'include = ["part_base@1.toml"]\n'
        + HEAD
        + '[[override]]\nkey = "en-040"\n[override.inputs.measured]\nlabel = "B"\n'
    )
    measured, cells = loaded(folder, text).lines[0].inputs
    assert (measured.label, measured.unit, cells.key) == ("B", "V", "cells")


def test_order_moves_a_line_and_omit_leaves_one_out(folder: Path) -> None:
    (folder / "part_base@1.toml").write_text(part("en-010") + part("en-020") + part("en-030"))
    text = 'include = ["part_base@1.toml"]\nomit = ["en-020"]\n' + HEAD + '[[override]]\nkey = "en-010"\norder = 40\n'
    assert [line.key for line in loaded(folder, text).lines] == ["en-030", "en-010"]


def test_a_later_version_takes_over_the_head_but_not_the_changes(folder: Path) -> None:
    (folder / "dc_board@1.toml").write_text(HEAD + LINE)
    text = 'include = ["dc_board@1.toml"]\n[procedure]\nversion = 2\nchanges = "Because."\n' + part("en-050")
    procedure = loaded(folder, text, "dc_board@2.toml")
    assert (procedure.title, procedure.version, procedure.changes) == ("A board", 2, "Because.")
    assert [line.key for line in procedure.lines] == ["en-040", "en-050"]


@pytest.mark.parametrize(
    ("before", "after", "field"),
    [
        ('include = ["part_none@1.toml"]\n', "", ""),
        ('include = ["../part_base@1.toml"]\n', "", "include"),
        ('include = ["dc_board@1.toml"]\n', "", "include"),
        ('include = "part_base@1.toml"\n', "", "include"),
        ('include = ["part_base@1.toml"]\nomit = ["en-999"]\n', "", "omit"),
        ('include = ["part_base@1.toml"]\n', '[[override]]\nkey = "en-999"\n', "override"),
        ('include = ["part_base@1.toml"]\n', part("en-010"), "key"),
        ('include = ["part_base@1.toml"]\n', part("en-050") + "order = 10\n", "order"),
        ('remarks = "x"\n', "", "remarks"),
    ],
    ids=["missing", "path", "itself", "text", "omit", "override", "twice", "same place", "unknown"],
)
def test_what_cannot_be_put_together_is_refused(folder: Path, before: str, after: str, field: str) -> None:
    (folder / "part_base@1.toml").write_text(part("en-010"))
    assert field in [name for _, _, name in refused(folder, before + HEAD + LINE + after)]


def test_a_fault_in_a_shared_part_is_told_once_and_names_the_part(folder: Path) -> None:
    (folder / "part_base@1.toml").write_text(part("en-010", action="look"))
    (folder / "dc_board@1.toml").write_text('include = ["part_base@1.toml"]\n' + HEAD)
    second = (HEAD + LINE).replace("version = 1", 'version = 2\nchanges = "Because."')
    assert refused(folder, 'include = ["part_base@1.toml"]\n' + second, "dc_board@2.toml") == [
        ("part_base@1.toml", "en-010", "action")
    ]


WHOLE = (
    'include = ["part_base@1.toml"]\nomit = ["en-020"]\n'
    + HEAD
    + LINE
    + CALCULATED
    + '[[line.limits]]\noutput = "deviation"\nupper = 1\nsource = "S"\n'
    + '[[override]]\nkey = "en-010"\norder = 12\n[override.inputs.measured]\nlabel = "B"\n'
)


@pytest.mark.parametrize(
    "junk", ['""', "5", "-1", "nan", "true", "[]", "[1]", "{}", '{a = "b"}', "2026-11-25", '"zzz"']
)
def test_junk_anywhere_is_refused_in_words_and_never_breaks_the_reader(folder: Path, junk: str) -> None:
    (folder / "part_base@1.toml").write_text(part("en-010") + CALCULATED + part("en-020"))
    refusals: list[ProcedureError] = []
    for row in range(len(WHOLE.splitlines())):
        rows = WHOLE.splitlines()
        name, equals, _ = rows[row].partition(" = ")
        rows[row] = f"{name} = {junk}" if equals else f"{rows[row]}\n{rows[row]}"
        (folder / "dc_board@1.toml").write_text("\n".join(rows))
        try:
            read_folder(folder)
        except ProcedureError as error:
            refusals.append(error)
    assert len(refusals) > 10
    assert all(problem.words and problem.file for error in refusals for problem in error.problems)


def test_the_undamaged_file_of_the_junk_test_is_good(folder: Path) -> None:
    (folder / "part_base@1.toml").write_text(part("en-010") + CALCULATED + part("en-020"))
    assert len(loaded(folder, WHOLE).lines) == 2


def test_load_gives_the_newest_version_or_the_one_asked_for() -> None:
    assert load("dc_power_vrla").version == 2
    assert load("dc_power_vrla", 1).version == 1
    assert load("ups") is load("ups", 1)


@pytest.mark.parametrize(("key", "version"), [("toaster", None), ("ups", 99)])
def test_load_says_what_there_is_instead(key: str, version: int | None) -> None:
    with pytest.raises(LookupError) as caught:
        load(key, version)
    assert ("dc_board, dc_power_nicd" if version is None else "there are 1") in str(caught.value)


def test_bundled_is_sorted_and_read_once() -> None:
    order = [(procedure.key, procedure.version) for procedure in bundled()]
    assert order == sorted(order)
    assert bundled() is bundled()


def test_nameplate_keys_have_units_words_and_a_range_or_choices() -> None:
    for name, key in NAMEPLATE_KEYS.items():
        assert key.words, name
        assert key.choices or (key.lower is not None and key.upper is not None and key.lower < key.upper), name


def test_the_loader_needs_no_framework() -> None:
    program = (
        "import sys; from commissioning.procedures.loader import bundled; bundled(); "
        "sys.exit(any(name.split('.')[0] == 'django' for name in sys.modules))"
    )
    assert subprocess.run([sys.executable, "-c", program], check=False).returncode == 0
