"""The register through the API: a workbook looked at, applied as it was looked at, and laid out; changes by hand."""

from __future__ import annotations

from io import BytesIO
from typing import Any
from uuid import uuid4

import pytest
from openpyxl import load_workbook
from rest_framework.test import APIClient

from commissioning.models import AuditEntry, CheckLine, Job, JobState, Site, System
from commissioning.register_import import uploads
from tests.commissioning.api.conftest import Api
from tests.support.books import GOOD, GOOD_ROWS, with_rows, xlsx
from tests.support.world import World, make_system

pytestmark = pytest.mark.django_db


def sent(client: APIClient, base: str, book: Any, **more: str) -> Any:
    file = BytesIO(xlsx(book).read())
    file.name = "tarnholt.xlsx"
    return client.post(f"{base}register/plans/", {"file": file, **more}, format="multipart")


def applied(client: APIClient, base: str, plan: Any) -> Any:
    return client.post(f"{base}register/plans/{plan['id']}/apply/", {"digest": plan["plan"]["digest"]})


def counts(plan: Any) -> dict[str, int]:
    return {word: sum(sheet[word] for sheet in plan["sheets"]) for word in ("added", "changed", "same")}


def tags(client: APIClient, base: str) -> set[str]:
    return {row["tag"] for row in client.get(f"{base}systems/").data["results"]}


def test_a_workbook_is_looked_at_applied_and_applied_again_changes_nothing(
    small_world: World, api: Api, base: str
) -> None:
    client = api("manager")
    looked = sent(client, base, GOOD)
    assert (looked.status_code, looked.data["state"], looked.data["name"]) == (201, "done", "tarnholt.xlsx")
    plan = looked.data["plan"]
    assert (plan["can_apply"], plan["applied"], plan["problems"]) == (True, False, [])
    assert counts(plan) == {"added": GOOD_ROWS, "changed": 0, "same": 0}
    assert tags(client, base) == {"GUB10"}

    done = applied(client, base, looked.data)
    assert (done.status_code, done.data["plan"]["applied"]) == (200, True)
    assert tags(client, base) == {"GUB10", "TTW-DC1", "TTW-LV1"}
    entries = AuditEntry.objects.count()
    again = applied(client, base, looked.data)
    assert (again.status_code, again.data["id"]) == (200, done.data["id"])
    assert AuditEntry.objects.count() == entries

    exported = load_workbook(BytesIO(b"".join(client.get(f"{base}register/workbook/").streaming_content)))
    book = {tab.title: [list(row) for row in tab.iter_rows(values_only=True)] for tab in exported.worksheets}
    returned = sent(client, base, book).data
    assert (returned["plan"]["problems"], returned["plan"]["changes_nothing"]) == ([], True)
    systems = System.objects.count()
    assert applied(client, base, returned).status_code == 200
    assert System.objects.count() == systems


def test_a_bad_row_is_answered_with_its_place_and_nothing_is_written(small_world: World, api: Api, base: str) -> None:
    rows = [*GOOD["Systems"][:-1], ["TTW-LV1", "TTX", "Station board", "LV switchboard", None, None]]
    client = api("manager")
    looked = sent(client, base, with_rows(Systems=rows)).data
    [problem] = [one for one in looked["plan"]["problems"] if one["sheet"] == "Systems"]
    assert (problem["row"], problem["column"]) == (3, "site")
    assert "TTX" in problem["wrong"]
    assert problem["right"]
    assert not looked["plan"]["can_apply"]
    assert applied(client, base, looked).status_code == 409
    assert not Site.objects.filter(code="TTW").exists()


def test_what_is_no_register_is_refused_beside_its_field(small_world: World, api: Api, base: str) -> None:
    file = BytesIO(b"PK\x03\x04 broken")
    file.name = "register.xlsx"
    answer = api("manager").post(f"{base}register/plans/", {"file": file}, format="multipart")
    assert (answer.status_code, set(answer.data["fields"])) == (400, {"file"})


def test_an_upload_sent_twice_is_one_look_and_another_file_a_conflict(small_world: World, api: Api, base: str) -> None:
    client, key = api("manager"), str(uuid4())
    content = xlsx(GOOD).read()

    def again(data: bytes) -> Any:
        file = BytesIO(data)
        file.name = "register.xlsx"
        return client.post(f"{base}register/plans/", {"id": key, "file": file}, format="multipart")

    answers = [again(content) for _ in range(2)]
    assert [one.status_code for one in answers] == [201, 200]
    assert answers[0].data == answers[1].data
    assert again(xlsx(with_rows(Sites=GOOD["Sites"][:1])).read()).status_code == 409
    assert Job.objects.filter(kind="register_import").count() == 1


