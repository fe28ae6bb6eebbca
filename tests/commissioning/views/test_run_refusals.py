"""The procedure run: what stands in the way is said in words, answers are taken back, text stays text."""

from __future__ import annotations

import pytest
from django.test import Client

from commissioning.models import CheckLine, CheckResult, ProofOfDead, Reading
from commissioning.services.lines import record_result
from tests.commissioning.views.reading import address, links, main_words, signed_in
from tests.commissioning.views.run_plant import line_on, live, started, supply_line
from tests.support.world import World

pytestmark = pytest.mark.django_db


def url(world: World, line: CheckLine, *parts: str) -> str:
    return address(world.project.code, "lines", line.pk, *parts)


def run_url(world: World) -> str:
    return address(world.project.code, "systems", world.system.pk, "run")


@pytest.fixture
def browser(small_world: World) -> Client:
    return signed_in(small_world.engineer)


# --- what stands in the way -------------------------------------------------------------------------------------------


def test_dead_work_on_a_live_system_is_refused_and_leads_to_the_supplies(small_world: World, browser: Client) -> None:
    line = supply_line(started(small_world), work="dead")
    live(small_world)
    page = browser.get(url(small_world, line))
    assert "This is dead work and the system is recorded LIVE" in main_words(page)
    assert 'name="measured"' not in page.content.decode()
    assert address(small_world.project.code, "systems", small_world.system.pk, "supplies") in links(page)
    refused = browser.post(url(small_world, line, "reading"), {"measured": "230.1"})
    assert refused.status_code == 422
    assert "recorded LIVE" in main_words(refused)
    assert 'value="230.1"' in refused.content.decode()
    assert not Reading.objects.exists()


def test_that_a_line_does_not_apply_may_be_said_on_a_live_system(small_world: World, browser: Client) -> None:
    line = supply_line(started(small_world), work="dead")
    live(small_world)
    sent = {"outcome": "not_applicable", "remark": "no such circuit"}
    assert browser.post(url(small_world, line, "result"), sent).status_code == 302


def test_work_stops_at_a_hold_point_with_words_whose_turn_it_is(small_world: World, browser: Client) -> None:
    stage = started(small_world)
    hold = line_on(stage, title="Agree the dead tests", point="hold", party="client")
    line = line_on(stage)
    page = browser.get(url(small_world, line))
    assert "Work stops at a hold point until the client has witnessed it" in main_words(page)
    assert "turn: client" in main_words(page)
    assert url(small_world, hold) in links(page)
    assert browser.post(url(small_world, line, "result"), {"outcome": "passed"}).status_code == 422
    signed_in(small_world.client).post(url(small_world, hold, "witness"), {"remark": "seen"})
    assert browser.post(url(small_world, line, "result"), {"outcome": "passed"}).status_code == 302


def test_a_stage_that_is_not_started_takes_no_answers(small_world: World, browser: Client) -> None:
    line = line_on(small_world.stage("energisation"))
    assert "has not been started" in main_words(browser.get(url(small_world, line)))
    assert browser.post(url(small_world, line, "result"), {"outcome": "passed"}).status_code == 422


def test_the_proof_of_dead_comes_before_an_injected_voltage(small_world: World, browser: Client) -> None:
    line = supply_line(started(small_world), work="dead", injects_voltage=True)
    page = browser.get(url(small_world, line)).content.decode()
    assert "First prove dead at the point of work" in page
    assert 'name="measured"' not in page
    half = {"point_of_work": "terminals X1", "proved_before": "on"}
    refused = browser.post(url(small_world, line, "proof-of-dead"), half)
    assert refused.status_code == 422
    assert 'value="terminals X1"' in refused.content.decode()
    assert not ProofOfDead.objects.exists()
    whole = {**half, "detector": "VD-07", "proved_after": "on"}
    page = browser.post(url(small_world, line, "proof-of-dead"), whole, follow=True).content.decode()
    assert 'name="measured"' in page
    assert browser.post(url(small_world, line, "reading"), {"measured": "230"}).status_code == 302


# --- taking back ------------------------------------------------------------------------------------------------------


def test_a_slip_is_undone_at_once_by_whoever_made_it(small_world: World, browser: Client) -> None:
    line = line_on(started(small_world))
    browser.post(url(small_world, line, "result"), {"outcome": "passed"})
    other = signed_in(small_world.second_engineer)
    assert other.post(url(small_world, line, "reopen"), {"undo": "1"}).status_code == 422
    line.refresh_from_db()
    assert line.state == "passed"
    assert browser.post(url(small_world, line, "reopen"), {"undo": "1"}).status_code == 302
    line.refresh_from_db()
    assert line.state == "open"
    assert CheckResult.objects.filter(outcome="passed", superseded_at__isnull=False).exists()


def test_anybody_else_says_why_a_line_is_opened_again(small_world: World) -> None:
    line = line_on(started(small_world))
    record_result(actor=small_world.engineer, line=line, outcome="passed")
    browser = signed_in(small_world.second_engineer)
    assert "Say why it is taken back" in main_words(browser.post(url(small_world, line, "reopen"), {"reason": " "}))
    assert browser.post(url(small_world, line, "reopen"), {"reason": "wrong row"}).status_code == 302
    assert CheckResult.objects.filter(outcome="reopened", remark="wrong row").exists()


# --- what is written stays text ---------------------------------------------------------------------------------------


def test_markup_in_any_text_is_shown_as_text(small_world: World, browser: Client) -> None:
    nasty = "<b onclick=alert(1)>&"
    stage = started(small_world)
    line = supply_line(stage, title=nasty, how=nasty, accept=nasty, caution=nasty)
    line.inputs = {**line.inputs, "measured": {"kind": "measured", "label": nasty, "unit": "V"}}
    line.limits = [{"output": "deviation", "lower": -5, "upper": 5, "source": nasty}]
    line.save()
    browser.post(url(small_world, line, "reading"), {"measured": "230", "remark": nasty})
    failed = line_on(stage, title=nasty)
    browser.post(url(small_world, failed, "result"), {"outcome": "failed", "remark": nasty})
    for path in (
        run_url(small_world),
        url(small_world, line),
        url(small_world, line, "record"),
        url(small_world, failed),
    ):
        page = browser.get(path).content.decode()
        assert "<b onclick" not in page, path
        assert "&lt;b onclick" in page, path


def test_a_dropped_line_shows_its_record_and_takes_no_answer(small_world: World, browser: Client) -> None:
    from django.utils import timezone

    line = line_on(started(small_world))
    record_result(actor=small_world.engineer, line=line, outcome="passed", remark="before the change")
    CheckLine.objects.filter(pk=line.pk).update(retired_at=timezone.now())
    words = main_words(browser.get(url(small_world, line)))
    assert "dropped from the procedure" in words
    assert "before the change" in words
    assert browser.post(url(small_world, line, "result"), {"outcome": "passed"}).status_code == 422


def test_a_recording_is_linked_only_where_there_is_a_page_for_it(small_world: World, browser: Client) -> None:
    from commissioning.views.links import page_url

    inputs = {"recording": {"kind": "recording"}}
    line = line_on(started(small_world), calculation="discharge_log", inputs=inputs)
    answer = browser.get(url(small_world, line))
    assert "The numbers come from a test recording" in main_words(answer)
    wanted = page_url("recording-new", small_world.project.code, line=line.pk)
    assert (wanted in links(answer)) is bool(wanted)
    sent = {"outcome": "not_applicable", "remark": "Logged by the maker."}
    assert browser.post(url(small_world, line, "result"), sent).status_code == 302
