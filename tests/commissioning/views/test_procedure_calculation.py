"""The page on which a manager says what a line calculates, and the buttons that move a line."""

from __future__ import annotations

import re
from html import unescape

import pytest
from django.http import HttpResponse

from commissioning.models import Procedure, ProcedureLine
from commissioning.services.procedures import copy_procedure
from tests.commissioning.views.reading import address, links, main_words, signed_in
from tests.support.world import World

pytestmark = pytest.mark.django_db


@pytest.fixture
def copy(small_world: World) -> Procedure:
    return copy_procedure(actor=small_world.manager, project=small_world.project, key="dc_power_vrla")


def url(world: World, line: ProcedureLine, *parts: str) -> str:
    return address(world.project.code, "procedure-lines", line.pk, *parts)


def as_it_stands(answer: HttpResponse) -> dict[str, str]:
    """What a browser would send of the page's own form, with nothing touched."""
    text = answer.content.decode()
    form = text[text.index('<form class="form wide"') :]
    sent = {}
    for tag in re.findall(r"<input[^>]+>", form):
        found = dict(re.findall(r'(\w+)="([^"]*)"', tag))
        if found.get("type") != "checkbox" or " checked" in tag:
            sent[found["name"]] = unescape(found.get("value", ""))
    for name, inner in re.findall(r'<select name="([^"]+)".*?>(.*?)</select>', form, re.S):
        chosen = re.search(r'<option value="([^"]*)" selected', inner)
        sent[name] = unescape(chosen.group(1)) if chosen else ""
    return sent


def test_a_page_sent_back_untouched_changes_nothing(small_world: World, copy: Procedure) -> None:
    browser = signed_in(small_world.manager)
    for line in copy.lines.exclude(calculation=""):
        page = browser.get(url(small_world, line, "calculation"))
        answer = browser.post(url(small_world, line, "calculation"), as_it_stands(page))
        assert answer.status_code == 302, f"{line.key}: {main_words(answer)}"
    copy.refresh_from_db()
    assert copy.revision == 1


def test_a_line_is_given_a_calculation(small_world: World, copy: Procedure) -> None:
    line = copy.lines.filter(calculation="", inputs={}).first()
    browser = signed_in(small_world.manager)
    path = url(small_world, line, "calculation")
    assert path in links(browser.get(url(small_world, line)))
    page = browser.get(path, {"calculation": "ac_supply_tolerance"})
    sent = as_it_stands(page) | {
        "inputs.measured.unit": "V",
        "inputs.nominal.kind": "value",
        "inputs.nominal.value": "0,4",
        "inputs.nominal.unit": "kΩ",
        "inputs.nominal.source": "drawing E-7 <rev. B>",
        "inputs.nominal.key": "cells",
    }
    refused = browser.post(path, sent)
    assert refused.status_code == 422
    text = refused.content.decode()
    field = text[text.index('for="id_inputs.nominal.unit"') : text.index('name="inputs.nominal.unit"')]
    assert "kΩ is no unit for this" in field
    assert "drawing E-7 &lt;rev. B&gt;" in text
    assert browser.post(path, {**sent, "inputs.nominal.unit": "", "inputs.nominal.value": "400"}).status_code == 302
    line.refresh_from_db()
    assert line.calculation == "ac_supply_tolerance"
    assert line.inputs["nominal"] == {"kind": "value", "value": 400, "source": "drawing E-7 <rev. B>"}
    assert line.inputs["measured"]["kind"] == "measured"
    assert "tolerance" not in line.inputs


def test_a_calculation_is_taken_away_with_its_inputs_and_limits(small_world: World, copy: Procedure) -> None:
    line = copy.lines.exclude(limits=[]).first()
    browser = signed_in(small_world.manager)
    path = url(small_world, line, "calculation")
    assert "The limits that the project set" in main_words(browser.get(path, {"calculation": ""}))
    assert browser.post(path, {"calculation": ""}).status_code == 302
    line.refresh_from_db()
    assert (line.calculation, line.inputs, line.limits) == ("", {}, [])


def test_an_input_that_is_needed_says_so_beside_its_field(small_world: World, copy: Procedure) -> None:
    line = copy.lines.filter(calculation="").first()
    answer = signed_in(small_world.manager).post(
        url(small_world, line, "calculation"), {"calculation": "ac_supply_tolerance"}
    )
    assert answer.status_code == 422
    assert main_words(answer).count("Say where it comes from.") >= 2
    unknown = signed_in(small_world.manager).post(url(small_world, line, "calculation"), {"calculation": "<tea>"})
    assert unknown.status_code == 422
    assert "There is no calculation &#x27;&lt;tea&gt;&#x27;" in unknown.content.decode()


def test_a_line_is_moved_up_down_and_behind_another(small_world: World, copy: Procedure) -> None:
    def keys() -> list[str]:
        return list(copy.lines.filter(stage_kind="energisation").order_by("order").values_list("key", flat=True))

    first, second, third, *rest = keys()
    line = copy.lines.get(key=second)
    browser, path = signed_in(small_world.manager), url(small_world, line, "place")
    for sent, expected in (
        ({"step": "down"}, [first, third, second]),
        ({"step": "up"}, [first, second, third]),
        ({"step": "up"}, [second, first, third]),
        ({"step": "up"}, [second, first, third]),
        ({"after": third}, [first, third, second]),
        ({"after": ""}, [second, first, third]),
    ):
        answer = browser.post(path, sent, follow=True)
        assert keys() == [*expected, *rest]
        assert f"Its place: {expected.index(second) + 1} of {len(rest) + 3}" in main_words(answer)
    browser.post(path, {"after": rest[-1]})
    browser.post(path, {"step": "down"})
    assert keys() == [first, third, *rest, second]
    assert browser.post(path, {"after": "mc-010"}).status_code == 400
    assert signed_in(small_world.engineer).post(path, {"step": "up"}).status_code == 403


def test_others_read_why_there_is_nothing_to_change(small_world: World, copy: Procedure) -> None:
    line = copy.lines.exclude(calculation="").first()
    path = url(small_world, line, "calculation")
    for person in (small_world.engineer, small_world.client):
        browser = signed_in(person)
        assert "A manager edits the project's procedures." in main_words(browser.get(path))
        assert browser.post(path, {"calculation": ""}).status_code == 422
    assert signed_in(small_world.stranger).get(path).status_code == 404