def test_only_the_plan_that_was_agreed_to_is_done(small_world: World, api: Api, base: str) -> None:
    client = api("manager")
    looked = sent(client, base, GOOD).data
    wrong = client.post(f"{base}register/plans/{looked['id']}/apply/", {"digest": "0" * 64})
    assert (wrong.status_code, System.objects.count()) == (409, 1)
    body = {"code": "TTW", "name": "Tarnholt"}
    assert client.post(f"{base}sites/", body).status_code == 201
    moved_on = applied(client, base, looked)
    assert (moved_on.status_code, System.objects.count()) == (409, 1)
    assert applied(client, base, sent(client, base, GOOD).data).status_code == 200


def test_a_large_upload_goes_to_the_background(
    small_world: World, api: Api, base: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(uploads, "AT_ONCE_BYTES", 10)
    answer = sent(api("manager"), base, GOOD)
    assert (answer.status_code, answer.data["plan"]) == (201, None)
    assert answer.data["state"] == JobState.WAITING
    client = api("manager")
    assert client.get(f"{base}register/plans/{answer.data['id']}/").data["plan"] is None
    early = client.post(f"{base}register/plans/{answer.data['id']}/apply/", {"digest": "0"})
    assert early.status_code == 409


def test_a_large_import_is_answered_as_going_on(
    small_world: World, api: Api, base: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    client = api("manager")
    looked = sent(client, base, GOOD).data
    monkeypatch.setattr(uploads, "AT_ONCE_BYTES", 10)
    answer = applied(client, base, looked)
    assert (answer.status_code, answer.data["plan"], System.objects.count()) == (202, None, 1)


def test_procedures_are_laid_out_once_however_often_it_is_sent(small_world: World, api: Api, base: str) -> None:
    client, key = api("manager"), str(uuid4())
    other = make_system(site=small_world.site, tag="UPS1", kind="ups")
    wanted = [str(small_world.system.pk), str(other.pk)]
    answers = [client.post(f"{base}register/lay-out/", {"id": key, "systems": wanted}) for _ in range(2)]
    assert [one.status_code for one in answers] == [201, 200], answers[0].data
    assert answers[0].data["state"] == "done"
    assert answers[0].data["result"] == {"systems": 2, "lines": CheckLine.objects.count()}
    assert client.post(f"{base}register/lay-out/", {"id": key, "systems": wanted[:1]}).status_code == 409
    unknown = client.post(f"{base}register/lay-out/", {"systems": [*wanted, str(uuid4())]})
    assert (unknown.status_code, set(unknown.data["fields"])) == (400, {"systems"})


def test_a_stage_that_would_wait_for_itself_is_refused_in_words(small_world: World, api: Api, base: str) -> None:
    client = api("manager")
    other = make_system(site=small_world.site, tag="LV1", kind="lv_board")
    mine, theirs = str(small_world.stages[0].pk), str(other.stages.get(order=1).pk)
    made = client.post(f"{base}dependencies/", {"stage": mine, "requires": theirs})
    assert (made.status_code, made.data["requires_system_tag"]) == (201, "LV1")
    back = client.post(f"{base}dependencies/", {"stage": theirs, "requires": mine})
    assert (back.status_code, set(back.data["fields"])) == (400, {"requires"})
    assert client.delete(f"{base}dependencies/{made.data['id']}/").status_code == 204
    assert client.post(f"{base}dependencies/", {"stage": theirs, "requires": mine}).status_code == 201


def test_a_new_tag_keeps_the_old_one_and_a_wrong_value_is_named(small_world: World, api: Api, base: str) -> None:
    client = api("engineer")
    body = {"system": str(small_world.system.pk), "tag": "B7", "kind": "battery", "nameplate": {"cells": "sixty"}}
    wrong = client.post(f"{base}equipment/", body)
    assert (wrong.status_code, set(wrong.data["fields"])) == (400, {"cells"})
    made = client.post(f"{base}equipment/", {**body, "nameplate": {"cells": 60}})
    assert (made.status_code, made.data["nameplate"]) == (201, {"cells": 60})
    changed = client.patch(f"{base}equipment/{made.data['id']}/", {"tag": "B8"})
    assert (changed.data["tag"], changed.data["former_tags"], changed.data["nameplate"]) == (
        "B8",
        ["B7"],
        {"cells": 60},
    )
