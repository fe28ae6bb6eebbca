"""The catalogue: every calculation has its page, its drawing, its sources; results are tried and kept against a tag."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree

import pytest

import calcs
from commissioning.drawings import to_svg
from commissioning.drawings.measured import SCENES, measured_where
from commissioning.models import Reading
from commissioning.views.calculations import authority, by_subject
from tests.commissioning.views.plant import add_equipment
from tests.commissioning.views.reading import address, links, main_words, signed_in
from tests.commissioning.views.run_plant import key, meter
from tests.support.examples import EXAMPLES
from tests.support.world import World

pytestmark = pytest.mark.django_db

ROOT = Path(__file__).resolve().parents[3]
# published: two manuals, two definitions: 14.688 V and 14.112 V are 2.000 % of the total and 4.000 % of the mean
MIDPOINT = {"upper": "14.688", "lower": "14.112"}


def url(world: World, *parts: object) -> str:
    return address(world.project.code, "calculations", *parts)


def test_every_calculation_stands_in_the_catalogue_once(small_world: World) -> None:
    listed = [row.name for _, rows in by_subject() for row in rows]
    assert sorted(listed) == sorted(calcs.names())
    others = {row.name for subject, rows in by_subject() if subject == "Others" for row in rows}
    assert others & set(EXAMPLES) == set()
    found = links(signed_in(small_world.client).get(url(small_world)))
    assert {url(small_world, name) for name in calcs.names()} <= set(found)


def test_the_catalogue_is_searched(small_world: World) -> None:
    words = main_words(signed_in(small_world.client).get(url(small_world), {"q": "insulation pole"}))
    assert "pole_insulation" in words
    assert "ripple" not in words


@pytest.mark.parametrize("name", calcs.names())
def test_each_page_opens_with_its_cautions_before_the_form(small_world: World, name: str) -> None:
    definition = calcs.get(name)
    page = signed_in(small_world.client).get(url(small_world, name)).content.decode()
    form = page.index('id="calculate"')
    for text in definition.attention:
        from django.utils.html import escape

        assert 0 < page.index(escape(text)) < form
    assert "<math" in page
    assert '<svg class="drawing"' in page


def test_the_fixed_catalogue_is_drawn_and_nothing_is_drawn_that_is_not_there() -> None:
    assert set(EXAMPLES) <= set(SCENES) <= set(calcs.names())


@pytest.mark.parametrize("name", sorted(SCENES))
def test_a_drawing_is_well_formed_keeps_inside_its_frame_and_says_what_it_shows(name: str) -> None:
    drawing = measured_where(name)
    assert drawing is not None
    tree = ElementTree.fromstring(to_svg(drawing, identity="one"))
    assert tree.find("{http://www.w3.org/2000/svg}desc").text == drawing.description  # type: ignore[union-attr]
    assert len(drawing.description) > 20
    for text in tree.iter("{http://www.w3.org/2000/svg}text"):
        width = 0.56 * float(text.get("font-size")) * len(text.text or "")  # typical: the mean width of a sans face
        left = float(text.get("x")) - {"start": 0.0, "middle": width / 2, "end": width}[text.get("text-anchor")]
        assert left > -4, text.text
        assert left + width < drawing.width + 12, text.text


def test_strangers_and_unknown_names_find_nothing(small_world: World) -> None:
    for path in (url(small_world), url(small_world, "table"), url(small_world, "ripple")):
        assert signed_in(small_world.stranger).get(path).status_code == 404
        for person in ("manager", "engineer", "client"):
            assert signed_in(getattr(small_world, person)).get(path).status_code == 200
    assert signed_in(small_world.stranger).post(url(small_world, "ripple", "try")).status_code == 404
    assert signed_in(small_world.engineer).get(url(small_world, "no_such_thing")).status_code == 404


def test_a_result_shows_while_typing_and_without_script(small_world: World) -> None:
    browser = signed_in(small_world.client)
    for path in (url(small_world, "midpoint_deviation", "try"), url(small_world, "midpoint_deviation")):
        page = browser.post(path, MIDPOINT).content.decode()
        assert "<b>2</b>" in page
        assert "<b>4</b>" in page
        assert "Not kept yet." in page
    assert not Reading.objects.exists()


def test_what_cannot_be_right_stays_typed(small_world: World) -> None:
    browser = signed_in(small_world.engineer)
    sent = {"upper": "14.7 kg", "lower": "<b>14</b>", "tag": "T<1>", "remark": "cold"}
    answer = browser.post(url(small_world, "midpoint_deviation"), sent)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert 'value="14.7 kg"' in page
    assert "<b>14</b>" not in page
    assert "&lt;b&gt;14&lt;/b&gt;" in page
    assert "T&lt;1&gt;" in page
    assert "cold" in page


def test_a_result_is_kept_against_a_tag(small_world: World) -> None:
    add_equipment(small_world.system, "GUB10-B1", kind="battery")
    chosen = meter(small_world)
    browser = signed_in(small_world.engineer)
    sent = {**MIDPOINT, "with_0": str(chosen.pk), "attach": "1", "client_uuid": key()}
    nowhere = browser.post(url(small_world, "midpoint_deviation"), {**sent, "tag": "NO-SUCH"})
    assert nowhere.status_code == 422
    assert 'value="14.688"' in nowhere.content.decode()
    assert not Reading.objects.exists()
    for _ in range(2):
        answer = browser.post(url(small_world, "midpoint_deviation"), {**sent, "tag": "GUB10-B1"})
        assert answer.status_code == 302
    reading = Reading.objects.get()
    assert reading.result["outputs"]["of_total"]["value"] == pytest.approx(2.0)
    assert list(reading.instruments.all()) == [chosen]
    assert "midpoint_deviation" in main_words(browser.get(answer["Location"]))


def test_the_client_keeps_nothing(small_world: World) -> None:
    add_equipment(small_world.system, "GUB10-B1", kind="battery")
    browser = signed_in(small_world.client)
    assert 'name="attach"' not in browser.get(url(small_world, "midpoint_deviation")).content.decode()
    sent = {**MIDPOINT, "tag": "GUB10-B1", "attach": "1"}
    assert browser.post(url(small_world, "midpoint_deviation"), sent).status_code == 422
    assert not Reading.objects.exists()


def test_the_table_names_sources_with_their_kind_and_the_tests_that_hold_each(small_world: World) -> None:
    page = signed_in(small_world.client).get(url(small_world, "table"))
    words = main_words(page)
    assert "(memory: typical value, verify)" in words
    assert "(published)" in words
    for name in calcs.names():
        definition, row = calcs.get(name), authority(calcs.get(name))
        assert definition.title in words
        tests = ROOT / row["tests"]
        assert tests.exists(), name
        assert name in tests.read_text(), f"{row['tests']} does not speak of {name}"
        assert len(row["sources"]) == len(definition.sources)
