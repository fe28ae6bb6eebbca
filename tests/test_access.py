"""Every page of the product, asked for by everybody: who is answered, who is refused, who finds nothing.

A page that is added needs its row here before the tests pass; outside any project, in support/outside_pages.py. The
API has a matrix of its own.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import pytest
from django.db import transaction
from django.http import HttpResponse
from django.test import Client
from django.urls import NoReverseMatch, URLPattern, URLResolver, get_resolver, reverse

from commissioning.models import Role, User
from commissioning.views.base import NAVIGATION
from commissioning.views.links import RECORD_URLS
from tests.support.outside_pages import OUTSIDE, OUTSIDE_ARGS
from tests.support.records import Records, one_of_each
from tests.support.world import World, make_member, make_project, make_user

pytestmark = pytest.mark.django_db

#: A form that is sent with nothing in it but the token that the page put there.
NOTHING = {"csrfmiddlewaretoken": "of no account here"}


class Row(NamedTuple):
    """A page: the record that its address names, and what it answers to each person, asked for and sent empty."""

    record: str
    get: str
    post: str


# Columns: manager, field engineer, client, and a manager of the project's other site only.
ALL, HERE = "200 200 200 200", "200 200 200 404"
SENT, SENT_HERE = "405 405 405 405", "405 405 405 404"
FORM, FORM_HERE = "422 422 422 422", "422 422 422 404"
ON, ON_HERE = "302 302 302 302", "302 302 302 404"
BAD, BAD_HERE = "400 400 400 400", "400 400 400 404"
#: Where the method is looked at before the record, a wrong method says so to every member.
PAGES = {
    # plant
    "portfolio": Row("", ALL, ALL),
    "find": Row("", ALL, ALL),
    # notices are each person's own
    "notices": Row("", ALL, SENT),
    "notices-seen": Row("", SENT, ON),
    "notices-choice": Row("", ALL, FORM),
    "notice": Row("notice", "302 404 404 404", SENT),
    "system-copy": Row("system", HERE, FORM_HERE),
    "site-copy": Row("site", HERE, FORM_HERE),
    "holding": Row("", ALL, ALL),
    "when": Row("", ALL, ALL),
    "curves": Row("", ALL, ALL),
    "comparison": Row("", ALL, ALL),
    "dependencies": Row("", ALL, ALL),
    "site": Row("site", HERE, HERE),
    "system": Row("system", HERE, HERE),
    "system-history": Row("system", HERE, HERE),
    "tag": Row("equipment", HERE, HERE),
    "tag-by-name": Row("tag", ON_HERE, ON_HERE),
    "labels": Row("", ALL, FORM),
    # stages: starting a started stage again changes nothing; no date takes the date away
    "stage": Row("stage", HERE, HERE),
    "stage-start": Row("stage", SENT, "302 302 403 404"),
    "stage-accept": Row("stage", HERE, FORM_HERE),
    "stage-withdraw": Row("stage", HERE, FORM_HERE),
    "stage-plan": Row("stage", HERE, "302 422 422 404"),
    # supplies
    "supplies": Row("system", HERE, HERE),
    "supply": Row("supply", HERE, HERE),
    "supply-isolate": Row("supply", HERE, FORM_HERE),
    "supply-release": Row("supply", HERE, FORM_HERE),
    "permission-new": Row("stage", HERE, FORM_HERE),
    "permission": Row("permission", HERE, HERE),
    "permission-withdraw": Row("permission", HERE, FORM_HERE),
    # the run: trying a reading records nothing, so everybody who reads the line may
    "run": Row("system", HERE, HERE),
    "run-line": Row("line", HERE, HERE),
    "reading-try": Row("line", SENT, HERE),
    "line-reading": Row("line", SENT, FORM_HERE),
    "line-result": Row("line", SENT, FORM_HERE),
    "line-reopen": Row("line", HERE, FORM_HERE),
    "line-proof": Row("line", SENT, FORM_HERE),
    "line-notice": Row("line", SENT, FORM_HERE),
    "line-witness": Row("line", SENT, FORM_HERE),
    # a notice: its party (here the client) answers, whoever works moves and cancels
    "witness-notice": Row("witness_notice", HERE, SENT_HERE),
    "witness-notice-calendar": Row("witness_notice", HERE, SENT_HERE),
    "witness-notice-answer": Row("witness_notice", SENT, FORM_HERE),
    "witness-notice-move": Row("witness_notice", SENT, FORM_HERE),
    "witness-notice-cancel": Row("witness_notice", SENT, FORM_HERE),
    "line-point": Row("line", HERE, FORM_HERE),
    "line-record": Row("failed_line", HERE, HERE),
    "line-concession": Row("failed_line", HERE, FORM_HERE),
    "concession-withdraw": Row("concession", HERE, FORM_HERE),
    # procedures, instruments and calculations belong to the whole project
    "procedures": Row("", ALL, ALL),
    "procedure-copy": Row("", SENT, "400 403 403 400"),
    "procedure": Row("procedure", ALL, ALL),
    "procedure-compare": Row("procedure", ALL, FORM),
    "procedure-apply": Row("procedure", ALL, FORM),
    "procedure-line-add": Row("procedure", ALL, FORM),
    "procedure-line-edit": Row("procedure_line", ALL, FORM),
    "procedure-line-calculation": Row("procedure_line", ALL, ON),
    "procedure-line-place": Row("procedure_line", SENT, "302 403 403 302"),
    "procedure-line-remove": Row("procedure_line", ALL, FORM),
    "instruments": Row("", ALL, ALL),
    "instrument-new": Row("", ALL, FORM),
    "instrument": Row("instrument", ALL, ALL),
    "instrument-change": Row("instrument", ALL, FORM),
    "instrument-retire": Row("instrument", ALL, FORM),
    "instrument-bring-back": Row("instrument", ALL, FORM),
    "range-add": Row("instrument", SENT, FORM),
    "range-change": Row("range", ALL, FORM),
    "calibration-add": Row("instrument", SENT, FORM),
    "calibration-withdraw": Row("calibration", ALL, FORM),
    "certificate": Row("calibration", ALL, SENT),
    "calculations": Row("", ALL, ALL),
    "calculation-table": Row("", ALL, ALL),
    "calculation": Row("calculation", ALL, FORM),
    "calculation-try": Row("calculation", SENT, ALL),
    "verification-runs": Row("", ALL, FORM),
    "verification-run": Row("run", ALL, ALL),
    "verification-progress": Row("run", ALL, ALL),
    "verification-decide-many": Row("run", SENT, FORM),
    "verification-decide": Row("change", SENT, FORM_HERE),
    # alarms and signals: the client, who may stand at the far end, says what is seen there and restores
    "alarms": Row("", ALL, ALL),
    "alarm-new": Row("", ALL, FORM),
    "alarm": Row("alarm", HERE, HERE),
    "alarm-decide": Row("alarm", SENT, FORM_HERE),
    "alarm-clear": Row("alarm", SENT, FORM_HERE),
    "signals": Row("", ALL, ALL),
    "signal": Row("signal", HERE, HERE),
    "signal-force": Row("signal", SENT, "302 302 422 404"),
    "proof-seen": Row("proof", SENT, "302 422 302 404"),
    "proof-failed": Row("proof", SENT, FORM_HERE),
    "proof-restored": Row("proof", SENT, ON_HERE),
    # register and what is added by hand; work in the background is its asker's and the managers' of every site
    "register": Row("", ALL, FORM),
    "register-template": Row("", ALL, SENT),
    "register-export": Row("", ALL, SENT),
    "register-lay-out": Row("", SENT, FORM),
    "register-plan": Row("plan", "200 404 404 404", "200 404 404 404"),
    "register-apply": Row("plan", SENT, "302 404 404 404"),
    "register-again": Row("plan", SENT, "302 404 404 404"),
    "site-new": Row("", ALL, FORM),
    "system-new": Row("", ALL, FORM),
    "equipment-new": Row("", ALL, FORM),
    "supply-new": Row("", ALL, FORM),
    "signal-new": Row("", ALL, FORM),
    "site-edit": Row("site", HERE, FORM_HERE),
    "system-edit": Row("system", HERE, FORM_HERE),
    "equipment-edit": Row("equipment", HERE, FORM_HERE),
    "supply-edit": Row("supply", HERE, FORM_HERE),
    "signal-edit": Row("signal", HERE, FORM_HERE),
    "dependency-new": Row("", ALL, FORM),
    "dependency-remove": Row("dependency", SENT, "302 403 403 404"),
    "jobs": Row("", ALL, ALL),
    "from-phones": Row("", "200 200 403 200", "200 200 403 200"),
    "job": Row("job", "200 200 404 404", "200 200 404 404"),
    "job-cancel": Row("job", SENT, "409 409 404 404"),
    "job-again": Row("job", SENT, "409 409 404 404"),
    "phone": Row("", ALL, ALL),
    # recordings
    "recordings": Row("", ALL, ALL),
    "recording-new": Row("", ALL, FORM),
    "recording": Row("recording", HERE, HERE),
    "recording-confirm": Row("recording", SENT, FORM_HERE),
    "recording-progress": Row("recording", HERE, HERE),
    "recording-raw": Row("recording", HERE, SENT_HERE),
    "recording-plot": Row("recording", HERE, SENT_HERE),
    "recording-figures": Row("recording", HERE, SENT_HERE),
    # dossiers: built already, so there is nothing to cancel or to ask again for whoever may
    "dossiers": Row("", ALL, ALL),
    "dossier-new": Row("", ALL, FORM),
    "dossier": Row("dossier", HERE, HERE),
    "dossier-read": Row("dossier", HERE, HERE),
    "dossier-download": Row("dossier", HERE, SENT_HERE),
    "dossier-content": Row("dossier", HERE, SENT_HERE),
    "dossier-cancel": Row("dossier", SENT, "409 403 409 404"),
    "dossier-again": Row("dossier", SENT, "409 403 409 404"),
    "dossier-receive": Row("dossier", SENT, FORM_HERE),
    "dossier-comments": Row("dossier", HERE, FORM_HERE),
    "dossier-comment-put": Row("comment", SENT, FORM_HERE),
    "dossier-comment-answer": Row("comment", SENT, FORM_HERE),
    # settings, members and the audit log: changed by a manager of every site
    "project-settings": Row("", ALL, FORM),
    # the whole project is taken away by a manager of all of it
    "project-export": Row("", "200 403 403 403", "302 403 403 403"),
    "project-export-download": Row("job", "404 403 403 403", SENT),
    "members": Row("", ALL, ALL),
    "member-new": Row("", ALL, FORM),
    "member": Row("member", ALL, FORM),
    "member-leave": Row("member", SENT, "302 403 403 403"),
    "invitation-new": Row("", ALL, FORM),
    "invitation-again": Row("invitation", SENT, "302 403 403 403"),
    "invitation-withdraw": Row("invitation", SENT, "302 403 403 403"),
    "audit": Row("", "200 403 403 200", "200 403 403 200"),
    "audit-verify": Row("", SENT, "200 403 403 200"),
    # punch list: a view is dropped by its owner or a manager, an assignment is taken back by whoever made it
    "punch-list": Row("", ALL, SENT),
    "punch-new": Row("", ALL, BAD),
    "punch-tags": Row("", ALL, SENT),
    "punch-export": Row("", ALL, SENT),
    "punch-views": Row("", ALL, BAD),
    "punch-view-drop": Row("view", SENT, "302 403 403 302"),
    "punch-bulk": Row("", ON, ON),
    "punch-bulk-undo": Row("batch", SENT, "302 403 403 403"),
    "punch-photo": Row("photo", HERE, SENT_HERE),
    "punch-photo-small": Row("photo", HERE, SENT_HERE),
    "punch-photo-withdraw": Row("photo", HERE, FORM_HERE),
    "punch-item-by-id": Row("item", ON_HERE, SENT_HERE),
    "punch-item": Row("number", HERE, SENT_HERE),
    "punch-if-closed": Row("number", HERE, SENT_HERE),
    "punch-step": Row("number", SENT, BAD_HERE),
    "punch-change": Row("number", HERE, BAD_HERE),
    "punch-photos": Row("number", SENT, ON_HERE),
}
#: For machines that watch this one: no session, hardly a word. test_health.py and test_metrics.py ask them.
PROBES = {"health-live", "health-ready", "metrics"}
PROJECT = "p/<str:code>/"


def page_patterns(patterns: list[URLPattern | URLResolver], before: str = "") -> Iterator[tuple[str, str]]:
    """Route and name of every address that is not of the API."""
    for one in patterns:
        route = before + str(one.pattern)
        if isinstance(one, URLResolver):
            yield from page_patterns(one.url_patterns, route)
        elif not route.lstrip("^").startswith("api/"):
            yield route, one.name or ""


ROUTES = dict((name, route) for route, name in page_patterns(get_resolver().url_patterns))


@pytest.fixture
def records(small_world: World) -> Records:
    return one_of_each(small_world)


def address(records: Records, name: str) -> str:
    key = PAGES[name].record
    named = {**records.keys, "calculation": "float_voltage"}
    return reverse(name, args=[records.world.project.code, *([named[key]] if key else [])])


def answer(browser: Client, method: str, url: str) -> HttpResponse:
    """What the product answers; what was written is taken back, so that every request meets the same record."""
    with transaction.atomic():
        found = browser.post(url, NOTHING) if method == "post" else browser.get(url)
        transaction.set_rollback(True)
    return found


def signed_in(user: User) -> Client:
    browser = Client()
    browser.force_login(user)
    return browser


def statuses(records: Records, user: User | None, method: str) -> dict[str, int]:
    browser = signed_in(user) if user else Client()
    return {name: answer(browser, method, address(records, name)).status_code for name in PAGES}


def test_every_page_has_its_row_here() -> None:
    assert set(ROUTES) == set(PAGES) | set(OUTSIDE) | PROBES
    assert "" not in ROUTES, "every page has a name, so that it can be linked to"
    assert {name for name, route in ROUTES.items() if not route.startswith(PROJECT)} == set(OUTSIDE) | PROBES


@pytest.mark.parametrize("method", ["get", "post"])
def test_each_person_is_answered_as_the_table_says(records: Records, method: str) -> None:
    world = records.world
    people = (world.manager, world.engineer, world.client, records.visitor)
    for column, person in enumerate(people):
        expected = {name: int(getattr(row, method).split()[column]) for name, row in PAGES.items()}
        found = statuses(records, person, method)
        # A post-only address may look at the method before it looks for the record.
        found |= {name: expected[name] for name in found if {found[name], expected[name]} == {404, 405}}
        assert found == expected, f"{person.username}, {method}"


@pytest.mark.parametrize("role", [Role.FIELD_ENGINEER, Role.CLIENT])
def test_a_member_for_another_site_finds_nothing_of_this_one(records: Records, role: Role) -> None:
    """What the manager of the other site does not find, nobody there finds; the rest is as for their role here."""
    world = records.world
    elsewhere = world.project.sites.exclude(pk=world.site.pk).get()
    person = make_user(username=f"elsewhere-{role}-{world.project.code}", name="Una Threlkeld")
    make_member(project=world.project, user=person, role=role, sites=[elsewhere])
    column = 1 if role == Role.FIELD_ENGINEER else 2
    for method in ("get", "post"):
        rows = {name: getattr(row, method).split() for name, row in PAGES.items()}
        expected = {name: int("404" if row[3] == "404" else row[column]) for name, row in rows.items()}
        found = statuses(records, person, method)
        found |= {name: expected[name] for name in found if {found[name], expected[name]} == {404, 405}}
        assert found == expected, (role, method)


def test_a_member_of_another_project_finds_nothing(records: Records) -> None:
    stranger = make_project().manager
    for method in ("get", "post"):
        found = statuses(records, stranger, method)
        # 405 says only that nobody may use this method here.
        for_nobody = {name for name, row in PAGES.items() if getattr(row, method).startswith("405")}
        assert {name: code for name, code in found.items() if code != 404 and name not in for_nobody} == {}, method
        assert {found[name] for name in for_nobody} <= {404, 405}, method


def test_records_of_one_project_are_not_found_under_the_code_of_another(records: Records) -> None:
    other = make_project()
    browser = signed_in(other.manager)
    code, theirs = records.world.project.code, other.project.code
    found = {}
    for name, row in PAGES.items():
        # An assignment is nobody's but its maker's: every other key is answered alike, whether it exists or not.
        if row.record and row.record not in ("calculation", "batch"):
            url = address(records, name).replace(f"/p/{code}/", f"/p/{theirs}/")
            found[name] = {answer(browser, method, url).status_code for method in ("get", "post")}
    assert {name: codes for name, codes in found.items() if not codes <= {404, 405}} == {}


def test_nobody_signed_in_is_led_to_the_sign_in_page(records: Records) -> None:
    browser = Client()
    for name in PAGES:
        for method in ("get", "post"):
            found = answer(browser, method, address(records, name))
            assert found.status_code == 405 or found["Location"].startswith("/sign-in/?next="), (name, method)


def test_pages_outside_a_project(records: Records) -> None:
    for column, person in enumerate((records.world.engineer, None)):
        found = {}
        for name in OUTSIDE:
            url = reverse(name, args=OUTSIDE_ARGS.get(name))
            browsers = [signed_in(person) if person else Client() for _ in range(2)]
            answers = zip(browsers, ("get", "post"), strict=True)
            found[name] = tuple(answer(browser, method, url).status_code for browser, method in answers)
        expected = {name: codes[column] for name, codes in OUTSIDE.items()}
        assert {name: (codes, expected[name]) for name, codes in found.items() if codes != expected[name]} == {}, person


def test_the_navigation_and_every_link_to_a_record_lead_somewhere(records: Records) -> None:
    code = records.world.project.code
    for _, name in NAVIGATION:
        assert reverse(name, args=[code])
    for name in (*RECORD_URLS.values(), *("punch-new", "alarm-new", "dossier-new")):
        assert name in PAGES, f"{name} has no page"
    for name in ("punch-new", "alarm-new", "dossier-new"):
        try:
            reverse(name, args=[code])
        except NoReverseMatch:
            pytest.fail(f"{name} takes more than the project's code")
