"""Settings of a project, starting one, and the audit log."""

from __future__ import annotations

import pytest
from django.db import connection
from django.http import HttpResponse
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from commissioning.models import AuditEntry, Project, Role, Site, User
from commissioning.services import audit_walk, job_runs
from commissioning.services.alarms import log_alarm
from commissioning.services.projects import change_settings
from tests.commissioning.views.reading import address, links, main_words, signed_in, words
from tests.support.emptying import behind_the_back
from tests.support.world import World, make_member, make_project, make_system, make_user

pytestmark = pytest.mark.django_db

#: Session, person, project, membership, members with their sites, kinds, how many, the page, tags, projects.
AUDIT_BUDGET = 14


def _settings(world: World) -> dict[str, object]:
    """The settings as the page's form has them."""
    form = signed_in(world.manager).get(address(world.project.code, "settings")).context["form"]
    given = {field.name: field.value() for field in form}
    return {name: value for name, value in given.items() if value not in (False, None)}


def _keep(world: World, who: str = "manager", **changed: object) -> HttpResponse:
    given = {name: value for name, value in {**_settings(world), **changed}.items() if value is not None}
    return signed_in(getattr(world, who)).post(address(world.project.code, "settings"), given)


def test_a_manager_changes_settings(small_world: World) -> None:
    answer = _keep(
        small_world, decision_rule="guarded", guard_factor="0.8", b_blocks_stage="on", far_end_by_second_person=None
    )
    assert answer.status_code == 302
    project = Project.objects.get(pk=small_world.project.pk)
    assert (project.decision_rule, project.guard_factor) == ("guarded", 0.8)
    assert (project.b_blocks_stage, project.far_end_by_second_person) == (True, False)
    assert project.stage_plans == {}


def test_settings_sent_as_they_are_change_nothing(small_world: World) -> None:
    before = AuditEntry.objects.count()
    assert _keep(small_world).status_code == 302
    assert AuditEntry.objects.count() == before


def test_stage_plans_are_choices_and_only_what_differs_is_kept(small_world: World) -> None:
    _keep(small_world, plan_lv_board=["energisation", "mechanical_completion"])
    project = Project.objects.get(pk=small_world.project.pk)
    assert project.stage_plans == {"lv_board": ["mechanical_completion", "energisation"]}
    stages = make_system(site=Site.objects.get(pk=small_world.site.pk), tag="BFA10", kind="lv_board").stages
    assert list(stages.order_by("order").values_list("kind", flat=True)) == ["mechanical_completion", "energisation"]
    assert small_world.system.stages.count() == 4


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"time_zone": "Mars/Base"}, "Name a time zone such as Europe/London or UTC."),
        ({"guard_factor": "wide"}, "Write a number between 0 and 3"),
        ({"guard_factor": "7"}, "A guard factor lies between 0 and 3."),
        ({"name": ""}, "Type the project's name."),
        ({"plan_ups": None}, "Leave at least one stage."),
    ],
)
def test_settings_are_refused_beside_the_field_and_stay(
    small_world: World, changed: dict[str, object], said: str
) -> None:
    answer = _keep(small_world, client_name="Ombrefell <Water>", **changed)
    assert answer.status_code == 422
    assert said in words(answer)
    assert 'value="Ombrefell &lt;Water&gt;"' in answer.content.decode()
    assert Project.objects.get(pk=small_world.project.pk).client_name == "Ombrefell Water"


def test_others_read_the_settings_and_change_nothing(small_world: World) -> None:
    change_settings(actor=small_world.manager, project=small_world.project, changes={"b_blocks_stage": True})
    for person in ("engineer", "client"):
        page = signed_in(getattr(small_world, person)).get(address(small_world.project.code, "settings"))
        said = main_words(page)
        assert "A manager changes them." in said
        assert "Category B blocks the stage it was raised in yes" in said
        assert "mechanical completion → pre-energisation" in said
        assert 'name="guard_factor"' not in page.content.decode()
        assert _keep(small_world, person, name="Mine").status_code == 422
    assert Project.objects.get(pk=small_world.project.pk).name == "Ombrefell Water, station supplies"
    assert signed_in(small_world.stranger).get(address(small_world.project.code, "settings")).status_code == 404


def _staff() -> User:
    user = make_user(username="steward", name="Ione Carrow")
    user.is_staff = True
    user.save()
    return user


def test_staff_start_a_project_and_are_its_manager() -> None:
    browser = signed_in(_staff())
    given = {"code": "vex", "name": "Vexley renewal", "time_zone": "UTC", "client_name": "", "contractor_name": ""}
    answer = browser.post("/projects/new/", given, follow=True)
    assert "VEX is there, and you are its manager." in words(answer)
    project = Project.objects.get(code="VEX")
    assert project.memberships.get().role == Role.MANAGER
    refused = browser.post("/projects/new/", {**given, "name": "Another"})
    assert refused.status_code == 422
    assert "VEX is taken." in words(refused)
    assert 'value="Another"' in refused.content.decode()


