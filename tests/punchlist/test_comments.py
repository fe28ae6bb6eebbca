"""A client's comment on a dossier of any scope becomes a punch item in two taps, and the client sees what became."""

from __future__ import annotations

import re
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.http import HttpResponse
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from rest_framework.test import APIClient

from commissioning.errors import Conflict, InvalidInput, NotAllowed
from commissioning.models import AuditEntry, Dossier, Role, Site
from punchlist.models import DossierComment, PunchItem
from punchlist.services.comments import answer_comment, comment_on_dossier, put_on_punch_list
from punchlist.services.items import rectify_item
from tests.commissioning.views.reading import main_words, signed_in
from tests.punchlist.making import make_equipment
from tests.support.dossiers import ask, built
from tests.support.world import World, make_member, make_project, make_system, make_user

pytestmark = pytest.mark.django_db
SCOPES: tuple[dict[str, Any], ...] = ({}, {"scope": "site"}, {"scope": "project"})


def at(name: str, record: Any) -> str:
    code = record.project.code
    return reverse(name, args=[code, record.pk])


def made_by_client(world: World, dossier: Dossier, **more: Any) -> DossierComment:
    return comment_on_dossier(actor=world.client, dossier=dossier, text="Page 4 names no torque", **more)


def put(world: World, comment: DossierComment, **more: Any) -> PunchItem:
    stage = world.system.stages.order_by("order").first()
    given = {"actor": world.manager, "system": world.system, "stage": stage, "category": "B", **more}
    return put_on_punch_list(comment=comment, **given)


def form_sent(world: World, answer: HttpResponse, **typed: str) -> dict[str, str]:
    """The fields as they stand in the first form that puts a comment on the list, with what is typed over them."""
    form = re.search(r'<form[^>]*/put/".*?</form>', answer.content.decode(), re.S)[0]  # type: ignore[index]
    inputs = [dict(re.findall(r'(name|value)="([^"]*)"', one)) for one in re.findall(r"<input[^>]*>", form)]
    prefix = re.search(r'name="([0-9a-f]{32})-tag"', form)[1]  # type: ignore[index]
    stand = {one["name"]: one.get("value", "") for one in inputs if "name" in one}
    return {**stand, **{f"{prefix}-{name}": words for name, words in typed.items()}}


@pytest.mark.parametrize("scope", SCOPES)
def test_a_comment_becomes_an_item_and_the_client_sees_what_became(small_world: World, scope: dict[str, Any]) -> None:
    world = small_world
    pump = make_equipment(world.system, "QF7")
    make_system(site=world.site, tag="BUA10")
    dossier = built(world, **scope, **({"site": world.site} if scope.get("scope") == "site" else {}))
    client, manager = signed_in(world.client), signed_in(world.manager)
    url = at("dossier-comments", dossier)
    assert client.post(url, {"text": "Page 4 names no torque", "tag": "QF7"})["Location"] == url
    assert "open a manager or a field engineer looks at it" in main_words(client.get(url))
    shown = manager.get(url)
    comment = DossierComment.objects.get()
    sent = form_sent(world, shown, category="B")
    assert sent[f"{comment.pk.hex}-tag"] == "QF7"
    assert manager.post(at("dossier-comment-put", comment), sent)["Location"] == url
    item = PunchItem.objects.get()
    assert (item.system, item.equipment, item.category, item.raised_by) == (world.system, pump, "B", world.manager)
    assert item.text.startswith("Page 4 names no torque")
    assert f"on dossier {dossier.label}" in item.text
    assert f"{item.label} B open against QF7" in main_words(client.get(url)).replace("category ", "")
    rectify_item(actor=world.engineer, item=item)
    assert f"{item.label} B rectified against QF7" in main_words(client.get(url)).replace("category ", "")


def test_the_tag_of_the_only_system_stands_there_already(small_world: World) -> None:
    made_by_client(small_world, dossier := built(small_world))
    shown = signed_in(small_world.engineer).get(at("dossier-comments", dossier))
    comment = DossierComment.objects.get()
    assert form_sent(small_world, shown)[f"{comment.pk.hex}-tag"] == small_world.system.tag
    answer = signed_in(small_world.engineer).post(at("dossier-comment-put", comment), form_sent(small_world, shown))
    assert answer.status_code == 422
    assert PunchItem.objects.count() == 0


def test_a_tag_that_nothing_carries_stays_in_the_form(small_world: World) -> None:
    comment = made_by_client(small_world, dossier := built(small_world))
    browser = signed_in(small_world.manager)
    sent = form_sent(small_world, browser.get(at("dossier-comments", dossier)), tag="NOWHERE", category="C")
    answer = browser.post(at("dossier-comment-put", comment), sent)
    assert answer.status_code == 422
    assert "Nothing here carries this tag" in main_words(answer)
    assert 'value="NOWHERE"' in answer.content.decode()


def test_many_comments_take_as_many_queries_as_two(small_world: World) -> None:
    dossier, browser, costs = built(small_world), signed_in(small_world.manager), []
    for count in (2, 9):
        for number in range(count):
            comment = made_by_client(small_world, dossier)
            if number % 2:
                put(small_world, comment)
        with CaptureQueriesContext(connection) as asked:
            assert browser.get(at("dossier-comments", dossier)).status_code == 200
        costs.append(len(asked))
    assert costs[0] == costs[1]


