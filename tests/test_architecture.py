"""The shape of the house: what stands at the top, how long a file may get, what a template may hold."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
ROOMS = ("commissioning", "punchlist", "calcs", "deploy", "templates", "tests")
TOP_LEVEL = {"README.md", "DEVELOPERS.md", "manage.py", "pyproject.toml", *ROOMS}
#: Made by tools beside the sources, and kept out of the repository.
MADE = re.compile(r"^\.|__pycache__$|\.egg-info$")

LONGEST = 350
#: A test file is a list that is read entry by entry.
LONGEST_TEST = 400
#: Files that are longer, each with the reason why it stays one file.
LONGER = {
    "commissioning/rules/gate.py": "the gate's rules are read side by side: one short function each, nothing else",
    "tests/commissioning/dossier/sample.py": "one whole dossier's content, as data in printed order",
}

INLINE = {
    "a style attribute": re.compile(r"<[^>]*\sstyle\s*=", re.I),
    "a style element": re.compile(r"<style\b", re.I),
    "a script without a file": re.compile(r"<script\b(?![^>]*\ssrc\s*=)", re.I),
    "an event handler": re.compile(r"<[^>]*\s(?:on[a-z]+|hx-on[:a-z-]*)\s*=", re.I),
    "a script address": re.compile(r"""=\s*["']?\s*javascript:""", re.I),
    "a script as a value": re.compile(r"""\shx-(?:vals|headers|vars)\s*=\s*["']\s*js:""", re.I),
    "something from another host": re.compile(
        r"""<(?:script|link|img|iframe)\b[^>]*\s(?:src|href)\s*=\s*["']?(?:https?:)?//""", re.I
    ),
}


def sources(*endings: str) -> Iterator[Path]:
    for room in ROOMS:
        for path in (ROOT / room).rglob("*"):
            if path.suffix in endings and "migrations" not in path.parts:
                yield path


def inline_parts(html: str) -> list[str]:
    """What a content security policy would refuse in a page, by name."""
    plain = re.sub(r"{#.*?#}|{% comment .*?%}.*?{% endcomment %}", "", html, flags=re.S)
    return [name for name, pattern in INLINE.items() if pattern.search(plain)]


def test_the_top_level_holds_what_it_should_and_nothing_else():
    found = {path.name for path in ROOT.iterdir() if not MADE.search(path.name)}
    assert found - TOP_LEVEL == set()


def test_no_file_is_longer_than_one_room():
    long = {
        str(path.relative_to(ROOT)): lines
        for path in sources(".py", ".js", ".css", ".html")
        if (lines := len(path.read_text().splitlines())) > (LONGEST_TEST if "tests" in path.parts else LONGEST)
    }
    assert {name: lines for name, lines in long.items() if name not in LONGER} == {}
    assert set(LONGER) <= set(long), "an exception that is not needed any more"


def test_templates_hold_no_inline_style_or_script():
    found = {
        str(path.relative_to(ROOT)): parts for path in sources(".html") if (parts := inline_parts(path.read_text()))
    }
    assert found == {}


@pytest.mark.parametrize(
    ("html", "found"),
    [
        ('<p style="color: red">', ["a style attribute"]),
        ("<style>p {}</style>", ["a style element"]),
        ("<script>go()</script>", ["a script without a file"]),
        ('<button type="button" onclick="go()">', ["an event handler"]),
        ('<button hx-on:click="go()">', ["an event handler"]),
        ("<a href='javascript:go()'>", ["a script address"]),
        ("<p hx-vals='js:{a: 1}'>", ["a script as a value"]),
        ('<img src="https://elsewhere.example/x.png">', ["something from another host"]),
        ('<script type="module" src="{% static "x.js" %}"></script>', []),
        ('<p class="style" data-on="1">on = 1; style = plain</p>', []),
    ],
)
def test_what_counts_as_inline(html, found):
    assert inline_parts(html) == found


def test_every_bundled_room_is_a_package():
    """A folder without __init__.py would be left out of the installed product."""
    bare = {
        str(path.parent.relative_to(ROOT))
        for path in sources(".py")
        if path.parts[len(ROOT.parts)] != "tests" and not (path.parent / "__init__.py").exists()
    }
    assert bare == set()


def test_every_state_change_counts_and_says_what_it_did_at_its_end():
    """A service function that opens a plain transaction would leave the counters behind: `state_change` is the door."""
    plain = [
        str(path.relative_to(ROOT))
        for path in sources(".py")
        if "services" in path.parts and "@transaction.atomic" in path.read_text()
    ]
    assert plain == []