def test_a_manager_who_is_no_staff_reads_who_starts_projects(small_world: World) -> None:
    browser = signed_in(small_world.manager)
    page = browser.get("/projects/new/")
    assert page.status_code == 403
    assert "Whoever runs the product starts projects" in words(page)
    browser.post("/projects/new/", {"code": "VEX", "name": "Vexley", "time_zone": "UTC"})
    assert not Project.objects.filter(code="VEX").exists()


# The audit log


def _audit(world: World, query: str = "") -> HttpResponse:
    return signed_in(world.manager).get(address(world.project.code, "audit") + query)


def test_the_audit_log_is_narrowed_by_person_system_kind_words_and_day(small_world: World) -> None:
    alarm = log_alarm(actor=small_world.engineer, stage=small_world.stages[0], text="FAN <b>FAILURE</b>")
    assert "FAN &lt;b&gt;FAILURE&lt;/b&gt;" in _audit(small_world).content.decode()
    today = f"{timezone.localdate():%Y-%m-%d}"
    for query, there in {
        f"?who={small_world.engineer.pk}": True,
        f"?who={small_world.client.pk}": False,
        f"?system={small_world.system.pk}": True,
        "?system=gub10": True,
        "?system=NONE": False,
        "?action=alarm_logged": True,
        "?action=member_set": False,
        "?q=failure fan": True,
        "?q=fan horn": False,
        "?q=fan": True,
        "?until=2020-01-01": False,
        f"?since={today}": True,
        "?since=2199-01-01": False,
        "?since=soon": True,
    }.items():
        found = [row["entry"].object_id for row in _audit(small_world, query).context["entries"]]
        assert (str(alarm.pk) in found) is there, query


def test_the_chain_is_verified_and_a_changed_entry_is_named(small_world: World) -> None:
    browser, url = signed_in(small_world.manager), address(small_world.project.code, "audit", "verify")
    count = AuditEntry.objects.filter(project=small_world.project).count()
    assert f"The chain holds: {count} entries" in words(browser.post(url))
    second = AuditEntry.objects.get(project=small_world.project, sequence=2)
    with behind_the_back():
        AuditEntry.objects.filter(pk=second.pk).update(words="Something else.")
    assert "The chain is broken at entry 2" in words(browser.post(url))


def test_entries_cut_off_at_the_end_are_noticed(small_world: World) -> None:
    last = AuditEntry.objects.filter(project=small_world.project).order_by("-sequence").first()
    with behind_the_back():
        last.delete()
    answer = signed_in(small_world.manager).post(address(small_world.project.code, "audit", "verify"))
    assert "Entries are missing at its end" in words(answer)


def test_a_long_chain_is_walked_in_the_background(small_world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("celery.current_app.send_task", lambda *args, **options: None)
    monkeypatch.setattr(audit_walk, "AT_ONCE", 3)
    browser, code = signed_in(small_world.manager), small_world.project.code
    job = browser.post(address(code, "audit", "verify"), follow=True).context["job"]
    job_runs.run(job.pk)
    assert "The chain holds:" in words(browser.get(address(code, "jobs", job.pk)))
    with behind_the_back():
        AuditEntry.objects.filter(project=small_world.project, sequence=2).update(words="Something else.")
    job = browser.post(address(code, "audit", "verify"), follow=True).context["job"]
    job_runs.run(job.pk)
    assert "The chain is broken at entry 2." in words(browser.get(address(code, "jobs", job.pk)))


def test_the_audit_log_is_for_managers(small_world: World) -> None:
    for person, status in (("engineer", 403), ("client", 403), ("stranger", 404)):
        browser = signed_in(getattr(small_world, person))
        assert browser.get(address(small_world.project.code, "audit")).status_code == status
        assert browser.post(address(small_world.project.code, "audit", "verify")).status_code == status
    page = signed_in(small_world.engineer).get(address(small_world.project.code, "settings"))
    assert address(small_world.project.code, "audit") not in links(page)


def test_a_manager_of_some_sites_reads_of_their_systems_only(small_world: World) -> None:
    elsewhere = Site.objects.create(project=small_world.project, code="VOF", name="Vexley Outfall")
    system = make_system(site=elsewhere, tag="BUC10", name="Board")
    visitor = make_user(username="visitor", name="Una Threlkeld")
    make_member(project=small_world.project, user=visitor, role=Role.MANAGER, sites=[elsewhere])
    entries = signed_in(visitor).get(address(small_world.project.code, "audit")).context["entries"]
    assert {row["entry"].system_id for row in entries} == {system.pk}


def _queries(world: World) -> int:
    browser = signed_in(world.manager)
    with CaptureQueriesContext(connection) as captured:
        assert browser.get(address(world.project.code, "audit")).status_code == 200
    return len(captured)


def test_the_number_of_queries_does_not_grow_with_the_log() -> None:
    few, many = make_project(), make_project()
    for world, count in ((few, 5), (many, 50)):
        for number in range(count):
            log_alarm(actor=world.engineer, stage=world.stages[0], text=f"ALARM {number}")
    assert _queries(few) == _queries(many) <= AUDIT_BUDGET