def test_an_answer_settles_a_comment_and_is_shown(small_world: World) -> None:
    comment = made_by_client(small_world, dossier := built(small_world))
    url = at("dossier-comment-answer", comment)
    sent = {f"{comment.pk.hex}-answer": "It stands on page 5"}
    assert signed_in(small_world.engineer).post(url, sent).status_code == 422
    assert signed_in(small_world.manager).post(url, sent).status_code == 302
    said = main_words(signed_in(small_world.client).get(at("dossier-comments", dossier)))
    assert "Answered: It stands on page 5" in said
    with pytest.raises(Conflict):
        put(small_world, comment)


def test_a_comment_on_an_earlier_revision_is_shown_on_the_later_one(small_world: World) -> None:
    made_by_client(small_world, built(small_world))
    said = main_words(signed_in(small_world.client).get(at("dossier-comments", built(small_world))))
    assert "Page 4 names no torque" in said
    assert "on revision 1" in said


def test_each_step_is_audited_and_sent_twice_it_is_done_once(small_world: World) -> None:
    dossier, key, item_key = built(small_world), uuid4(), uuid4()
    comment = made_by_client(small_world, dossier, id=key)
    assert made_by_client(small_world, dossier, id=key) == comment
    with pytest.raises(Conflict):
        comment_on_dossier(actor=small_world.client, dossier=dossier, text="Other words", id=key)
    assert put(small_world, comment, id=item_key) == put(small_world, comment, id=item_key)
    with pytest.raises(Conflict):
        put(small_world, comment, id=uuid4())
    with pytest.raises(Conflict):
        answer_comment(actor=small_world.manager, comment=comment, answer="Too late")
    said = AuditEntry.objects.filter(object_id=str(comment.pk)).order_by("sequence").values_list("action", flat=True)
    assert list(said) == ["dossier_commented", "dossier_comment_raised"]
    assert AuditEntry.objects.filter(action="punch_item_raised").count() == PunchItem.objects.count() == 1


def test_who_may_do_what(small_world: World) -> None:
    world, dossier = small_world, built(small_world)
    for person in (world.manager, world.engineer, world.stranger, make_project().client):
        with pytest.raises(NotAllowed):
            comment_on_dossier(actor=person, dossier=dossier, text="Page 4")
    comment = made_by_client(world, dossier)
    for person in (world.client, world.stranger):
        with pytest.raises(NotAllowed):
            put(world, comment, actor=person)
    for person in (world.client, world.engineer, world.stranger):
        with pytest.raises(NotAllowed):
            answer_comment(actor=person, comment=comment, answer="Page 5")
    assert put(world, comment, actor=world.engineer).raised_by == world.engineer


def test_only_a_system_that_the_dossier_covers_takes_the_item(small_world: World) -> None:
    world = small_world
    other = make_system(site=world.site, tag="BUA10")
    comment = made_by_client(world, built(world))
    with pytest.raises(InvalidInput, match="not in this dossier"):
        put(world, comment, system=other, stage=other.stages.first())


def test_a_member_of_one_site_has_no_say_on_a_dossier_of_the_project(small_world: World) -> None:
    elsewhere = Site.objects.create(project=small_world.project, code="VOF", name="Vexley Outfall")
    visitor = make_user(username="visitor", name="Una Threlkeld")
    make_member(project=small_world.project, user=visitor, role=Role.CLIENT, sites=[elsewhere])
    with pytest.raises(NotAllowed):
        comment_on_dossier(actor=visitor, dossier=built(small_world, scope="project"), text="Page 4")


def test_nothing_is_said_of_a_dossier_that_is_not_built(small_world: World) -> None:
    with pytest.raises(Conflict, match="not built"):
        made_by_client(small_world, ask(small_world))


@pytest.mark.parametrize("text", ["", "  ", "a" * 2001, "nul \x00"])
def test_words_that_cannot_be_kept_are_refused(small_world: World, text: str) -> None:
    with pytest.raises(InvalidInput):
        comment_on_dossier(actor=small_world.client, dossier=built(small_world), text=text)


def test_the_api_does_the_same(small_world: World) -> None:
    dossier, key, item_key = built(small_world), str(uuid4()), str(uuid4())
    root = f"/api/v1/projects/{small_world.project.code}"

    def post(who: str, path: str, **body: Any) -> Any:
        api = APIClient()
        api.force_authenticate(getattr(small_world, who))
        return api.post(f"{root}/{path}/", body, format="json")

    comments = f"dossiers/{dossier.pk}/comments"
    for status in (201, 200):
        assert post("client", comments, id=key, text="Page 4 names no torque").status_code == status
    assert post("manager", comments, text="Page 4").status_code == 403
    wanted = {"id": item_key, "system": str(small_world.system.pk), "category": "C"}
    for status in (201, 200):
        made = post("engineer", f"dossier-comments/{key}/put", **wanted)
        assert (made.status_code, made.json()["category"]) == (status, "C")
    assert post("manager", f"dossier-comments/{key}/answer", answer="Too late").status_code == 409
    reader = APIClient()
    reader.force_authenticate(small_world.client)
    (row,) = reader.get(f"{root}/{comments}/").json()["results"]
    assert (row["item"], row["item_state"], row["answer"]) == (item_key, "open", "")
