"""A gate on its pages: what is signed, by whom, and what refuses."""

from __future__ import annotations

from datetime import date

import pytest

from commissioning.models import Acceptance
from commissioning.services.concessions import sign_concession
from commissioning.services.lines import record_result
from commissioning.services.stages import accept_stage
from punchlist.services.items import raise_item
from tests.commissioning.views.plant import accepted, add_lines, energising, ready_to_accept
from tests.commissioning.views.reading import address, main_words, signed_in, words
from tests.support.emptying import behind_the_back
from tests.support.world import PASSWORD, World

pytestmark = pytest.mark.django_db


def _url(world: World, stage, *more: str) -> str:
    return address(world.project.code, "stages", stage.pk, *more)


def test_the_form_says_exactly_what_is_signed(small_world: World) -> None:
    stage = ready_to_accept(small_world)
    failed = stage.lines.last()
    record_result(actor=small_world.engineer, line=failed, outcome="failed", remark="Torque mark missing")
    sign_concession(signed_by=small_world.manager, line=failed, reason="Checked by hand", password=PASSWORD)
    raise_item(actor=small_world.client, system=stage.system, stage=stage, category="C", text="Paint scratched")
    said = main_words(signed_in(small_world.client).get(_url(small_world, stage, "accept")))
    assert "2 passed, 1 failed, with concession" in said
    assert "1 recorded isolated" in said
    assert "Terminals tight, row 3: Checked by hand (Isolde Marrack" in said
    assert "P-1 category C Paint scratched" in said
    assert "You sign as Perpetua Lunn , client." in said


def test_signing_accepts_the_gate(small_world: World) -> None:
    stage = ready_to_accept(small_world)
    given = {"password": PASSWORD, "remark": "Walked the room."}
    answer = signed_in(small_world.client).post(_url(small_world, stage, "accept"), given, follow=True)
    said = main_words(answer)
    assert "GUB10 mechanical completion is accepted." in said
    assert "accepted by Perpetua Lunn , client" in said
    assert "Walked the room." in said
    assert Acceptance.objects.get(stage=stage).signed_hash in said


def test_a_wrong_password_signs_nothing_and_keeps_the_remark(small_world: World) -> None:
    stage = ready_to_accept(small_world)
    given = {"password": "wrong-guess", "remark": "Walked the room."}
    answer = signed_in(small_world.client).post(_url(small_world, stage, "accept"), given)
    assert answer.status_code == 422
    assert "This is not your password" in words(answer)
    assert "Walked the room." in words(answer)
    assert "wrong-guess" not in answer.content.decode()
    assert not Acceptance.objects.exists()


def test_without_a_password_nothing_is_signed(small_world: World) -> None:
    stage = ready_to_accept(small_world)
    answer = signed_in(small_world.client).post(_url(small_world, stage, "accept"), {"remark": ""})
    assert "Type your password to sign." in words(answer)
    assert not Acceptance.objects.exists()


def test_a_held_gate_shows_its_blockers_instead_of_the_form(small_world: World) -> None:
    stage = ready_to_accept(small_world)
    add_lines_more = stage.lines.first()
    add_lines_more.state = "open"
    add_lines_more.save()
    browser = signed_in(small_world.client)
    shown = browser.get(_url(small_world, stage, "accept"))
    assert "It cannot be accepted yet" in words(shown)
    assert 'type="password"' not in shown.content.decode()
    sent = browser.post(_url(small_world, stage, "accept"), {"password": PASSWORD})
    assert sent.status_code == 422
    assert "Not signed. The gate is held:" in words(sent)
    assert "Not done: Terminals tight, row 1." in words(sent)
    assert not Acceptance.objects.exists()


@pytest.mark.parametrize("who", ["engineer", "second_engineer"])
def test_a_field_engineer_is_told_who_signs(small_world: World, who: str) -> None:
    stage = ready_to_accept(small_world)
    browser = signed_in(getattr(small_world, who))
    assert "A gate is accepted by a manager or the client" in words(browser.get(_url(small_world, stage, "accept")))
    assert browser.post(_url(small_world, stage, "accept"), {"password": PASSWORD}).status_code == 422
    assert not Acceptance.objects.exists()


def test_the_second_to_sign_sees_who_was_first(small_world: World) -> None:
    stage = ready_to_accept(small_world)
    manager = signed_in(small_world.manager)
    assert "Your signature covers" in words(manager.get(_url(small_world, stage, "accept")))
    accept_stage(stage=stage, signed_by=small_world.client, password=PASSWORD)
    answer = manager.post(_url(small_world, stage, "accept"), {"password": PASSWORD})
    assert answer.status_code == 422
    assert "Perpetua Lunn has already accepted GUB10 mechanical completion." in words(answer)
    assert Acceptance.objects.count() == 1


