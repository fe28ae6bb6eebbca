"""README.md and DEVELOPERS.md agree with what is there: commands, files, names, the table of calculations, pictures."""

from __future__ import annotations

import importlib
import re
import shlex
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.conf import settings
from django.core.management import get_commands, load_command_class

from calcs import names
from calcs.__main__ import main as calcs_main
from tests.support.examples import EXAMPLES

ROOT = Path(__file__).resolve().parent.parent
DOCUMENTS = ("README.md", "DEVELOPERS.md")
#: A path in a document is read from the top, or from the room that its row speaks of.
ROOMS = tuple(ROOT / room for room in (".", "commissioning", "templates", "tests", "tests/calcs"))
ENDINGS = (".py", ".toml", ".json", ".html", ".md", ".css")
#: Largest picture that a reader of the README should have to wait for.
PICTURE_BYTES = 200_000


def text_of(document: str) -> str:
    return (ROOT / document).read_text(encoding="utf-8")


def commands() -> Iterator[str]:
    """Each command of the documents' shell blocks, without its comment."""
    for document in DOCUMENTS:
        for block in re.findall(r"```sh\n(.*?)```", text_of(document), re.S):
            for line in block.splitlines():
                yield from (one.strip() for one in line.split("  #")[0].split("&&") if one.strip())


def quoted(document: str) -> list[str]:
    """What stands between backticks, outside blocks."""
    return re.findall(r"`([^`\n]+)`", re.sub(r"```.*?```", "", text_of(document), flags=re.S))


def management_commands() -> list[list[str]]:
    """Words after `manage.py`, in blocks and in running text; square brackets mark what may be left out."""
    told = [*commands(), *(words for document in DOCUMENTS for words in quoted(document))]
    found = [re.sub(r"[\[\]]", "", one).partition("manage.py ")[2].split() for one in told if "manage.py " in one]
    return [words for words in found if words]


def test_every_management_command_is_there_and_takes_what_the_documents_give_it() -> None:
    found = management_commands()
    assert {"demo", "register_import", "register_export"} <= {words[0] for words in found}
    for name, *given in found:
        assert name in get_commands(), name
        parser = load_command_class(get_commands()[name], name).create_parser("manage.py", name)
        known = {option for action in parser._actions for option in action.option_strings}
        assert {word for word in given if word.startswith("--")} <= known, name


def test_options_of_the_demo_that_the_readme_speaks_of_are_there() -> None:
    parser = load_command_class(get_commands()["demo"], "demo").create_parser("manage.py", "demo")
    known = {option for action in parser._actions for option in action.option_strings}
    told = {word.split()[0] for word in quoted("README.md") if word.startswith("--")}
    assert told == {"--fresh", "--port"}
    assert told <= known


