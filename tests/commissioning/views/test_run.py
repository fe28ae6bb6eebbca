"""The procedure run: one line, one answer, and what stands in the way said in words."""

from __future__ import annotations

import pytest
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils.html import escape

from commissioning.models import CheckLine, CheckResult, Reading
from commissioning.services.lines import record_result
from commissioning.services.readings import record_reading
from tests.commissioning.views.plant import add_lines
from tests.commissioning.views.reading import address, links, main_words, signed_in
from tests.commissioning.views.run_plant import key, line_on, meter, started, supply_line
from tests.support.world import World

pytestmark = pytest.mark.django_db


def url(world: World, line: CheckLine, *parts: str) -> str:
    return address(world.project.code, "lines", line.pk, *parts)


def run_url(world: World) -> str:
    return address(world.project.code, "systems", world.system.pk, "run")


@pytest.fixture
def browser(small_world: World) -> Client:
    return signed_in(small_world.engineer)


# --- the list ---------------------------------------------------------------------------------------------------------


def test_the_next_open_line_comes_first(small_world: World, browser: Client) -> None:
    stage = started(small_world)
    lines = add_lines(stage, 3, done=1, by=small_world.engineer)
    answer = browser.get(run_url(small_world))
    assert "1 of 3 lines done. Next: 2. Terminals tight, row 2" in main_words(answer)
    assert links(answer).index(url(small_world, lines[1])) < links(answer).index(url(small_world, lines[0]))


def test_a_stage_is_shown_when_it_is_asked_for(small_world: World, browser: Client) -> None:
    started(small_world)
    later = small_world.stage("energisation")
    line_on(later, title="Later work")
    for asked in (later.pk, "energisation"):
        assert "Later work" in main_words(browser.get(run_url(small_world), {"stage": asked}))
    assert browser.get(run_url(small_world), {"stage": "nonsense"}).status_code == 404


def test_the_list_takes_as_many_queries_for_sixty_lines_as_for_ten(
    small_world: World, browser: Client, django_assert_num_queries: object
) -> None:
    from django.db import connection

    stage = started(small_world)
    counts = []
    for more in (10, 50):
        first = stage.lines.count()
        for place in range(first, first + more):
            line = line_on(stage, key=f"n-{place}", order=place)
            if place % 2:
                record_result(actor=small_world.engineer, line=line, outcome="passed")
        with CaptureQueriesContext(
            connection,
        ) as queries:
            assert browser.get(run_url(small_world)).status_code == 200
        counts.append(len(queries))
    assert counts[0] == counts[1]
    assert counts[0] <= 40


# --- a reading --------------------------------------------------------------------------------------------------------


def test_a_reading_is_kept_as_it_was_typed_and_its_verdict_is_shown(small_world: World, browser: Client) -> None:
    line, following = supply_line(stage := started(small_world)), line_on(stage)
    answer = browser.post(
        url(small_world, line, "reading"), {"measured": "0,207 kV", "client_uuid": key()}, follow=True
    )
    # independent: 207.0 V is the edge of 230 V - 10 % and is inside (IEC 60038)
    reading = Reading.objects.get()
    assert (reading.verdict, reading.inputs[0]["typed"]) == ("accept", "0,207 kV")
    assert pytest.approx(207.0) == reading.inputs[0]["value"]
    words = main_words(answer)
    assert "accept" in words
    assert "0,207 kV" in words
    assert "−10 % ≤ δ ≤ 10 %" not in answer.content.decode().split("<body")[0]
    assert "<math" in answer.content.decode()
    assert url(small_world, following) in links(answer)
    assert 'data-hide-after="10"' in answer.content.decode()