def test_the_same_form_sent_twice_signs_once(small_world: World) -> None:
    stage = ready_to_accept(small_world)
    browser, url = signed_in(small_world.client), _url(small_world, stage, "accept")
    key = browser.get(url).context["form"]["client_uuid"].value()
    for _ in range(2):
        assert browser.post(url, {"password": PASSWORD, "client_uuid": key}).status_code == 302
    assert str(Acceptance.objects.get().pk) == str(key)


def test_a_signature_is_proved_on_demand_and_tampering_shows(small_world: World) -> None:
    stage = accepted(small_world)
    acceptance = stage.acceptances.get()
    browser, url = signed_in(small_world.client), _url(small_world, stage)
    assert "agrees" not in words(browser.get(url))
    assert "is the record that was signed" in words(browser.get(url, {"prove": acceptance.pk}))
    acceptance.signed_content["stage"] = "energisation"
    with behind_the_back():
        acceptance.save()
    assert "is not the record that was signed" in words(browser.get(url, {"prove": acceptance.pk}))


def test_withdrawing_says_what_goes_with_it_and_keeps_the_reason(small_world: World) -> None:
    energising(small_world)
    first = small_world.stages[0]
    browser, url = signed_in(small_world.manager), _url(small_world, first, "withdraw")
    shown = main_words(browser.get(url))
    assert "The acceptance of GUB10 pre-energisation is withdrawn with it." in shown
    said = words(browser.post(url, {"reason": "Bond found open."}, follow=True))
    assert "is withdrawn, and 1 that rest on it." in said
    assert "Withdrawn by Isolde Marrack" in said
    assert "Bond found open." in said
    assert {stage.state for stage in small_world.stages[:3]} == {"started"}


def test_withdrawing_asks_for_the_reason(small_world: World) -> None:
    stage = accepted(small_world)
    answer = signed_in(small_world.manager).post(_url(small_world, stage, "withdraw"), {"reason": " "})
    assert answer.status_code == 422
    assert "Say why it is withdrawn" in words(answer)
    assert stage.acceptances.get().withdrawn_at is None


@pytest.mark.parametrize("who", ["engineer", "client"])
def test_only_a_manager_withdraws(small_world: World, who: str) -> None:
    stage = accepted(small_world)
    browser = signed_in(getattr(small_world, who))
    assert "A manager of the project withdraws" in words(browser.get(_url(small_world, stage, "withdraw")))
    browser.post(_url(small_world, stage, "withdraw"), {"reason": "I say so"})
    assert stage.acceptances.get().withdrawn_at is None


def test_a_gate_is_planned_and_unplanned(small_world: World) -> None:
    stage = small_world.stages[0]
    browser, url = signed_in(small_world.manager), _url(small_world, stage, "plan")
    wrong = browser.post(url, {"planned_for": "31/03/2026"})
    assert "Write the date as 2026-03-31." in words(wrong)
    assert "31/03/2026" in wrong.content.decode()
    said = words(browser.post(url, {"planned_for": "2026-03-31"}, follow=True))
    assert "planned for 2026-03-31" in said
    stage.refresh_from_db()
    assert stage.planned_for == date(2026, 3, 31)
    assert "has no date any more" in words(browser.post(url, {"planned_for": ""}, follow=True))


@pytest.mark.parametrize("who", ["engineer", "client"])
def test_only_a_manager_plans(small_world: World, who: str) -> None:
    stage = small_world.stages[0]
    browser, url = signed_in(getattr(small_world, who)), _url(small_world, stage, "plan")
    assert "A manager of the project plans the gates." in words(browser.get(url))
    browser.post(url, {"planned_for": "2026-03-31"})
    stage.refresh_from_db()
    assert stage.planned_for is None


def test_the_stage_lists_its_lines_with_their_state(small_world: World) -> None:
    stage = small_world.stages[0]
    add_lines(stage, 2, done=1, by=small_world.engineer)
    said = main_words(signed_in(small_world.client).get(_url(small_world, stage)))
    assert "1 of 2 done" in said
    assert "1 Terminals tight, row 1 passed" in said
    assert "2 Terminals tight, row 2 open" in said


def test_a_stage_without_lines_says_how_they_get_there(small_world: World) -> None:
    said = main_words(signed_in(small_world.client).get(_url(small_world, small_world.stages[0])))
    assert "A manager lays a procedure out on the system" in said