@pytest.mark.parametrize("command", [one for one in commands() if "-m calcs" in one])
def test_every_calculation_of_the_documents_runs(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    words = shlex.split(command.partition("-m calcs")[2])
    assert calcs_main(words) == 0
    assert capsys.readouterr().out.strip()


def test_the_documents_do_show_calculations() -> None:
    assert sum("-m calcs run" in one for one in commands()) >= 2


def test_paths_in_the_shell_blocks_are_there() -> None:
    for command in commands():
        for word in shlex.split(command):
            if re.fullmatch(r"(tests|\.ci|deploy|calcs)(/[\w.-]+)+", word):
                assert (ROOT / word).exists(), command


def paths(document: str) -> list[str]:
    """What looks like a file or a folder of ours: no address, no pattern with a blank to fill in."""
    return [
        one
        for one in quoted(document)
        if (one.endswith(ENDINGS) or re.fullmatch(r"[\w.*-]+(/[\w.*-]*)+", one))
        and not re.search(r"[\s<>…@=]", one)
        and not one.startswith("/")
    ]


@pytest.mark.parametrize("document", DOCUMENTS)
def test_every_file_and_folder_that_is_named_is_there(document: str) -> None:
    missing = [one for one in paths(document) if not any(list(room.glob(one.rstrip("/"))) for room in ROOMS)]
    # A bare file name stands beside the folder that its row names.
    missing = [one for one in missing if "/" in one or not any(list(room.rglob(one)) for room in ROOMS[1:])]
    assert missing == [], " ".join(missing)


def test_the_map_names_files_at_all() -> None:
    assert len(paths("DEVELOPERS.md")) > 40


def test_every_top_level_room_is_on_the_map() -> None:
    top = text_of("DEVELOPERS.md")
    for room in ("calcs", "commissioning", "punchlist", "templates", "deploy", "tests"):
        assert re.search(rf"`{room}/", top), room


def test_every_folder_of_the_rooms_is_on_the_map() -> None:
    inner = [one.name for one in (ROOT / "commissioning").iterdir() if (one / "__init__.py").exists()]
    told = " ".join(quoted("DEVELOPERS.md"))
    assert [one for one in inner if one not in ("migrations", "management", "templatetags") and one not in told] == []


def dotted(document: str) -> list[str]:
    """Names of ours as code writes them: module.function, with or without its brackets."""
    found = [re.sub(r"\(.*\)$", "", one) for one in quoted(document)]
    rooms = "services|selectors|rules|views|api|models|dossier|drawings|procedures|calcs|commissioning|punchlist"
    return [one for one in found if re.fullmatch(rf"(?:{rooms})(?:\.[a-z_]\w*)+", one) and not one.endswith(".toml")]


@pytest.mark.parametrize("name", sorted({name for document in DOCUMENTS for name in dotted(document)}))
def test_every_function_that_is_named_is_there(name: str) -> None:
    whole = name if name.split(".")[0] in ("calcs", "commissioning", "punchlist") else f"commissioning.{name}"
    module, _, last = whole.rpartition(".")
    found = importlib.import_module(module)
    assert hasattr(found, last) or importlib.util.find_spec(whole), name


def test_every_setting_that_is_named_is_there() -> None:
    told = {one for document in DOCUMENTS for one in quoted(document) if re.fullmatch(r"[A-Z]+(_[A-Z]+)+", one)}
    ours = {one for one in told if not one.startswith("TRACKER_") and one not in ("DATABASE_URL", "REDIS_URL")}
    assert {"GATE_FACT_SOURCES", "DOSSIER_SECTIONS", "REGISTER_SHEETS", "JOB_RUNNERS", "RECORD_URLS"} <= ours
    assert [one for one in ours if not hasattr(settings, one)] == []


def catalogue_rows() -> list[list[str]]:
    """The table of calculations: its cells, row by row."""
    chapter = text_of("DEVELOPERS.md").partition("## Checks and their sources")[2].partition("\n## ")[0]
    lines = [line for line in chapter.splitlines() if line.startswith("| `")]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines]


def test_the_fixed_catalogue_stands_in_the_table_with_its_tests_and_nothing_that_is_not_there() -> None:
    told = [name for row in catalogue_rows() for name in re.findall(r"`(\w+)`", row[0])]
    assert sorted(told) == sorted(set(told))
    assert set(EXAMPLES) <= set(told) <= set(names())


def test_each_row_of_the_table_names_tests_that_speak_of_its_calculations() -> None:
    for cells in catalogue_rows():
        files = [ROOT / "tests" / "calcs" / name for name in re.findall(r"`([\w.]+\.py)`", cells[1])]
        assert files, cells
        said = "".join(file.read_text(encoding="utf-8") for file in files)
        assert [name for name in re.findall(r"`(\w+)`", cells[0]) if name not in said] == []
        assert cells[2], "the independent reference is named"


@pytest.mark.parametrize("document", DOCUMENTS)
def test_every_link_and_picture_is_there(document: str) -> None:
    for target in re.findall(r"\]\(([^)#]+)", text_of(document)):
        if not target.startswith("http"):
            assert (ROOT / target).exists(), target


def test_the_readme_shows_three_pictures_that_load_quickly() -> None:
    pictures = re.findall(r"!\[[^\]]+\]\(([^)]+\.png)\)", text_of("README.md"))
    assert len(pictures) == 3
    for picture in pictures:
        data = (ROOT / picture).read_bytes()
        assert data.startswith(b"\x89PNG")
        assert len(data) < PICTURE_BYTES, picture


def test_the_extra_and_the_python_of_the_readme_are_those_of_the_project() -> None:
    project = tomllib.loads(text_of("pyproject.toml"))["project"]
    (floor,) = re.findall(r"Python (3\.\d+) or newer", text_of("README.md"))
    assert project["requires-python"] == f">={floor}"
    told = {extra for extra in re.findall(r"-e '\.\[(\w+)\]'", text_of("README.md"))}
    assert told == {"test"}
    assert told <= set(project["optional-dependencies"])
