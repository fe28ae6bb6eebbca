"""The daily mail: what stands in it, whose hour it is, that it goes once, and how it is switched off."""

from __future__ import annotations

import smtplib
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from email.message import Message

import pytest
from django.core import mail as post
from django.core.mail import EmailMessage
from django.core.mail.backends.base import BaseEmailBackend
from django.test import Client
from django.urls import reverse

from commissioning.models import Mail, Role, Site, User
from commissioning.rules.notices import ALL_SWITCHES, DAILY
from commissioning.services import notices, outgoing
from commissioning.services.daily_mail import write_daily
from tests.punchlist.making import make_item
from tests.punchlist.test_services_races import together
from tests.support.mail import NoServer
from tests.support.world import World, make_member, make_project

DAY = date(2031, 3, 10)  # Europe/London keeps UTC in March until the last Sunday, the 30th (tz database)
SEVEN = datetime(2031, 3, 10, 7, 0, tzinfo=UTC)


def owes(world: World, person: User, days: int, text: str = "Label missing") -> str:
    return make_item(world, text=text, owes=person, due_on=DAY + timedelta(days=days)).label


def quiet(world: World) -> None:
    """Nobody but the engineer has mail."""
    world.project.memberships.exclude(user=world.engineer).update(left_at=SEVEN)


def sent(now: datetime = SEVEN + timedelta(days=9)) -> list[EmailMessage]:
    outgoing.send_waiting(now)
    return post.outbox


def parts(message: EmailMessage) -> dict[str, Message]:
    return {part.get_content_type(): part for part in message.message().walk()}


@pytest.mark.django_db
def test_what_is_owed_and_what_is_new_come_in_one_mail_with_text_html_and_links(small_world: World) -> None:
    world = small_world
    quiet(world)
    late, soon = owes(world, world.engineer, -2, "Torque < 20 N·m"), owes(world, world.engineer, 1)
    owes(world, world.engineer, 2)
    notices.tell(
        notices.News("gate", "g", "GUB10 & all: a gate.", "site", world.site.pk),
        project=world.project,
        people=[world.engineer.pk],
    )
    world.engineer.memberships.get().notices.update(made_at=SEVEN - timedelta(hours=1))
    assert write_daily(SEVEN) == 1
    (message,) = sent()
    assert message.to == [world.engineer.email]
    assert message.subject == f"{world.project.code}: 1 overdue, 1 due by tomorrow, 1 new"
    text = parts(message)["text/plain"].get_payload(decode=True).decode()
    html = parts(message)["text/html"].get_payload(decode=True).decode()
    for one in (late, soon):
        page = "http://localhost:8000" + reverse("punch-item", args=[world.project.code, one.removeprefix("P-")])
        assert f"{one} (" in text
        assert page in text
        assert f'href="{page}"' in html
    assert text.count("P-") == 2, "what is due later is not in it"
    assert "Torque < 20 N·m" in text
    assert "Torque &lt; 20 N·m" in html
    assert "GUB10 & all: a gate." in text
    assert reverse("notice", args=[world.project.code, world.engineer.memberships.get().notices.get().pk]) in html


@pytest.mark.django_db
def test_where_nothing_is_to_say_nothing_goes_and_the_turn_is_over_for_that_day(small_world: World) -> None:
    quiet(small_world)
    assert write_daily(SEVEN) == 0
    owes(small_world, small_world.engineer, -2)
    assert write_daily(SEVEN + timedelta(hours=4)) == 0
    assert write_daily(SEVEN + timedelta(days=1)) == 1
    assert len(sent()) == 1


@pytest.mark.django_db
def test_it_comes_at_the_hour_and_by_the_clock_that_the_person_chose(small_world: World) -> None:
    world = small_world
    quiet(world)
    owes(world, world.engineer, -2)
    # Pacific/Noumea is UTC+11 all year (tz database): 16:00 there on the 10th is 05:00 UTC.
    notices.set_clock(user=world.engineer, time_zone="Pacific/Noumea", hour=16)
    assert write_daily(datetime(2031, 3, 10, 4, 59, tzinfo=UTC)) == 0
    assert write_daily(datetime(2031, 3, 10, 5, 0, tzinfo=UTC)) == 1
    assert Mail.objects.get().key == "daily:2031-03-10"
    assert write_daily(datetime(2031, 3, 10, 12, 59, tzinfo=UTC)) == 0, "it is still the 10th there"
    assert write_daily(datetime(2031, 3, 11, 4, 59, tzinfo=UTC)) == 0
    assert write_daily(datetime(2031, 3, 11, 5, 0, tzinfo=UTC)) == 1


@pytest.mark.django_db
def test_what_was_looked_at_or_told_before_the_last_mail_is_not_told_again(small_world: World) -> None:
    world = small_world
    quiet(world)
    member = world.engineer.memberships.get()
    notices.write(notices.News("gate", name, name, "site", world.site.pk).notice(member.pk) for name in ("old", "seen"))
    notices.write([notices.News("gate", "new", "new", "site", world.site.pk).notice(member.pk)])
    member.notices.filter(key="old").update(made_at=SEVEN - timedelta(days=2))
    member.notices.exclude(key="old").update(made_at=SEVEN - timedelta(hours=3))
    notices.look_at(membership=member, id=member.notices.get(key="seen").pk)
    write_daily(SEVEN)
    assert [line for line in sent()[0].body.splitlines() if line.startswith("- ")] == ["- 2031-03-10 04:00 new"]
    assert write_daily(SEVEN + timedelta(days=1)) == 0


