"""Isolating, permitting, releasing: on the pages, with their refusals."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone

from commissioning.models import PermissionToEnergise, SupplyChange, SupplyPoint
from commissioning.services.supplies import sign_permission
from tests.commissioning.views.plant import add_supply, energising, record_live
from tests.commissioning.views.reading import address, links, main_words, signed_in, words
from tests.support.emptying import behind_the_back
from tests.support.world import PASSWORD, World

pytestmark = pytest.mark.django_db


def _in(hours: int) -> str:
    """A moment of the project's zone, as it is typed."""
    return f"{timezone.now().astimezone(ZoneInfo('Europe/London')) + timedelta(hours=hours):%Y-%m-%d %H:%M}"


def _supply_url(world: World, supply: SupplyPoint, *more: str) -> str:
    return address(world.project.code, "supplies", supply.pk, *more)


def _permission(world: World, stage, supply: SupplyPoint, hours: int = 4) -> PermissionToEnergise:
    return sign_permission(
        signed_by=world.manager,
        stage=stage,
        supplies=[supply],
        valid_until=timezone.now() + timedelta(hours=hours),
        password=PASSWORD,
        precautions="Room barred off.",
    )


def test_an_isolation_is_recorded_with_its_lock(small_world: World) -> None:
    supply = add_supply(small_world.system)
    given = {"lock_number": "L-77", "remark": "Notice on the door."}
    answer = signed_in(small_world.engineer).post(_supply_url(small_world, supply, "isolate"), given, follow=True)
    said = words(answer)
    assert "Q1 is recorded isolated. Prove dead at the point of work." in said
    assert "recorded isolated - prove dead at the point of work" in said
    assert "L-77" in said
    assert SupplyChange.objects.get().remark == "Notice on the door."


def test_an_isolation_without_a_lock_is_refused_and_what_was_typed_stays(small_world: World) -> None:
    supply = add_supply(small_world.system)
    answer = signed_in(small_world.engineer).post(
        _supply_url(small_world, supply, "isolate"), {"lock_number": "", "remark": "Fuses drawn."}
    )
    assert answer.status_code == 422
    assert "An isolation without a lock is not recorded." in words(answer)
    assert "Fuses drawn." in words(answer)
    assert not SupplyChange.objects.exists()


def test_the_same_isolation_sent_twice_is_recorded_once(small_world: World) -> None:
    supply = add_supply(small_world.system)
    browser = signed_in(small_world.engineer)
    key = browser.get(_supply_url(small_world, supply)).context["isolate_form"]["client_uuid"].value()
    for _ in range(2):
        browser.post(_supply_url(small_world, supply, "isolate"), {"lock_number": "L-1", "client_uuid": key})
    assert SupplyChange.objects.count() == 1


def test_the_client_reads_but_is_given_nothing_to_press(small_world: World) -> None:
    supply = add_supply(small_world.system, isolated_by=small_world.engineer)
    browser = signed_in(small_world.client)
    page = browser.get(_supply_url(small_world, supply))
    assert "L-204" in words(page)
    assert _supply_url(small_world, supply, "isolate") not in links(page)
    answer = browser.post(_supply_url(small_world, supply, "isolate"), {"lock_number": "L-1"})
    assert "As client you cannot record an isolation" in words(answer)
    supply.refresh_from_db()
    assert supply.lock_number == "L-204"


def test_a_battery_supply_says_that_its_terminals_stay_live(small_world: World) -> None:
    supply = add_supply(small_world.system, tag="F1", kind="battery", isolated_by=small_world.engineer)
    assert "A battery is never dead" in main_words(
        signed_in(small_world.engineer).get(_supply_url(small_world, supply))
    )


def test_the_authorised_person_signs_and_the_supply_is_released(small_world: World) -> None:
    stage = energising(small_world)
    supply = small_world.system.supplies.get()
    until = _in(4)
    given = {
        "supplies": [supply.pk],
        "valid_until": until,
        "precautions": "Room barred off, control room told.",
        "password": PASSWORD,
    }
    url = address(small_world.project.code, "stages", stage.pk, "permission")
    signed = signed_in(small_world.manager).post(url, given, follow=True)
    assert "It stands until" in words(signed)
    assert "Room barred off, control room told." in words(signed)
    permission = PermissionToEnergise.objects.get()
    assert f"{permission.valid_until.astimezone(ZoneInfo('Europe/London')):%Y-%m-%d %H:%M}" == until
    engineer = signed_in(small_world.engineer)
    shown = engineer.get(_supply_url(small_world, supply))
    assert "Releasing puts energy in" in words(shown)
    answer = engineer.post(
        _supply_url(small_world, supply, "release"), {"permission": permission.pk, "remark": "Closed."}, follow=True
    )
    assert "Q1 is recorded released: the system is LIVE." in words(answer)
    assert 'class="has-live"' in answer.content.decode()


