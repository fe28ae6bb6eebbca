"""The register as a workbook, on its pages: looked at first, then imported - all of it or nothing."""

from __future__ import annotations

import io
from typing import Any
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.http import HttpResponse
from django.test.utils import CaptureQueriesContext

from commissioning.models import CheckLine, Equipment, Job, JobState, Project, Role, Site, StageDependency, System
from commissioning.register_import import uploads
from commissioning.services import job_runs
from commissioning.services.dependencies import add_dependency
from tests.commissioning.views.plant import add_systems
from tests.commissioning.views.reading import address, links, main_words, signed_in, words
from tests.support import books
from tests.support.world import World, make_member, make_project, make_system, make_user

pytestmark = pytest.mark.django_db

#: The page's own counts, uploads, systems without lines, and what every page asks.
BUDGET = 18


@pytest.fixture(autouse=True)
def _no_broker(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("celery.current_app.send_task", lambda *args, **options: None)


def _upload(
    world: World, sheets: Any = books.GOOD, *, who: str = "manager", name: str = "register.xlsx", **more: str
) -> HttpResponse:
    content = sheets if isinstance(sheets, bytes) else books.xlsx(sheets).getvalue()
    given = {"file": SimpleUploadedFile(name, content), **more}
    return signed_in(getattr(world, who)).post(address(world.project.code, "register"), given, follow=True)


def _job(answer: HttpResponse) -> Job:
    return answer.context["job"]


def _plan_url(world: World, job: Job, *more: str) -> str:
    return address(world.project.code, "register", "plans", job.pk, *more)


def test_an_upload_shows_what_it_would_change_and_writes_nothing(small_world: World) -> None:
    said = main_words(_upload(small_world))
    assert "Nothing is wrong with it." in said
    assert "import it: all or nothing" in said
    assert not System.objects.filter(tag="TTW-DC1").exists()


def test_a_plan_is_imported_and_offers_to_lay_out_procedures(small_world: World) -> None:
    looked = _upload(small_world)
    assert _plan_url(small_world, _job(looked), "apply") in links(looked)
    browser = signed_in(small_world.manager)
    done = browser.post(_plan_url(small_world, _job(looked), "apply"), follow=True)
    assert f"Imported: {books.GOOD_ROWS} added, 0 changed." in words(done)
    assert System.objects.filter(tag="TTW-DC1").exists()
    assert "lay out procedures for 3 systems without check lines" in main_words(done)
    assert _plan_url(small_world, _job(looked), "apply") not in links(done)
    again = browser.post(_plan_url(small_world, _job(looked), "apply"), follow=True)
    assert again.status_code == 200
    assert Job.objects.filter(key__contains="-apply-").count() == 1


def test_changes_are_shown_old_and_new(small_world: World) -> None:
    answer = _upload(small_world, {"Sites": [["code", "name"], ["QPS", "Quillmarsh <i>East</i>"]]})
    html = answer.content.decode()
    assert "<del>Quillmarsh Pumping Station</del>" in html
    assert "<ins>Quillmarsh &lt;i&gt;East&lt;/i&gt;</ins>" in html


def test_every_problem_is_listed_with_its_place_and_what_would_be_right(small_world: World) -> None:
    bad = books.with_rows(Sites=[["code", "name", "time zone"], ["TTW", "Tarnholt", "Mars/Base"], [None, "x", None]])
    answer = _upload(small_world, bad)
    said = main_words(answer)
    assert "2 places need correcting." in said
    for expected in (
        "Sites, row 2",
        "time zone",
        "there is no time zone 'Mars/Base'",
        "such as Europe/London",
        "Sites, row 3",
    ):
        assert expected in said
    assert _plan_url(small_world, _job(answer), "apply") not in links(answer)
    refused = signed_in(small_world.manager).post(_plan_url(small_world, _job(answer), "apply"))
    assert refused.status_code == 409
    assert "This plan cannot be applied" in words(refused)
    assert not Site.objects.filter(code="TTW").exists()


def test_the_problems_of_a_long_list_come_in_pages(small_world: World) -> None:
    rows = [["code", "name"], *([None, f"site {number}"] for number in range(250))]
    answer = _upload(small_world, {"Sites": rows})
    assert "250 places need correcting." in main_words(answer)
    assert "1 to 200 of 250 problems" in main_words(answer)
    later = signed_in(small_world.manager).get(_plan_url(small_world, _job(answer)) + "?page=2")
    assert "Sites, row 251" in main_words(later)


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("register.xlsx", b"PK\x03\x04 broken", "The file is damaged"),
        ("register.xls", b"\xd0\xcf\x11\xe0 old", "Save it as .xlsx"),
        ("register.xlsx", b"", "The file is empty"),
    ],
)
def test_what_is_no_register_is_refused_beside_the_field(
    small_world: World, name: str, content: bytes, said: str
) -> None:
    answer = _upload(small_world, content, name=name)
    assert answer.status_code == 422
    assert said in words(answer)
    assert not Job.objects.exists()


