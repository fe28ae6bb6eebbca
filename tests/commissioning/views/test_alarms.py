"""Alarms on their pages: those that wait for somebody first, decided, seen to clear."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from commissioning.models import AlarmSighting
from commissioning.services.alarms import clear_alarm, decide_alarm, log_alarm
from punchlist.services.items import raise_item
from tests.commissioning.views.plant import add_equipment, energising
from tests.commissioning.views.reading import address, links, main_words, signed_in, words
from tests.support.world import World, make_project

pytestmark = pytest.mark.django_db

#: Session, person, project, membership, sites for the filter, how many, the page, items, counts, tags, projects.
BUDGET = 18


def _list(world: World, query: str = "", who: str = "engineer") -> str:
    said = main_words(signed_in(getattr(world, who)).get(address(world.project.code, "alarms") + query))
    return said.split("why", 1)[-1]


def _page(world: World, alarm: AlarmSighting, *more: str) -> str:
    return address(world.project.code, "alarms", alarm.pk, *more)


def _new(world: World) -> str:
    return address(world.project.code, "alarms", "new") + f"?system={world.system.pk}"


@pytest.fixture
def in_energisation(small_world: World) -> World:
    energising(small_world)
    return small_world


def _log(world: World, text: str, kind: str = "energisation") -> AlarmSighting:
    return log_alarm(actor=world.engineer, stage=world.stage(kind), text=text)


def _decide(world: World, alarm: AlarmSighting, outcome: str, **more: object) -> AlarmSighting:
    return decide_alarm(actor=world.engineer, alarm=alarm, outcome=outcome, explanation="Known.", **more)


def _queries(world: World) -> int:
    browser = signed_in(world.manager)
    with CaptureQueriesContext(connection) as captured:
        assert browser.get(address(world.project.code, "alarms")).status_code == 200
    return len(captured)


def test_the_number_of_queries_does_not_grow_with_the_alarms() -> None:
    few, many = make_project(), make_project()
    for world, count in ((few, 5), (many, 50)):
        energising(world)
        for number in range(count):
            _decide(world, _log(world, f"ALARM {number}"), ("explained", "genuine")[number % 2])
    assert _queries(few) == _queries(many) <= BUDGET


def test_alarms_that_wait_for_somebody_come_first(in_energisation: World) -> None:
    world = in_energisation
    undecided = _log(world, "NOBODY KNOWS")
    known = _decide(world, _log(world, "LOOKED INTO"), "explained")
    clear_alarm(actor=world.engineer, alarm=known)
    due = _decide(
        world, _log(world, "DUE HERE", "pre_energisation"), "expected", expected_until=world.stage("energisation")
    )
    said = _list(world)
    places = [said.index(alarm.text) for alarm in (undecided, due, known)]
    assert places == sorted(places)
    assert "say what it is" in said
    assert "see it clear" in said


def test_the_list_is_narrowed_by_system_outcome_stage_site_words_and_clearing(in_energisation: World) -> None:
    world = in_energisation
    _log(world, "OVER VOLTAGE")
    clear_alarm(actor=world.engineer, alarm=_decide(world, _log(world, "FAN FAILURE", "pre_energisation"), "explained"))
    for query, there in {
        "?outcome=unexplained": "OVER VOLTAGE",
        "?outcome=explained": "FAN FAILURE",
        "?stage=energisation": "OVER VOLTAGE",
        "?cleared=no": "OVER VOLTAGE",
        "?q=fan": "FAN FAILURE",
        "?q=fan&outcome=nonsense": "FAN FAILURE",
    }.items():
        said = _list(world, query)
        missing = "FAN FAILURE" if there == "OVER VOLTAGE" else "OVER VOLTAGE"
        assert there in said, query
        assert missing not in said, query
    for query in (f"?system={world.system.pk}", "?system=gub10", f"?site={world.site.pk}"):
        assert "OVER VOLTAGE" in _list(world, query)
        assert "FAN FAILURE" in _list(world, query)
    assert "No alarm fits" in _list(world, "?system=NONE")


def test_an_empty_list_says_what_belongs_there(small_world: World) -> None:
    said = _list(small_world)
    assert "Every alarm seen while commissioning belongs here" in said
    assert "Until then it holds its stage" in said


def test_an_alarm_is_written_down_on_the_stage_in_hand(in_energisation: World) -> None:
    world = in_energisation
    add_equipment(world.system, "GUB10-F1", description="earth-fault monitor")
    browser = signed_in(world.engineer)
    form = browser.get(_new(world)).context["form"]
    given = {"text": "EARTH FAULT", "equipment": "gub10-f1", "seen_at": form["seen_at"].value(), "stage": ""}
    key = str(form["client_uuid"].value())
    answers = [browser.post(_new(world), {**given, "client_uuid": key}) for _ in range(2)]
    alarm = AlarmSighting.objects.get()
    assert (alarm.text, alarm.equipment.tag, alarm.stage.kind) == ("EARTH FAULT", "GUB10-F1", "energisation")
    assert {answer["Location"] for answer in answers} == {_page(world, alarm)}


def test_without_a_system_in_the_address_its_tag_is_typed(in_energisation: World) -> None:
    world = in_energisation
    url = address(world.project.code, "alarms", "new")
    given = {"text": "MAINS FAILURE", "seen_at": "2026-03-01 10:15", "system": "GUB10", "stage": "pre_energisation"}
    signed_in(world.engineer).post(url, given)
    assert AlarmSighting.objects.get().stage.kind == "pre_energisation"
    refused = signed_in(world.engineer).post(url, {**given, "system": "NO-SUCH"})
    assert "No system here carries the tag NO-SUCH" in words(refused)


def test_what_was_typed_stays_when_it_is_refused(in_energisation: World) -> None:
    answer = signed_in(in_energisation.engineer).post(
        _new(in_energisation), {"text": "LOW <VOLTAGE>", "seen_at": "yesterday", "equipment": ""}
    )
    assert answer.status_code == 422
    assert "Write it as 2026-03-31 14:30." in words(answer)
    assert 'value="LOW &lt;VOLTAGE&gt;"' in answer.content.decode()
    assert 'value="yesterday"' in answer.content.decode()
    assert not AlarmSighting.objects.exists()


def test_a_moment_that_has_not_come_is_refused(in_energisation: World) -> None:
    answer = signed_in(in_energisation.engineer).post(
        _new(in_energisation), {"text": "LOW VOLTAGE", "seen_at": "2199-01-01 00:00"}
    )
    assert "This moment has not come yet" in words(answer)


def test_an_explained_alarm_needs_its_reason(in_energisation: World) -> None:
    alarm = _log(in_energisation, "EARTH FAULT")
    browser = signed_in(in_energisation.engineer)
    refused = browser.post(_page(in_energisation, alarm, "decide"), {"outcome": "explained"})
    assert refused.status_code == 422
    assert "Say in words why this alarm stands or stood." in words(refused)
    done = browser.post(
        _page(in_energisation, alarm, "decide"), {"outcome": "explained", "explanation": "Monitor off."}, follow=True
    )
    assert "Decided: explained." in words(done)
    alarm.refresh_from_db()
    assert (alarm.outcome, alarm.explanation, alarm.decided_by) == (
        "explained",
        "Monitor off.",
        in_energisation.engineer,
    )


def test_an_expected_alarm_names_a_later_stage_and_is_seen_to_clear_there(in_energisation: World) -> None:
    world = in_energisation
    alarm = _log(world, "BATTERY DISCONNECTED")
    browser = signed_in(world.engineer)
    offered = [stage.kind for stage in browser.get(_page(world, alarm)).context["later"]]
    assert offered == ["battery_connected"]
    given = {"outcome": "expected", "explanation": "No battery yet.", "expected_until": world.stage(offered[0]).pk}
    browser.post(_page(world, alarm, "decide"), given)
    alarm.refresh_from_db()
    assert alarm.expected_until.kind == "battery_connected"
    early = browser.post(_page(world, alarm, "clear"), {"at": "2026-03-01 10:00"})
    assert early.status_code == 422
    alarm.refresh_from_db()
    assert alarm.cleared_at is None
    assert "which has not begun" in words(browser.get(_page(world, alarm)))


def test_an_earlier_stage_or_another_systems_is_not_taken(in_energisation: World) -> None:
    world = in_energisation
    alarm = _log(world, "BATTERY DISCONNECTED")
    other = make_project(tag="GUC10").stage("battery_connected")
    for stage in (world.stage("pre_energisation"), other):
        given = {"outcome": "expected", "explanation": "x", "expected_until": stage.pk}
        assert signed_in(world.engineer).post(_page(world, alarm, "decide"), given).status_code == 422
    alarm.refresh_from_db()
    assert alarm.outcome == "unexplained"


def test_a_genuine_alarm_leads_to_its_punch_item(in_energisation: World) -> None:
    world = in_energisation
    alarm = _log(world, "FUSE FAILURE")
    browser = signed_in(world.engineer)
    answer = browser.post(_page(world, alarm, "decide"), {"outcome": "genuine"})
    assert answer["Location"].startswith(f"{reverse('punch-new', args=[world.project.code])}?alarm={alarm.pk}")
    assert "raise a punch item" in main_words(browser.get(_page(world, alarm)))
    raise_item(
        actor=world.engineer, system=world.system, stage=alarm.stage, category="A", text="Fuse gone", alarm=alarm
    )
    after = browser.get(_page(world, alarm))
    assert "on the punch list" in main_words(after)
    assert not [link for link in links(after) if "punch/new" in link and "alarm=" in link]


def test_an_alarm_is_seen_to_clear_in_the_minute_in_which_it_was_seen(in_energisation: World) -> None:
    alarm = _log(in_energisation, "FAN FAILURE")
    browser = signed_in(in_energisation.second_engineer)
    at = browser.get(_page(in_energisation, alarm)).context["clear_form"]["at"].value()
    answer = browser.post(_page(in_energisation, alarm, "clear"), {"at": at, "remark": "Fan plugged in."}, follow=True)
    assert "Seen to clear." in words(answer)
    alarm.refresh_from_db()
    assert alarm.cleared_by == in_energisation.second_engineer


def test_the_client_reads_but_is_given_nothing_to_press(in_energisation: World) -> None:
    world = in_energisation
    alarm = _log(world, "EARTH FAULT")
    browser = signed_in(world.client)
    page = browser.get(_page(world, alarm))
    assert not [link for link in links(page) if link.endswith(("/decide/", "/clear/"))]
    assert "Managers and field engineers write alarms down" in words(browser.get(_new(world)))
    answer = browser.post(_page(world, alarm, "decide"), {"outcome": "explained", "explanation": "x"})
    assert "As client you cannot decide an alarm" in words(answer)
    alarm.refresh_from_db()
    assert alarm.outcome == "unexplained"
    browser.post(_new(world), {"text": "NEW", "seen_at": "2026-03-01 10:00"})
    assert AlarmSighting.objects.count() == 1


def test_a_strangers_alarm_is_not_found(in_energisation: World) -> None:
    alarm = _log(in_energisation, "EARTH FAULT")
    browser = signed_in(in_energisation.stranger)
    for url in (_page(in_energisation, alarm), address(in_energisation.project.code, "alarms"), _new(in_energisation)):
        assert browser.get(url).status_code == 404
    for more in ("decide", "clear"):
        assert browser.post(_page(in_energisation, alarm, more), {"outcome": "genuine"}).status_code == 404


def test_markup_in_an_alarm_stays_text(in_energisation: World) -> None:
    alarm = _decide(in_energisation, _log(in_energisation, "<b>FAN</b><script>"), "explained")
    AlarmSighting.objects.filter(pk=alarm.pk).update(explanation="<i>why</i>")
    browser = signed_in(in_energisation.manager)
    for url in (_page(in_energisation, alarm), address(in_energisation.project.code, "alarms"), _new(in_energisation)):
        html = browser.get(url).content.decode()
        assert "&lt;b&gt;FAN&lt;/b&gt;&lt;script&gt;" in html, url
        assert "<b>FAN</b>" not in html
        assert "<i>why</i>" not in html
