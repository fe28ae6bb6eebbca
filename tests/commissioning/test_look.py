"""The visual language holds together: contrast, one mark for each state word, nothing inline, what was typed stays."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from django import forms
from django.template.loader import render_to_string

ROOT = Path(__file__).resolve().parents[2]
CSS = ROOT / "commissioning" / "static" / "commissioning" / "css"
TEMPLATES = ROOT / "templates"
STATES = [
    *("open", "rectified", "closed", "sent back", "passed", "failed", "not applicable"),
    *("accepted", "started", "not started", "withdrawn", "accept", "accept within guard band"),
    "cannot say",
    *("reject within guard band", "reject", "LIVE", "recorded isolated", "not recorded"),
    *("waiting", "running", "done", "cancelled"),
    *("unexplained", "explained", "expected", "genuine"),
    *("not forced", "forced", "seen", "proved"),
    *("complete", "interim", "superseded", "unchanged", "changed", "not ours"),
]


def _variables(text: str) -> dict[str, str]:
    return dict(re.findall(r"--([\w-]+):\s*(#[0-9a-f]{6});", text))


def _schemes(*, run: bool) -> list[dict[str, str]]:
    """The light and the dark colours, with the procedure run's own on top where asked for."""
    schemes = [_halves(CSS / "tokens.css")]
    if run:
        schemes.append(_halves(CSS / "run.css"))
    light = {name: value for scheme in schemes for name, value in scheme[0].items()}
    dark = light | {name: value for scheme in schemes for name, value in scheme[1].items()}
    return [light, dark]


def _halves(sheet: Path) -> tuple[dict[str, str], dict[str, str]]:
    light, dark = sheet.read_text().split("@media (prefers-color-scheme: dark)")
    return _variables(light), _variables(dark)


def _luminance(colour: str) -> float:
    # published: WCAG 2.2, definition of relative luminance
    channels = [int(colour[start : start + 2], 16) / 255 for start in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _contrast(one: str, other: str) -> float:
    darker, lighter = sorted((_luminance(one), _luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)


TEXT_PAIRS = [
    ("ink", "ground"),
    ("ink", "panel"),
    ("quiet", "ground"),
    ("quiet", "panel"),
    ("accent", "ground"),
    ("accent", "panel"),
    ("accent", "accent-wash"),
    ("on-accent", "accent-ground"),
    ("red-word", "ground"),
    ("on-live", "live-ground"),
    ("ink", "yellow-wash"),
    ("ink", "red-wash"),
]


def test_the_contrast_formula_agrees_with_published_values() -> None:
    assert _contrast("#000000", "#ffffff") == pytest.approx(21.0)  # published: WCAG 2.2, the range is 1 to 21
    assert _contrast("#767676", "#ffffff") == pytest.approx(
        4.54, abs=0.005
    )  # published: the lightest grey that passes AA


@pytest.mark.parametrize(("text", "behind"), TEXT_PAIRS)
def test_words_stand_out_on_every_page_in_light_and_dark(text: str, behind: str) -> None:
    for scheme in _schemes(run=False):
        assert _contrast(scheme[text], scheme[behind]) >= 4.5  # published: WCAG 2.2, 1.4.3 (AA)


@pytest.mark.parametrize(("text", "behind"), TEXT_PAIRS)
def test_words_stand_out_more_on_the_procedure_run(text: str, behind: str) -> None:
    for scheme in _schemes(run=True):
        assert _contrast(scheme[text], scheme[behind]) >= 7.0  # published: WCAG 2.2, 1.4.6 (AAA)


@pytest.mark.parametrize("mark", ["red", "yellow-edge", "green", "blue", "grey", "edge"])
def test_shapes_and_field_borders_stand_out(mark: str) -> None:
    for scheme in _schemes(run=False):
        assert _contrast(scheme[mark], scheme["ground"]) >= 3.0  # published: WCAG 2.2, 1.4.11


@pytest.mark.parametrize("state", STATES)
def test_every_state_has_word_shape_and_colour(state: str) -> None:
    html = render_to_string("components/state_mark.html", {"state": state.lower().replace(" ", "_")})
    name = state.lower().replace(" ", "-")
    assert re.sub(r"<[^>]+>", "", html).strip() == state
    assert f'href="#mark-{name}"' in html
    assert f'id="mark-{name}"' in (TEMPLATES / "components" / "shapes.html").read_text()
    legend, rules = (CSS / "states.css").read_text().split("*/", 1)
    assert re.search(rf"\bs-{name}\b", legend)
    assert re.search(rf"\.s-{name}\b", rules)


@pytest.mark.parametrize(
    "template", sorted(TEMPLATES.rglob("*.html")), ids=lambda path: str(path.relative_to(TEMPLATES))
)
def test_templates_hold_nothing_that_the_content_security_policy_refuses(template: Path) -> None:
    text = re.sub(r"{% comment %}.*?{% endcomment %}", "", template.read_text(), flags=re.DOTALL)
    assert not re.search(r"<style|\sstyle=|\son[a-z]+=|javascript:|hx-on", text)
    assert not re.search(r"<script(?![^>]*\ssrc=)", text)


@pytest.mark.parametrize(
    ("energy", "battery", "words"),
    [
        ("live", "closed", ["LIVE"]),
        ("isolated", "open", ["recorded isolated - prove dead at the point of work", "its terminals stay live"]),
        ("", "unknown", ["not recorded - treat as LIVE", "its terminals stay live"]),
        ("something else", "", ["not recorded - treat as LIVE"]),
    ],
)
def test_the_energy_banner_never_says_that_anything_is_dead(energy: str, battery: str, words: list[str]) -> None:
    html = render_to_string("components/energy_banner.html", {"energy": energy, "battery": battery})
    assert all(word in html for word in words)
    assert not re.search(r"\b(is|are|now) dead\b|de-energised|\bsafe\b", html)


class _ReadingForm(forms.Form):
    measured = forms.DecimalField(widget=forms.TextInput(attrs={"inputmode": "decimal"}), help_text="held one minute")


def test_a_wrong_value_stays_typed_with_its_error_beside_it() -> None:
    form = _ReadingForm({"measured": "nought point five"})
    html = render_to_string("components/field.html", {"field": form["measured"], "unit": "MΩ"})
    assert 'value="nought point five"' in html
    assert 'aria-describedby="id_measured_helptext id_measured_error"' in html
    assert 'id="id_measured_error"' in html
    assert "MΩ" in html


def test_the_browsers_tab_has_a_mark_of_our_own_that_is_seen_on_light_and_dark():
    from xml.etree import ElementTree

    from django.contrib.staticfiles import finders

    named = re.search(
        r'rel="icon" type="image/svg\+xml" href="{% static "([^"]+)" %}"', (TEMPLATES / "base.html").read_text()
    )
    drawing = ElementTree.parse(finders.find(named[1])).getroot()
    assert {child.tag.rpartition("}")[2] for child in drawing} == {"title", "circle", "rect"}
    colours = {child.get(part) for child in drawing for part in ("fill", "stroke")} - {None, "none"}
    # published: WCAG 2.2, 1.4.11: a graphical object stands 3:1 from what is next to it
    for ground in ("#ffffff", "#1c1c1f"):
        assert all(_contrast(colour, ground) >= 3 for colour in colours)
