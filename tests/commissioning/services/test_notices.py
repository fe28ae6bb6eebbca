"""Who is told of what, once, and what a person switched off."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from commissioning.models import Membership, Notice, NoticeKind, Role, Site, User
from commissioning.rules.notices import ALL_SWITCHES, SWITCHES
from commissioning.services import notices, stages, witnessing
from punchlist.services.items import assign_items, change_item, raise_item
from tests.commissioning.views.plant import add_lines, ready_to_accept
from tests.punchlist.making import make_item
from tests.support.world import PASSWORD, World, make_member, make_user

pytestmark = pytest.mark.django_db


def told(person: User, kind: str | None = None) -> list[str]:
    found = Notice.objects.filter(membership__user=person, **({"kind": kind} if kind else {}))
    return list(found.order_by("pk").values_list("words", flat=True))


def member(world: World, person: User) -> Membership:
    return world.project.memberships.get(user=person)


def test_every_kind_of_notice_has_its_switch() -> None:
    assert set(NoticeKind.values) == set(SWITCHES)


def test_whoever_is_named_on_an_item_hears_of_it_and_whoever_names_themselves_does_not(small_world: World) -> None:
    world = small_world
    item = make_item(world, owes=world.second_engineer)
    make_item(world, owes=world.engineer)  # by the engineer
    assert told(world.second_engineer) == [f"{item.label} is yours: {item.text}"]
    assert told(world.engineer) == []
    change_item(actor=world.engineer, item=item, text="Gland plate still open")  # nobody else owes it now
    assert len(told(world.second_engineer)) == 1
    change_item(actor=world.engineer, item=item, owes=world.manager)
    assert told(world.manager) == [f"{item.label} is yours: Gland plate still open"]


def test_many_items_assigned_at_once_are_one_notice(small_world: World) -> None:
    world = small_world
    items = [make_item(world) for _ in range(3)]
    for _ in range(2):  # sent twice
        assign_items(
            actor=world.manager,
            project=world.project,
            items=[one.pk for one in items],
            owes=world.second_engineer,
            id=items[0].pk,
        )
    assert told(world.second_engineer) == ["3 punch items are yours: P-1, P-2, P-3."]


def test_a_phone_that_sends_twice_tells_once(small_world: World) -> None:
    world = small_world
    sent = {"owes": world.manager, "id": world.site.pk, "system": world.system, "stage": world.stages[0]}
    for _ in range(2):
        raise_item(actor=world.engineer, category="B", text="Label missing", **sent)
    assert len(told(world.manager)) == 1


def test_a_gate_is_told_to_everybody_who_sees_the_site_but_the_signer(small_world: World) -> None:
    world = small_world
    elsewhere = Site.objects.create(project=world.project, code="VOF", name="Vexley Outfall")
    far = make_user(username="far", name="Una Threlkeld")
    near = make_user(username="near", name="Edda Sorrel")
    make_member(project=world.project, user=far, role=Role.MANAGER, sites=[elsewhere])
    make_member(project=world.project, user=near, role=Role.CLIENT, sites=[world.site, elsewhere])
    stage = ready_to_accept(world)
    stages.accept_stage(stage=stage, signed_by=world.client, password=PASSWORD)
    words = [f"{stage} was accepted by {world.client}."]
    assert told(world.manager) == told(world.engineer) == told(near) == words
    assert told(world.client) == told(far) == told(world.stranger) == []
    stages.withdraw_acceptance(actor=world.manager, stage=stage, reason="torque not recorded")
    assert told(world.client) == [f"{stage}: acceptance withdrawn: torque not recorded"]


def test_the_party_that_a_point_names_is_invited_by_the_clock_of_the_site(small_world: World) -> None:
    world = small_world
    line = add_lines(world.stages[0], 1)[0]
    line.point, line.party = "witness", Role.CLIENT
    line.save()
    at = timezone.now().replace(year=2031, month=7, day=4, hour=9, minute=30)
    witnessing.give_notice(actor=world.engineer, line=line, planned_for=at)
    # British Summer Time is UTC+1 (tz database, Europe/London).
    assert told(world.client) == [
        f"GUB10: you are invited to witness '{line.title}' at 2031-07-04 10:30 (Europe/London)."
    ]
    assert told(world.manager) == told(world.engineer) == []


def test_what_a_person_switched_off_is_not_told_and_others_still_hear(small_world: World) -> None:
    world = small_world
    browser = Client()
    browser.force_login(world.manager)
    clock = {"hour": "7", "time_zone": ""}
    wanted = {kind: "on" for kind in ALL_SWITCHES if kind != "gate"} | clock
    browser.post(reverse("notices-choice", args=[world.project.code]), wanted)
    stages.accept_stage(stage=ready_to_accept(world), signed_by=world.client, password=PASSWORD)
    assert told(world.manager) == []
    assert len(told(world.engineer)) == 1
    browser.post(reverse("notices-choice", args=[world.project.code]), dict.fromkeys(ALL_SWITCHES, "on") | clock)
    assert notices.switched_off(member(world, world.manager)) == set()


def test_the_bell_counts_what_is_new_until_it_is_followed_or_ticked_off(small_world: World) -> None:
    world = small_world
    code = world.project.code
    for _ in range(3):
        item = make_item(world, owes=world.manager)
    browser = Client()
    browser.force_login(world.manager)

    def bell() -> int:
        return browser.get(reverse("punch-list", args=[code])).context["unseen"]

    assert bell() == 3
    newest = Notice.objects.get(link_id=str(item.pk))
    assert browser.get(reverse("notice", args=[code, newest.pk]))["Location"] == reverse(
        "punch-item-by-id", args=[code, item.pk]
    )
    assert bell() == 2
    later = make_item(world, owes=world.manager)
    browser.post(reverse("notices-seen", args=[code]), {"newest": str(newest.pk)})
    assert bell() == 1, "what came after the page was shown stays new"
    assert later.label in browser.get(reverse("notices", args=[code])).content.decode()


def test_what_concerns_a_site_that_a_person_no_longer_sees_is_not_shown_to_them(small_world: World) -> None:
    world = small_world
    make_item(world, owes=world.second_engineer)
    elsewhere = Site.objects.create(project=world.project, code="VOF", name="Vexley Outfall")
    make_member(project=world.project, user=world.second_engineer, role=Role.FIELD_ENGINEER, sites=[elsewhere])
    browser = Client()
    browser.force_login(world.second_engineer)
    answer = browser.get(reverse("notices", args=[world.project.code]))
    assert answer.context["unseen"] == 0
    assert answer.context["rows"] == []


def test_the_list_goes_on_by_the_key_of_its_last_row_in_a_fixed_number_of_queries(
    small_world: World, django_assert_max_num_queries: object
) -> None:
    world = small_world
    mine = member(world, world.manager)
    notices.write(notices.News("gate", f"g{n}", f"gate {n}", "site", world.site.pk).notice(mine.pk) for n in range(95))
    browser = Client()
    browser.force_login(world.manager)
    address: str | None = reverse("notices", args=[world.project.code])
    shown: list[str] = []
    while address:
        with django_assert_max_num_queries(9):  # type: ignore[operator]
            answer = browser.get(address)
        shown += [row["notice"].words for row in answer.context["rows"]]
        address = answer.context["next"]
    assert shown == [f"gate {n}" for n in reversed(range(95))]


def test_old_notices_go(small_world: World) -> None:
    make_item(small_world, owes=small_world.manager)
    assert notices.drop_old() == 0
    assert notices.drop_old(timezone.now() + notices.KEPT + timedelta(days=1)) == 1
