"""Who may see and do what in the procedure run; witnessing, notices, concessions, hold points."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from commissioning.models import CheckLine, Concession, Role, Site, WitnessNotice
from commissioning.services.lines import record_result
from commissioning.services.readings import record_reading
from tests.commissioning.views.reading import address, links, main_words, signed_in
from tests.commissioning.views.run_plant import line_on, started, supply_line
from tests.support.world import PASSWORD, World, make_member, make_user

pytestmark = pytest.mark.django_db

PAGES = ("", "record", "reopen", "point", "concession")
POSTS = ("try", "reading", "result", "reopen", "proof-of-dead", "notice", "witness", "point", "concession")


def url(world: World, line: CheckLine, *parts: str) -> str:
    return address(world.project.code, "lines", line.pk, *(part for part in parts if part))


@pytest.fixture
def failed(small_world: World) -> CheckLine:
    """A line whose reading, taken by the engineer, lies outside its limit."""
    line = supply_line(started(small_world))
    record_reading(actor=small_world.engineer, line=line, typed={"measured": "200"})
    line.refresh_from_db()
    return line


def test_each_role_reads_every_page(small_world: World, failed: CheckLine) -> None:
    run = address(small_world.project.code, "systems", small_world.system.pk, "run")
    for person in ("manager", "engineer", "client"):
        browser = signed_in(getattr(small_world, person))
        answers = {path: browser.get(path).status_code for path in (run, *(url(small_world, failed, p) for p in PAGES))}
        assert set(answers.values()) == {200}, (person, answers)


def test_a_stranger_and_a_member_of_another_site_find_nothing(small_world: World, failed: CheckLine) -> None:
    other = Site.objects.create(project=small_world.project, code="VOF", name="Vexley Outfall")
    elsewhere = make_user(username="elsewhere", name="Osric Fenn")
    make_member(project=small_world.project, user=elsewhere, role=Role.FIELD_ENGINEER, sites=[other])
    for person in (small_world.stranger, elsewhere):
        browser = signed_in(person)
        assert {browser.get(url(small_world, failed, part)).status_code for part in PAGES} == {404}
        assert {browser.post(url(small_world, failed, part)).status_code for part in POSTS} == {404}


def test_nobody_reads_it_without_signing_in(small_world: World, failed: CheckLine, client: object) -> None:
    assert client.get(url(small_world, failed)).status_code == 302  # type: ignore[attr-defined]


def test_the_client_reads_and_cannot_record(small_world: World) -> None:
    line = line_on(started(small_world))
    browser = signed_in(small_world.client)
    page = browser.get(url(small_world, line))
    assert 'name="outcome"' not in page.content.decode()
    assert "answered by a field engineer or a manager" in main_words(page)
    assert browser.post(url(small_world, line, "result"), {"outcome": "passed"}).status_code == 422
    line.refresh_from_db()
    assert line.state == "open"


def test_the_named_party_witnesses_and_nobody_else(small_world: World) -> None:
    line = line_on(started(small_world), point="hold", party="client")
    record_result(actor=small_world.engineer, line=line, outcome="passed")
    seen = "I was there and have seen it"
    assert seen not in main_words(signed_in(small_world.engineer).get(url(small_world, line)))
    assert "Turn: client." in main_words(signed_in(small_world.manager).get(url(small_world, line)))
    refused = signed_in(small_world.manager).post(url(small_world, line, "witness"), {"remark": "I was there"})
    assert refused.status_code == 422
    assert not line.witnessings.exists()
    browser = signed_in(small_world.client)
    assert "It is your turn." in main_words(browser.get(url(small_world, line)))
    answer = browser.post(url(small_world, line, "witness"), {"remark": "All tests seen <ok>"}, follow=True)
    assert "witnessed by Perpetua Lunn" in main_words(answer)
    assert "All tests seen &lt;ok&gt;" in answer.content.decode()


def test_whoever_recorded_the_line_does_not_witness_it(small_world: World) -> None:
    line = line_on(started(small_world), point="witness", party="manager")
    record_result(actor=small_world.manager, line=line, outcome="passed")
    page = signed_in(small_world.manager).get(url(small_world, line))
    assert "You recorded this line yourself" in main_words(page)
    assert signed_in(small_world.manager).post(url(small_world, line, "witness")).status_code == 422


def test_a_notice_is_given_in_the_zone_of_the_site(small_world: World) -> None:
    line = line_on(started(small_world), point="witness", party="client")
    small_world.site.time_zone = "Asia/Tokyo"
    small_world.site.save()
    browser = signed_in(small_world.engineer)
    assert browser.post(url(small_world, line, "notice"), {"planned_for": "2099-03-31 14:30"}).status_code == 302
    planned = WitnessNotice.objects.get().planned_for
    assert planned.isoformat() == "2099-03-31T05:30:00+00:00"  # independent: Tokyo is nine hours ahead of UTC
    assert "2099-03-31 14:30" in main_words(browser.get(url(small_world, line)))


@pytest.mark.parametrize("typed", ["tomorrow", "2020-01-01 08:00"])
def test_a_notice_that_cannot_be_given_stays_typed(small_world: World, typed: str) -> None:
    line = line_on(started(small_world), point="witness", party="client")
    sent = {"planned_for": typed, "words": "at the gate house"}
    answer = signed_in(small_world.engineer).post(url(small_world, line, "notice"), sent)
    assert answer.status_code == 422
    assert f'value="{typed}"' in answer.content.decode()
    assert "at the gate house" in answer.content.decode()
    assert not WitnessNotice.objects.exists()


def test_a_manager_signs_a_concession_with_the_password(small_world: World, failed: CheckLine) -> None:
    browser = signed_in(small_world.manager)
    assert url(small_world, failed, "concession") in links(browser.get(url(small_world, failed)))
    wrong = {"reason": "Agreed until the transformer is changed", "password": "not this one"}
    refused = browser.post(url(small_world, failed, "concession"), wrong)
    assert refused.status_code == 422
    assert wrong["reason"] in refused.content.decode()
    assert wrong["password"] not in refused.content.decode()
    answer = browser.post(url(small_world, failed, "concession"), {**wrong, "password": PASSWORD}, follow=True)
    assert "with concession: Agreed until the transformer is changed" in main_words(answer)
    proved = browser.get(url(small_world, failed, "record"), {"prove": Concession.objects.get().pk})
    assert "the record that was signed" in main_words(proved)


@pytest.mark.parametrize("person", ["engineer", "second_engineer", "client"])
def test_only_a_manager_signs_a_concession(small_world: World, failed: CheckLine, person: str) -> None:
    browser = signed_in(getattr(small_world, person))
    assert "Only a manager signs a concession." in main_words(browser.get(url(small_world, failed, "concession")))
    sent = {"reason": "fine by me", "password": PASSWORD}
    assert browser.post(url(small_world, failed, "concession"), sent).status_code == 422
    assert not Concession.objects.exists()


def test_a_manager_does_not_concede_their_own_reading(small_world: World) -> None:
    line = supply_line(started(small_world))
    record_reading(actor=small_world.manager, line=line, typed={"measured": "200"})
    browser = signed_in(small_world.manager)
    assert "You recorded this yourself" in main_words(browser.get(url(small_world, line, "concession")))
    sent = {"reason": "fine by me", "password": PASSWORD}
    assert browser.post(url(small_world, line, "concession"), sent).status_code == 422


def test_a_concession_is_withdrawn_with_a_reason(small_world: World, failed: CheckLine) -> None:
    browser = signed_in(small_world.manager)
    browser.post(url(small_world, failed, "concession"), {"reason": "agreed", "password": PASSWORD})
    signed = Concession.objects.get()
    withdraw = address(small_world.project.code, "concessions", signed.pk, "withdraw")
    assert signed_in(small_world.stranger).post(withdraw, {"reason": "x"}).status_code == 404
    assert signed_in(small_world.engineer).post(withdraw, {"reason": "x"}).status_code == 422
    assert browser.post(withdraw, {"reason": " "}).status_code == 422
    assert browser.post(withdraw, {"reason": "the limit was misread"}).status_code == 302
    signed.refresh_from_db()
    assert signed.withdrawn_reason == "the limit was misread"


def test_a_manager_sets_a_hold_point(small_world: World) -> None:
    line = line_on(started(small_world))
    sent = {"point": "hold", "party": "client"}
    assert signed_in(small_world.engineer).post(url(small_world, line, "point"), sent).status_code == 422
    assert signed_in(small_world.manager).post(url(small_world, line, "point"), sent).status_code == 302
    line.refresh_from_db()
    assert (line.point, line.party) == ("hold", "client")


def test_the_record_shows_what_was_superseded(small_world: World, failed: CheckLine) -> None:
    record_reading(actor=small_world.second_engineer, line=failed, typed={"measured": "231"})
    words = main_words(signed_in(small_world.client).get(url(small_world, failed, "record")))
    assert "superseded" in words
    assert "measured again" in words
    assert "200" in words
    assert "231" in words
    assert words.index("231") < words.index("measured again")


def test_a_running_notice_is_shown_with_who_gave_it(small_world: World) -> None:
    line = line_on(started(small_world), point="hold", party="client")
    WitnessNotice.objects.create(
        line=line, planned_for=timezone.now() + timedelta(days=1), given_by=small_world.engineer, words="at nine"
    )
    assert "by Tobin Ashgrove: at nine" in main_words(signed_in(small_world.client).get(url(small_world, line)))