def test_a_csv_file_and_a_zip_are_taken_too(small_world: World) -> None:
    rows = [["code", "name"], ["TTW", "Tarnholt"]]
    assert "Nothing is wrong" in words(_upload(small_world, books.csv_text(rows).encode(), name="Sites.csv"))
    assert "Nothing is wrong" in words(_upload(small_world, books.csv_zip(books.GOOD).getvalue(), name="all.zip"))


def test_the_same_upload_sent_twice_is_one_job(small_world: World) -> None:
    key = "018f2c7e-1111-7000-8000-000000000001"
    for _ in range(2):
        _upload(small_world, client_uuid=key)
    assert Job.objects.count() == 1


def test_a_plan_that_the_register_has_overtaken_is_not_applied_and_can_be_compared_again(small_world: World) -> None:
    looked = _upload(small_world, {"Sites": [["code", "name"], ["QPS", "Quillmarsh East"]]})
    Site.objects.filter(code="QPS").update(name="Quillmarsh South")
    browser = signed_in(small_world.manager)
    refused = browser.post(_plan_url(small_world, _job(looked), "apply"), follow=True)
    assert "Nothing was imported. The register was changed since this was looked at." in main_words(refused)
    assert Site.objects.get(code="QPS").name == "Quillmarsh South"
    again = browser.post(_plan_url(small_world, _job(looked), "again"), follow=True)
    assert _job(again).pk != _job(looked).pk
    browser.post(_plan_url(small_world, _job(again), "apply"))
    assert Site.objects.get(code="QPS").name == "Quillmarsh East"