@pytest.mark.django_db
def test_items_at_a_site_that_a_person_does_not_see_are_not_in_their_mail(small_world: World) -> None:
    world = small_world
    owes(world, world.engineer, -2)
    elsewhere = Site.objects.create(project=world.project, code="VOF", name="Vexley Outfall")
    make_member(project=world.project, user=world.engineer, role=Role.FIELD_ENGINEER, sites=[elsewhere])
    quiet(world)
    assert write_daily(SEVEN) == 0


@pytest.mark.django_db(transaction=True)
def test_two_schedulers_at_the_same_moment_write_and_send_one_mail() -> None:
    world = make_project()
    quiet(world)
    owes(world, world.engineer, -2)
    assert together(lambda: write_daily(SEVEN), lambda: write_daily(SEVEN)) == []
    later = SEVEN + timedelta(days=9)
    assert together(lambda: outgoing.send_waiting(later), lambda: outgoing.send_waiting(later)) == []
    assert len(post.outbox) == Mail.objects.count() == 1
    assert Mail.objects.get().text == "", "what was sent is not kept"


@pytest.mark.django_db
def test_a_mail_server_that_is_away_gets_it_later_and_only_once(small_world: World, settings: object) -> None:
    quiet(small_world)
    owes(small_world, small_world.engineer, -2)
    write_daily(SEVEN)
    start = SEVEN + timedelta(days=9)
    backend = settings.EMAIL_BACKEND  # type: ignore[attr-defined]
    settings.EMAIL_BACKEND = f"{NoServer.__module__}.NoServer"  # type: ignore[attr-defined]
    assert outgoing.send_waiting(start) == 0
    assert "no mail server here" in Mail.objects.get().fault
    settings.EMAIL_BACKEND = backend  # type: ignore[attr-defined]
    assert outgoing.send_waiting(start + outgoing.WAIT - timedelta(seconds=1)) == 0, "it waits before it tries again"
    assert outgoing.send_waiting(start + outgoing.WAIT) == 1
    assert outgoing.send_waiting(start + timedelta(days=5)) == 0


class Picky(BaseEmailBackend):
    """A mail server that does not know one address."""

    def send_messages(self, email_messages: Sequence[EmailMessage]) -> int:
        for one in email_messages:
            if one.to[0].startswith("engineer"):
                raise smtplib.SMTPRecipientsRefused({one.to[0]: (550, b"no such user")})
            post.outbox.append(one)
        return len(email_messages)


@pytest.mark.django_db
def test_an_address_that_is_refused_holds_up_nobody_else(small_world: World, settings: object) -> None:
    world = small_world
    for person in (world.engineer, world.second_engineer):
        owes(world, person, -2)
    world.project.memberships.exclude(user__in=[world.engineer, world.second_engineer]).update(left_at=SEVEN)
    write_daily(SEVEN)
    settings.EMAIL_BACKEND = f"{__name__}.Picky"  # type: ignore[attr-defined]
    assert [one.to for one in sent()] == [[world.second_engineer.email]]
    assert Mail.objects.filter(sent_at__isnull=True).count() == 1


@pytest.mark.django_db
def test_one_click_switches_the_daily_mail_off_and_nothing_else(small_world: World) -> None:
    """RFC 8058, section 3.1: the header, and a POST of 'List-Unsubscribe=One-Click' without cookies."""
    world = small_world
    quiet(world)
    owes(world, world.engineer, -2)
    write_daily(SEVEN)
    (message,) = sent()
    assert message.extra_headers["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    link = message.extra_headers["List-Unsubscribe"].strip("<>").removeprefix("http://localhost:8000")
    assert link in message.body
    member = world.engineer.memberships.get()
    program = Client(enforce_csrf_checks=True)
    assert "Punch" not in program.get(link).content.decode()
    assert notices.switched_off(member) == set(), "programs that look through mails follow links"
    assert program.post(link, {"List-Unsubscribe": "One-Click"}).status_code == 200
    assert notices.switched_off(member) == set(DAILY)
    assert write_daily(SEVEN + timedelta(days=1)) == 0
    assert program.post(link[:-3] + "xx/").status_code == 410
    member.left_at = SEVEN
    member.save()
    assert program.get(link).status_code == 410


@pytest.mark.django_db
def test_every_kind_is_switched_off_on_the_page_and_a_zone_that_is_none_is_refused_beside_its_field(
    small_world: World,
) -> None:
    world = small_world
    quiet(world)
    owes(world, world.engineer, -2)
    browser = Client()
    browser.force_login(world.engineer)
    page = reverse("notices-choice", args=[world.project.code])
    assert browser.post(page, {"hour": "16", "time_zone": "Pacific/Noumea"}).status_code == 302
    assert notices.switched_off(world.engineer.memberships.get()) == set(ALL_SWITCHES)
    assert (world.engineer.clock.hour, world.engineer.clock.time_zone) == (16, "Pacific/Noumea")
    assert write_daily(SEVEN) == 0
    for typed, words in (
        ({"hour": "7", "time_zone": "Quillmarsh"}, "Name a time zone"),
        ({"hour": "24"}, "Write a whole hour, 0 to 23."),
    ):
        answer = browser.post(page, typed)
        assert (answer.status_code, words in answer.content.decode()) == (422, True)
