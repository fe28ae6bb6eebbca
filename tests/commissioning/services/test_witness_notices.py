"""Invited, moved, cancelled, answered: what calendars are told, who hears of it, and what the gate makes of it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from email.message import Message

import pytest
from django.core import mail as post
from django.core.mail import EmailMessage
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from icalendar import Calendar

from commissioning.errors import Conflict, InvalidInput, NotAllowed
from commissioning.models import AuditEntry, CheckLine, Notice, Role, Site, WitnessAnswer, WitnessNotice
from commissioning.rules.gate import Rule, acceptance_blockers
from commissioning.selectors.facts import load_facts
from commissioning.services import notices, outgoing
from commissioning.services.witness_notices import answer_notice, cancel_notice, move_notice
from commissioning.services.witnessing import give_notice
from tests.commissioning.views.plant import add_lines
from tests.support.factors import give_app
from tests.support.world import World, make_member, make_project, make_user

pytestmark = pytest.mark.django_db
#: 09:30 UTC is 10:30 by British Summer Time (UTC+1; tz database, Europe/London).
WHEN = datetime(2031, 7, 4, 9, 30, tzinfo=UTC)
LATER = WHEN + timedelta(days=3)


@pytest.fixture
def line(small_world: World) -> CheckLine:
    found: CheckLine = add_lines(small_world.stages[0], 1)[0]
    found.point, found.party = "witness", Role.CLIENT
    found.save()
    return found


def invite(world: World, line: CheckLine) -> WitnessNotice:
    return give_notice(actor=world.engineer, line=line, planned_for=WHEN, words="Bring the punch list, please; gate 2")


def mails() -> list[EmailMessage]:
    outgoing.send_waiting()
    return post.outbox


def calendar(message: EmailMessage) -> tuple[str, Calendar]:
    """What a mail program finds: the part that is shown, with its method (RFC 6047, 2.4)."""
    part: Message = next(
        one for one in message.message().walk() if one.get_content_type() == "text/calendar" and not one.get_filename()
    )
    return str(part.get_param("method")), Calendar.from_ical(part.get_payload(decode=True))


def link_of(message: EmailMessage) -> str:
    return next(word for word in message.body.split() if "/witness/" in word).removeprefix("http://localhost:8000")


def test_the_invited_get_a_calendar_object_that_another_parser_reads(small_world: World, line: CheckLine) -> None:
    """RFC 5546, 3.2.2 says what a REQUEST holds: UID, SEQUENCE, DTSTAMP, DTSTART, ORGANIZER, ATTENDEE, SUMMARY."""
    world = small_world
    notice = invite(world, line)
    (message,) = mails()
    assert message.to == [world.client.email]
    assert "2031-07-04 10:30 (Europe/London)" in message.body
    method, found = calendar(message)
    (event,) = found.walk("VEVENT")
    assert (method, str(found["METHOD"])) == ("REQUEST", "REQUEST")
    assert str(event["UID"]) == f"{notice.pk}@localhost"
    assert (event["SEQUENCE"], event.decoded("DTSTART")) == (0, WHEN)
    assert str(event["ORGANIZER"]) == f"mailto:{world.engineer.email}"
    assert str(event["ATTENDEE"]) == f"mailto:{world.client.email}"
    assert event["ATTENDEE"].params["PARTSTAT"] == "NEEDS-ACTION"
    assert "Bring the punch list, please; gate 2" in str(event["DESCRIPTION"]), "comma and semicolon come through"
    raw = found.to_ical()
    assert b"DTSTAMP:" in raw
    assert all(len(row) <= 75 for row in raw.split(b"\r\n")), "lines are folded (RFC 5545, 3.1)"


def test_a_moved_notice_keeps_its_uid_and_counts_up_and_a_cancelled_one_says_so(
    small_world: World, line: CheckLine
) -> None:
    world = small_world
    notice = invite(world, line)
    moved = move_notice(actor=world.manager, notice=notice, planned_for=LATER)
    cancel_notice(actor=world.manager, notice=moved, reason="The incomer is late.")
    told = []
    for message in mails():
        method, found = calendar(message)
        (event,) = found.walk("VEVENT")
        told.append((method, str(event["UID"]), int(event["SEQUENCE"]), event.decoded("DTSTART"), str(event["STATUS"])))
    uid = f"{notice.pk}@localhost"
    assert told == [
        ("REQUEST", uid, 0, WHEN, "CONFIRMED"),
        ("REQUEST", uid, 1, LATER, "CONFIRMED"),
        ("CANCEL", uid, 2, LATER, "CANCELLED"),
    ]
    assert post.outbox[1].subject.startswith("Moved: witness GUB10")
    assert "The incomer is late." in post.outbox[2].body
    with pytest.raises(Conflict):
        move_notice(actor=world.manager, notice=notice, planned_for=LATER + timedelta(days=1))
    actions = AuditEntry.objects.filter(project=world.project, action__startswith="notice_").order_by("sequence")
    assert [row.action for row in actions] == ["notice_given", "notice_moved", "notice_cancelled"]


def test_a_notice_that_does_not_stand_any_more_does_not_open_the_gate(small_world: World, line: CheckLine) -> None:
    world = small_world
    notice = invite(world, line)

    def codes(now: datetime) -> set[str]:
        facts = load_facts(system_ids=[world.system.pk], now=now)[line.stage_id]
        return {blocker.code for blocker in acceptance_blockers(facts) if blocker.rule == Rule.WITNESSING}

    assert codes(WHEN + timedelta(minutes=1)) == set()
    moved = move_notice(actor=world.engineer, notice=notice, planned_for=LATER)
    assert codes(WHEN + timedelta(minutes=1)) == {"witness_time_not_passed"}
    assert codes(LATER + timedelta(minutes=1)) == set()
    cancel_notice(actor=world.engineer, notice=moved, reason="Not ready.")
    assert codes(LATER + timedelta(minutes=1)) == {"witness_not_notified"}


def test_the_link_in_the_mail_answers_in_the_name_of_whom_it_was_sent_to(small_world: World, line: CheckLine) -> None:
    world = small_world
    notice = invite(world, line)
    link = link_of(mails()[0])
    program = Client()
    shown = program.get(link)
    assert world.client.name in shown.content.decode()
    assert WitnessAnswer.objects.count() == 0, "programs that look through mails follow links"
    assert program.post(link, {}).status_code == 422
    answer = program.post(link, {"answer": "other_time", "other_time": "2031-07-07 10:30", "remark": "on leave"})
    assert answer.status_code == 200
    said = WitnessAnswer.objects.get()
    # 10:30 by British Summer Time
    assert (said.by, said.notice, said.other_time, said.by_mail) == (world.client, notice, LATER, True)
    words = f"GUB10, '{line.title}': Perpetua Lunn asks for another time: 2031-07-07 10:30 (Europe/London) (on leave)."
    for person in (world.engineer, world.manager):
        assert Notice.objects.get(membership__user=person, kind="answer").words == words
    assert "by the link in their mail" in AuditEntry.objects.get(action="notice_answered").words
    browser = Client()
    browser.force_login(world.manager)
    for name, key in (("run-line", line.pk), ("witness-notice", notice.pk)):
        page = browser.get(reverse(name, args=[world.project.code, key])).content.decode()
        assert "Perpetua Lunn" in page, name
        assert "2031-07-07 10:30" in page, name


def test_a_link_does_not_hold_for_others_or_after_somebody_left(small_world: World, line: CheckLine) -> None:
    world = small_world
    invite(world, line)
    link = link_of(mails()[0])
    assert Client().get(link[:-4] + "xxx/").status_code == 410
    moved = move_notice(actor=world.engineer, notice=WitnessNotice.objects.get(), planned_for=LATER)
    assert "does not stand any more" in Client().get(link).content.decode()
    assert Client().post(link, {"answer": "accepted"}).status_code == 422
    world.project.memberships.filter(user=world.client).update(left_at=timezone.now())
    outgoing.send_waiting()
    assert Client().get(link).status_code == 410
    assert moved.answers.count() == 0


def test_where_the_project_asks_for_a_second_factor_a_member_without_one_cannot_answer_by_link(
    small_world: World, line: CheckLine
) -> None:
    world = small_world
    invite(world, line)
    link = link_of(mails()[0])
    world.project.second_factor = "everyone"
    world.project.save()
    assert Client().post(link, {"answer": "accepted"}).status_code == 422
    give_app(world.client)
    assert Client().post(link, {"answer": "accepted"}).status_code == 200


def test_only_the_named_party_answers_and_only_who_works_moves(small_world: World, line: CheckLine) -> None:
    world = small_world
    notice = invite(world, line)
    for person in (world.engineer, world.manager, make_project().client):
        with pytest.raises(NotAllowed):
            answer_notice(actor=person, notice=notice, answer="accepted")
    with pytest.raises(NotAllowed):
        move_notice(actor=world.client, notice=notice, planned_for=LATER)
    with pytest.raises(NotAllowed):
        cancel_notice(actor=world.client, notice=notice, reason="no")
    for answer, other in (("perhaps", None), ("other_time", None), ("other_time", timezone.now() - timedelta(days=1))):
        with pytest.raises(InvalidInput):
            answer_notice(actor=world.client, notice=notice, answer=answer, other_time=other)
    with pytest.raises(InvalidInput):
        move_notice(actor=world.engineer, notice=notice, planned_for=WHEN)
    assert answer_notice(actor=world.client, notice=notice, answer="accepted").answer == "accepted"


def test_mail_goes_to_the_party_at_the_site_that_did_not_switch_it_off(small_world: World, line: CheckLine) -> None:
    world = small_world
    elsewhere = Site.objects.create(project=world.project, code="VOF", name="Vexley Outfall")
    for name, sites in (("far", [elsewhere]), ("near", [world.site, elsewhere]), ("tired", None)):
        make_member(project=world.project, user=make_user(username=name, name=name), role=Role.CLIENT, sites=sites)
    notices.switch_off(membership=world.project.memberships.get(user__username="tired"), kinds=["mail_witness"])
    invite(world, line)
    assert sorted(one.to[0] for one in mails()) == sorted([world.client.email, "near@ombrefell.example"])


def test_the_pages_move_cancel_and_hand_out_the_calendar_file(small_world: World, line: CheckLine) -> None:
    world = small_world
    notice = invite(world, line)
    code = world.project.code
    browser = Client()
    browser.force_login(world.engineer)
    file = browser.get(reverse("witness-notice-calendar", args=[code, notice.pk]))
    assert str(Calendar.from_ical(file.content).walk("VEVENT")[0]["UID"]) == f"{notice.pk}@localhost"
    moved = browser.post(reverse("witness-notice-move", args=[code, notice.pk]), {"planned_for": "2031-07-07 10:30"})
    assert WitnessNotice.objects.get(withdrawn_at__isnull=True).planned_for == LATER
    page = browser.get(moved["Location"])
    assert "Nobody has answered yet" in page.content.decode()
    answer = browser.post(moved["Location"] + "cancel/", {"reason": ""})
    assert (answer.status_code, "Say why it is cancelled" in answer.content.decode()) == (422, True)
    assert browser.post(moved["Location"] + "cancel/", {"reason": "Not ready."}).status_code == 302
    assert "does not stand any more" in browser.get(moved["Location"]).content.decode()