def test_a_reading_outside_its_limit_fails_the_line_and_leads_to_a_punch_item(
    small_world: World, browser: Client
) -> None:
    line = supply_line(started(small_world))
    answer = browser.post(url(small_world, line, "reading"), {"measured": "206.9"}, follow=True)
    # independent: (206.9 - 230) / 230 = -10.0435 %
    assert "−10.0435 %" in main_words(answer).replace("\u202f", " ")
    line.refresh_from_db()
    assert line.state == "failed"
    wanted = f"/p/{small_world.project.code}/punch/new/?line={line.pk}"
    assert any(link.startswith(wanted) for link in links(answer))


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("207 kg", "kg"),
        ("", "Type Voltage L1 to N, in V."),
        ("twelve", "twelve"),
        ("<script>alert(1)</script>", "&lt;script&gt;"),
    ],
)
def test_a_value_that_cannot_be_right_stays_in_its_field(
    small_world: World, browser: Client, typed: str, words: str
) -> None:
    line = supply_line(started(small_world))
    answer = browser.post(url(small_world, line, "reading"), {"measured": typed, "remark": "windy & wet"})
    page = answer.content.decode()
    assert answer.status_code == 422
    assert f'value="{escape(typed)}"' in page or not typed
    assert "windy &amp; wet" in page
    assert words in page
    assert "<script>alert" not in page
    assert not Reading.objects.exists()


def test_the_same_reading_sent_twice_is_kept_once(small_world: World, browser: Client) -> None:
    line = supply_line(started(small_world))
    sent = {"measured": "230", "client_uuid": key()}
    for _ in range(2):
        assert browser.post(url(small_world, line, "reading"), sent).status_code == 302
    assert Reading.objects.count() == 1


def test_what_the_register_lacks_is_asked_for_and_what_it_has_is_shown(small_world: World, browser: Client) -> None:
    inputs = {**supply_line_inputs(), "nominal": {"kind": "nameplate", "key": "ac_nominal_voltage", "of": "system"}}
    line = supply_line(started(small_world), inputs=inputs)
    page = browser.get(url(small_world, line)).content.decode()
    assert 'name="nominal"' in page
    assert "read it off the nameplate" in page
    small_world.system.nameplate = {"ac_nominal_voltage": 400}
    small_world.system.save()
    page = browser.get(url(small_world, line)).content.decode()
    assert 'name="nominal"' not in page
    assert "(nameplate)" in page


def supply_line_inputs() -> dict[str, object]:
    from tests.commissioning.views.run_plant import SUPPLY_INPUTS

    return dict(SUPPLY_INPUTS)


def test_without_a_pass_criterion_it_says_that_it_cannot_say(small_world: World, browser: Client) -> None:
    inputs = {"area": {"kind": "measured", "unit": "mm²", "label": "Cross-section"}}
    line = line_on(started(small_world), calculation="conductor_resistance", inputs=inputs)
    answer = browser.post(url(small_world, line, "reading"), {"area": "25"}, follow=True)
    words = main_words(answer)
    # published: IEC 60228, 25 mm², class 2, copper: 0.727 Ω/km at 20 °C
    assert "0.727" in words
    assert "cannot say" in words
    assert "no pass criterion" in words


def test_a_line_measured_again_offers_what_was_typed_before(small_world: World, browser: Client) -> None:
    line = supply_line(started(small_world))
    record_reading(actor=small_world.engineer, line=line, typed={"measured": "199.5"})
    words = main_words(browser.get(url(small_world, line), {"again": "1"}))
    assert "before: 199.5" in words
    browser.post(url(small_world, line, "reading"), {"measured": "230"})
    assert list(line.readings.order_by("recorded_at").values_list("verdict", flat=True)) == ["reject", "accept"]


# --- while typing -----------------------------------------------------------------------------------------------------


def test_the_verdict_shows_while_typing_and_nothing_is_kept(small_world: World, browser: Client) -> None:
    line = supply_line(started(small_world))
    answer = browser.post(url(small_world, line, "try"), {"measured": "206.9"}, headers={"HX-Request": "true"})
    page = answer.content.decode()
    assert answer.status_code == 200
    assert "reject" in page
    assert "<svg" in page
    assert "<math" in page
    assert "Not kept yet." in page
    assert not Reading.objects.exists()


def test_what_is_missing_is_said_quietly_and_what_is_wrong_in_words(small_world: World, browser: Client) -> None:
    line = supply_line(started(small_world))
    empty = browser.post(url(small_world, line, "try"), {"measured": ""}).content.decode()
    assert "Still to be typed: Voltage L1 to N." in empty
    assert "wrong-value" not in empty
    wrong = browser.post(url(small_world, line, "try"), {"measured": '"><img src=x>'}).content.decode()
    assert "wrong-value" in wrong
    assert "<img" not in wrong