def test_a_large_file_goes_to_the_background_and_shows_how_far_it_is(
    small_world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(uploads, "AT_ONCE_BYTES", 100)
    waiting = _upload(small_world)
    job = _job(waiting)
    assert job.state == JobState.WAITING
    assert 'hx-trigger="every 2s"' in waiting.content.decode()
    job_runs.run(job.pk)
    browser = signed_in(small_world.manager)
    assert browser.get(address(small_world.project.code, "jobs", job.pk) + "?part=progress")["HX-Refresh"] == "true"
    assert "Nothing is wrong with it." in words(browser.get(_plan_url(small_world, job)))


def test_only_a_manager_of_every_site_brings_a_register_in(small_world: World) -> None:
    visitor = make_user(username="visitor", name="Una Threlkeld")
    make_member(project=small_world.project, user=visitor, role=Role.MANAGER, sites=[small_world.site])
    for person in (small_world.engineer, small_world.client, visitor):
        browser = signed_in(person)
        url = address(small_world.project.code, "register")
        assert 'type="file"' not in browser.get(url).content.decode()
        content = SimpleUploadedFile("register.xlsx", books.xlsx(books.GOOD).getvalue())
        answer = browser.post(url, {"file": content})
        assert answer.status_code == 422
        assert "cannot import the register" in words(answer) or "manager of some sites only" in words(answer)
    assert not Job.objects.exists()


def test_a_plan_is_found_by_nobody_who_may_not_import(small_world: World) -> None:
    job = _job(_upload(small_world))
    for person in ("engineer", "client", "stranger"):
        browser = signed_in(getattr(small_world, person))
        assert browser.get(_plan_url(small_world, job)).status_code == 404
        for more in ("apply", "again"):
            assert browser.post(_plan_url(small_world, job, more)).status_code == 404


def test_the_template_and_the_register_come_as_workbooks(small_world: World) -> None:
    browser = signed_in(small_world.client)
    template = books.cells(
        io.BytesIO(browser.get(address(small_world.project.code, "register", "template")).getvalue())
    )
    assert {"Notes", "Sites", "Systems", "Equipment"} <= set(template)
    answer = browser.get(address(small_world.project.code, "register", "export"))
    assert f'filename="{small_world.project.code}-register-' in answer["Content-Disposition"]
    assert [row[0] for row in books.cells(io.BytesIO(answer.getvalue()))["Systems"][1:]] == ["GUB10"]


def test_what_is_exported_and_brought_in_again_changes_nothing(small_world: World) -> None:
    browser = signed_in(small_world.manager)
    exported = browser.get(address(small_world.project.code, "register", "export")).getvalue()
    assert "Everything in it is recorded already" in words(_upload(small_world, exported))


def test_an_export_holds_only_the_sites_that_the_person_sees(small_world: World) -> None:
    elsewhere = Site.objects.create(project=small_world.project, code="VOF", name="Vexley Outfall")
    visitor = make_user(username="visitor", name="Una Threlkeld")
    make_member(project=small_world.project, user=visitor, role=Role.CLIENT, sites=[elsewhere])
    exported = signed_in(visitor).get(address(small_world.project.code, "register", "export")).getvalue()
    sheets = books.cells(io.BytesIO(exported))
    assert [row[0] for row in sheets["Sites"][1:]] == ["VOF"]
    assert sheets["Systems"][1:] == []


def test_procedures_are_laid_out_on_the_systems_ticked(small_world: World) -> None:
    other = make_system(site=small_world.site, tag="BUC10", kind="dc_board")
    browser = signed_in(small_world.manager)
    page = browser.get(address(small_world.project.code, "register"))
    assert {system.tag for system in page.context["waiting"]} == {"GUB10", "BUC10"}
    done = browser.post(address(small_world.project.code, "register", "lay-out"), {"systems": [other.pk]}, follow=True)
    assert "check lines laid out on 1 system." in words(done)
    assert CheckLine.objects.filter(stage__system=other).exists()
    assert not CheckLine.objects.filter(stage__system=small_world.system).exists()
    refused = browser.post(address(small_world.project.code, "register", "lay-out"))
    assert "Tick at least one system." in words(refused)


def test_many_systems_are_laid_out_in_the_background(small_world: World) -> None:
    systems = [make_system(site=small_world.site, tag=f"BU{number}", kind="dc_board") for number in range(4)]
    browser = signed_in(small_world.manager)
    given = {"systems": [system.pk for system in systems]}
    waiting = browser.post(address(small_world.project.code, "register", "lay-out"), given, follow=True)
    job = _job(waiting)
    assert job.state == JobState.WAITING
    for _ in range(2):
        job_runs.run(job.pk)
    job.refresh_from_db()
    assert (job.state, job.result["systems"]) == (JobState.DONE, 4)
    assert all(CheckLine.objects.filter(stage__system=system).exists() for system in systems)


def test_laying_out_sent_twice_leads_to_the_one_job(small_world: World) -> None:
    browser = signed_in(small_world.manager)
    given = {"systems": [small_world.system.pk], "client_uuid": str(uuid4())}
    sent = [browser.post(address(small_world.project.code, "register", "lay-out"), given) for _ in range(2)]
    job = Job.objects.get(kind="lay_out")
    assert [one.url.rstrip("/").rpartition("/")[2] for one in sent] == [str(job.pk)] * 2


def test_nobody_but_a_manager_lays_procedures_out(small_world: World) -> None:
    for person in ("engineer", "client"):
        browser = signed_in(getattr(small_world, person))
        answer = browser.post(
            address(small_world.project.code, "register", "lay-out"), {"systems": [small_world.system.pk]}
        )
        assert answer.status_code == 422
    assert not CheckLine.objects.exists()


def _queries(world: World) -> int:
    browser = signed_in(world.manager)
    with CaptureQueriesContext(connection) as captured:
        assert browser.get(address(world.project.code, "register")).status_code == 200
    return len(captured)


def test_the_number_of_queries_does_not_grow_with_the_register() -> None:
    few, many = make_project(), make_project()
    add_systems(few, 5)
    add_systems(many, 50)
    assert _queries(few) == _queries(many) <= BUDGET


# By hand


def _add(world: World, what: str, who: str = "manager", query: str = "", **given: object) -> HttpResponse:
    return signed_in(getattr(world, who)).post(address(world.project.code, what, "new") + query, given)


def test_a_site_and_a_system_are_added_by_hand(small_world: World) -> None:
    assert _add(small_world, "sites", code="TTW", name="Tarnholt", time_zone="").status_code == 302
    site = Site.objects.get(code="TTW")
    answer = _add(small_world, "systems", site=site.pk, tag="TTW-DC1", name="Supply", kind="dc_board")
    system = System.objects.get(tag="TTW-DC1")
    assert answer["Location"] == address(small_world.project.code, "systems", system.pk)
    assert system.stages.count() == 3


def test_equipment_supplies_and_signals_are_added_from_a_systems_page(small_world: World) -> None:
    query = f"?system={small_world.system.pk}"
    back = address(small_world.project.code, "systems", small_world.system.pk)
    page = signed_in(small_world.engineer).get(address(small_world.project.code, "tags", "new") + query)
    assert page.context["form"]["system"].value() == "GUB10"
    given = {"system": "GUB10", "tag": "GUB10-T1", "kind": "rectifier"}
    assert _add(small_world, "tags", "engineer", query, **given)["Location"] == back
    given = {"system": "GUB10", "tag": "GUB10-T1-M1", "kind": "rectifier_module", "parent": "gub10-t1"}
    _add(small_world, "tags", "engineer", query, **given)
    assert Equipment.objects.get(tag="GUB10-T1-M1").parent.tag == "GUB10-T1"
    _add(small_world, "supplies", "engineer", query, system="GUB10", tag="Q1", kind="incomer")
    assert small_world.system.supplies.get().state == "not_recorded"
    given = {"system": "GUB10", "tag": "K1", "description": "common alarm", "direction": "output", "order": "3"}
    _add(small_world, "signals", "engineer", query, stage_kind="energisation", equipment="GUB10-T1", **given)
    assert small_world.system.signals.get().order == 3


def test_a_new_supply_point_says_treat_as_live(small_world: World) -> None:
    page = signed_in(small_world.engineer).get(address(small_world.project.code, "supplies", "new"))
    assert "treat it as LIVE until somebody isolates it, locks it and proves dead" in words(page)


SIGNAL = {"system": "GUB10", "tag": "K1", "description": "x", "direction": "output", "stage_kind": "energisation"}
WITHIN = {"stage": "energisation", "requires": "GUB10", "requires_stage": "pre_energisation"}


@pytest.mark.parametrize(
    ("what", "given", "said"),
    [
        ("sites", {"code": "QPS", "name": "Twice"}, "QPS is taken."),
        ("sites", {"code": "TTW", "name": "T", "time_zone": "Mars/Base"}, "There is no time zone 'Mars/Base'"),
        ("systems", {"tag": "X", "name": "x", "kind": "ups"}, "Choose the site."),
        ("tags", {"system": "NONE", "tag": "T1", "kind": "other"}, "No system here carries the tag NONE"),
        ("tags", {"system": "GUB10", "tag": "T1", "kind": "other", "parent": "T9"}, "No equipment here carries"),
        ("signals", {**SIGNAL, "order": "one"}, "Write a whole number."),
        ("dependencies", {**WITHIN, "system": "GUB10"}, "Within a system the stages follow"),
    ],
)  # fmt: skip
def test_what_cannot_be_added_is_refused_beside_the_field_and_stays(
    small_world: World, what: str, given: dict[str, str], said: str
) -> None:
    answer = _add(small_world, what, **given)
    assert answer.status_code == 422
    assert said in words(answer)
    for value in given.values():
        assert f'value="{value}"' in answer.content.decode()


def test_only_those_who_may_are_given_a_form(small_world: World) -> None:
    code = small_world.project.code
    allowed = {
        "sites": {"manager"},
        "systems": {"manager"},
        "dependencies": {"manager"},
        "tags": {"manager", "engineer"},
        "supplies": {"manager", "engineer"},
        "signals": {"manager", "engineer"},
    }
    for what, people in allowed.items():
        for person in ("manager", "engineer", "client"):
            page = signed_in(getattr(small_world, person)).get(address(code, what, "new"))
            assert ("add it" in main_words(page)) is (person in people), (what, person)
        assert signed_in(small_world.stranger).get(address(code, what, "new")).status_code == 404
    refused = _add(small_world, "sites", "engineer", code="TTW", name="Tarnholt")
    assert refused.status_code == 422
    assert _add(small_world, "tags", "client", system="GUB10", tag="T1", kind="other").status_code == 422
    assert Site.objects.count() == 1
    assert not Equipment.objects.exists()


def test_the_same_form_sent_twice_adds_once(small_world: World) -> None:
    key = "018f2c7e-1111-7000-8000-000000000002"
    for _ in range(2):
        _add(small_world, "sites", code="TTW", name="Tarnholt", client_uuid=key)
    assert Site.objects.count() == 2


def test_a_dependency_is_added_and_taken_away(small_world: World) -> None:
    board = make_system(site=small_world.site, tag="BFA10", kind="lv_board")
    given = {"system": "GUB10", "stage": "energisation", "requires": "BFA10", "requires_stage": "energisation"}
    _add(small_world, "dependencies", **given)
    dependency = StageDependency.objects.get()
    page = signed_in(small_world.manager).get(
        address(small_world.project.code, "dependencies", "new") + f"?system={small_world.system.pk}"
    )
    assert "energisation waits for BFA10 energisation" in main_words(page)
    gone = signed_in(small_world.manager).post(
        address(small_world.project.code, "dependencies", dependency.pk, "remove"), follow=True
    )
    assert "waits no longer for BFA10 energisation" in words(gone)
    assert not StageDependency.objects.exists()
    add_dependency(
        actor=small_world.manager,
        stage=small_world.stage("energisation"),
        requires=board.stages.get(kind="energisation"),
    )
    circle = {"system": "BFA10", "stage": "energisation", "requires": "GUB10", "requires_stage": "energisation"}
    assert "It would make a stage wait for itself" in words(_add(small_world, "dependencies", **circle))


def test_equipment_of_another_project_is_no_parent(small_world: World) -> None:
    other = make_project(tag="GUC10")
    Equipment.objects.create(project=other.project, system=other.system, tag="THEIRS")
    answer = _add(small_world, "tags", system="GUB10", tag="T1", kind="other", parent="THEIRS")
    assert answer.status_code == 422
    assert _add(small_world, "tags", system="GUC10", tag="T1", kind="other").status_code == 422
    assert Project.objects.get(pk=small_world.project.pk).equipment.count() == 0