def test_a_release_that_the_rules_refuse_shows_the_blockers(small_world: World) -> None:
    stage = energising(small_world)
    supply = small_world.system.supplies.get()
    permission = _permission(small_world, stage, supply)
    with behind_the_back():
        PermissionToEnergise.objects.update(
            valid_until=timezone.now() - timedelta(minutes=1), valid_from=timezone.now() - timedelta(hours=5)
        )
    answer = signed_in(small_world.engineer).post(
        _supply_url(small_world, supply, "release"), {"permission": permission.pk}
    )
    assert answer.status_code == 422
    assert "lapsed at" in words(answer)
    supply.refresh_from_db()
    assert supply.state == "isolated"


def test_a_refusal_tells_the_time_of_the_site(small_world: World) -> None:
    small_world.site.time_zone = "Asia/Tokyo"
    small_world.site.save()
    stage = energising(small_world)
    supply = small_world.system.supplies.get()
    permission = _permission(small_world, stage, supply)
    lapsed = datetime(2026, 3, 1, 6, 30, tzinfo=UTC)
    with behind_the_back():
        PermissionToEnergise.objects.update(valid_until=lapsed, valid_from=lapsed - timedelta(hours=1))
    answer = signed_in(small_world.engineer).post(
        _supply_url(small_world, supply, "release"), {"permission": permission.pk}
    )
    assert "lapsed at 2026-03-01 15:30 JST" in words(answer)


def test_a_release_needs_a_permission_of_this_supply(small_world: World) -> None:
    stage = energising(small_world)
    supply = small_world.system.supplies.get()
    other = add_supply(small_world.system, tag="Q2", isolated_by=small_world.engineer)
    permission = _permission(small_world, stage, other)
    answer = signed_in(small_world.engineer).post(
        _supply_url(small_world, supply, "release"), {"permission": permission.pk}
    )
    assert answer.status_code == 422
    supply.refresh_from_db()
    assert supply.state == "isolated"


def test_only_the_authorised_person_is_given_the_form(small_world: World) -> None:
    stage = energising(small_world)
    supply = small_world.system.supplies.get()
    url = address(small_world.project.code, "stages", stage.pk, "permission")
    for who in ("engineer", "client"):
        browser = signed_in(getattr(small_world, who))
        page = browser.get(url)
        assert "Only the authorised person signs" in words(page)
        assert 'type="password"' not in page.content.decode()
        given = {"supplies": [supply.pk], "valid_until": _in(4), "precautions": "x", "password": PASSWORD}
        browser.post(url, given)
    assert not PermissionToEnergise.objects.exists()


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"valid_until": "tomorrow"}, "Write it as 2026-03-31 14:30."),
        ({"valid_until": _in(24 * 9)}, "at most 7 days"),
        ({"valid_until": _in(-2)}, "must end after it begins"),
        ({"supplies": []}, "Name at least one supply."),
        ({"precautions": ""}, "Write the precautions"),
        ({"password": "wrong"}, "This is not your password"),
    ],
)
def test_a_permission_is_refused_beside_the_field(small_world: World, changed: dict[str, object], said: str) -> None:
    stage = energising(small_world)
    supply = small_world.system.supplies.get()
    given = {"supplies": [supply.pk], "valid_until": _in(4), "precautions": "Barred off.", "password": PASSWORD}
    url = address(small_world.project.code, "stages", stage.pk, "permission")
    answer = signed_in(small_world.manager).post(url, {**given, **changed})
    assert answer.status_code == 422
    assert said in words(answer)
    assert not PermissionToEnergise.objects.exists()


def test_a_dead_stage_offers_no_permission(small_world: World) -> None:
    stage = small_world.stages[0]
    page = signed_in(small_world.manager).get(address(small_world.project.code, "stages", stage.pk, "permission"))
    assert "is done dead: nothing is energised in it" in words(page)
    assert 'type="password"' not in page.content.decode()


def test_a_permission_is_withdrawn_with_a_reason(small_world: World) -> None:
    stage = energising(small_world)
    supply = small_world.system.supplies.get()
    permission = _permission(small_world, stage, supply)
    record_live(supply, by=small_world.engineer)
    browser = signed_in(small_world.engineer)
    url = address(small_world.project.code, "permissions", permission.pk, "withdraw")
    assert "Q1 stays recorded LIVE until isolated" in words(browser.get(url)).replace("stay recorded", "stays recorded")
    assert browser.post(url, {"reason": ""}).status_code == 422
    browser.post(url, {"reason": "Smoke seen."})
    permission.refresh_from_db()
    assert permission.withdrawn_reason == "Smoke seen."
    shown = words(browser.get(address(small_world.project.code, "systems", small_world.system.pk, "supplies")))
    assert "LIVE without a permission that stands: isolate it now" in shown


def test_a_permission_is_proved_on_demand(small_world: World) -> None:
    stage = energising(small_world)
    permission = _permission(small_world, stage, small_world.system.supplies.get())
    browser, url = signed_in(small_world.client), address(small_world.project.code, "permissions", permission.pk)
    assert "What is stored is what was signed" in words(browser.get(url + "?prove"))
    with behind_the_back():
        PermissionToEnergise.objects.update(signed_content={"supplies": ["another"]})
    assert "What is stored is not what was signed" in words(browser.get(url + "?prove"))