# --- instruments ------------------------------------------------------------------------------------------------------


def test_an_instrument_is_chosen_once_and_offered_again(small_world: World, browser: Client) -> None:
    stage, chosen = started(small_world), meter(small_world)
    first, second = supply_line(stage), supply_line(stage, title="Prove it again")
    browser.post(url(small_world, first, "reading"), {"measured": "230", "with_0": str(chosen.pk)})
    reading = Reading.objects.get()
    # independent: ±(0.05 % of 230 V + 5 x 0.01 V) = 0.165 V; rectangular, k = 2: 2 x 0.165 / sqrt 3
    assert reading.inputs[0]["expanded_uncertainty"] == pytest.approx(2 * 0.165 / 3**0.5)
    assert f'<option value="{chosen.pk}" selected>' in browser.get(url(small_world, second)).content.decode()


def test_an_instrument_out_of_calibration_is_refused_and_nothing_typed_is_lost(
    small_world: World, browser: Client
) -> None:
    stage, chosen = started(small_world), meter(small_world, due_in=-10)
    line = supply_line(stage)
    assert "OUT OF CALIBRATION" in browser.get(url(small_world, line)).content.decode()
    answer = browser.post(url(small_world, line, "reading"), {"measured": "230.4", "with_0": str(chosen.pk)})
    assert answer.status_code == 422
    assert "was not in calibration then" in main_words(answer)
    assert 'value="230.4"' in answer.content.decode()
    assert not Reading.objects.exists()


# --- answers ----------------------------------------------------------------------------------------------------------


def test_passed_leads_to_the_next_open_line(small_world: World, browser: Client) -> None:
    stage = started(small_world)
    line, following = line_on(stage), line_on(stage)
    answer = browser.post(url(small_world, line, "result"), {"outcome": "passed"}, follow=True)
    assert "passed" in main_words(answer)
    assert url(small_world, following) in links(answer)


@pytest.mark.parametrize("outcome", ["failed", "not_applicable"])
def test_failed_and_not_applicable_ask_for_words(small_world: World, browser: Client, outcome: str) -> None:
    inputs = {"torque": {"kind": "measured", "label": "Torque", "unit": "N·m"}}
    line = line_on(started(small_world), inputs=inputs)
    answer = browser.post(url(small_world, line, "result"), {"outcome": outcome, "torque": "12,5", "remark": " "})
    assert answer.status_code == 422
    assert 'value="12,5"' in answer.content.decode()
    assert not CheckResult.objects.exists()
    sent = {"outcome": outcome, "torque": "12,5", "remark": "thread stripped"}
    assert browser.post(url(small_world, line, "result"), sent).status_code == 302
    line.refresh_from_db()
    assert line.state == outcome


def test_values_kept_on_record_stay_as_typed(small_world: World, browser: Client) -> None:
    inputs = {"torque": {"kind": "measured", "label": "Torque", "unit": "N·m"}}
    line = line_on(started(small_world), inputs=inputs)
    refused = browser.post(url(small_world, line, "result"), {"outcome": "passed", "torque": "12 V"})
    assert refused.status_code == 422
    assert 'value="12 V"' in refused.content.decode()
    browser.post(url(small_world, line, "result"), {"outcome": "passed", "torque": "12,5"})
    assert CheckResult.objects.get().values[0] | {"label": ""} == {
        "name": "torque",
        "label": "",
        "typed": "12,5",
        "value": 12.5,
        "unit": "N·m",
    }


def test_a_line_with_a_calculation_is_not_passed_without_its_reading(small_world: World, browser: Client) -> None:
    line = supply_line(started(small_world))
    answer = browser.post(url(small_world, line, "result"), {"outcome": "passed", "remark": "looks fine"})
    assert answer.status_code == 422
    assert "passed by a reading" in main_words(answer)
    assert "looks fine" in answer.content.decode()
