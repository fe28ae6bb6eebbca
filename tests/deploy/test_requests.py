"""A request is known by its id in the answer, in the logs, on the error page and in the work it asked for."""

from __future__ import annotations

import json
import logging
import logging.config
from uuid import UUID, uuid4

import pytest
from django.conf import settings as django_settings
from django.test import Client
from django_guid import get_guid

from commissioning.models import Job
from commissioning.services import job_runs, jobs
from commissioning.views import account
from tests.support.world import World

pytestmark = pytest.mark.django_db
ID = "6f9619ff-8b86-4d01-b42d-00cf4fc964ff"


@pytest.fixture
def broken(monkeypatch):
    """A page that breaks in a way nobody foresaw."""

    def fall(*args: object) -> None:
        raise RuntimeError("unforeseen")

    monkeypatch.setattr(account.SignIn, "dispatch", fall)
    return Client(raise_request_exception=False)


def test_an_id_is_made_taken_over_and_never_taken_as_it_stands():
    made = Client().get("/sign-in/")["X-Request-ID"]
    assert UUID(made)
    assert Client().get("/sign-in/", headers={"x-request-id": ID})["X-Request-ID"] == ID
    for bad in ("x", "a" * 5000, f"{ID}\u2028forged=1", "<script>"):
        assert UUID(Client().get("/sign-in/", headers={"x-request-id": bad})["X-Request-ID"])


def test_the_error_page_and_the_problem_name_the_id_and_nothing_of_the_inside(broken, monkeypatch):
    page = broken.get("/sign-in/", headers={"x-request-id": ID})
    assert (page.status_code, page["X-Request-ID"]) == (500, ID)
    assert ID in page.content.decode()
    assert "unforeseen" not in page.content.decode()
    monkeypatch.setattr("commissioning.api.nowhere.no_such_address.__code__", (lambda request: 1 / 0).__code__)
    answer = broken.get("/api/v1/nowhere/", headers={"x-request-id": ID})
    assert (answer.status_code, answer["Content-Type"]) == (500, "application/problem+json")
    assert answer.json()["request_id"] == ID


def test_each_request_has_one_line_with_what_was_asked_and_nothing_that_was_typed(caplog):
    caplog.set_level(logging.INFO, "tracker.requests")
    Client().get("/sign-in/?next=/p/secret/")
    (line,) = [one for one in caplog.records if one.name == "tracker.requests"]
    assert (line.method, line.path, line.status, line.route) == ("GET", "/sign-in/", 200, "sign-in")
    assert "secret" not in line.getMessage() + line.path


def test_a_line_of_the_production_log_is_one_json_object_with_the_id(capsys):
    config = {**django_settings.LOGGING, "handlers": {"console": dict(django_settings.LOGGING["handlers"]["console"])}}
    config["handlers"]["console"] |= {"formatter": "json", "stream": "ext://sys.stderr"}
    config["loggers"] = {"tracker.example": {"handlers": ["console"], "level": "INFO", "propagate": False}}
    config.pop("root")
    logging.config.dictConfig(config)
    from django_guid import set_guid

    set_guid(ID)
    logging.getLogger("tracker.example").info("two\nlines", extra={"status": 200})
    (line,) = capsys.readouterr().err.splitlines()
    said = json.loads(line)
    assert (said["message"], said["level"], said["logger"], said["request_id"], said["status"]) == (
        *("two\nlines", "INFO", "tracker.example"),
        *(ID, 200),
    )


def test_work_that_a_request_asked_for_runs_under_the_requests_id(small_world: World, settings, monkeypatch):
    monkeypatch.setattr("tests.support.runners.count", lambda job: {"ran_under": get_guid()})
    manager = Client()
    manager.force_login(small_world.manager)
    sent = str(uuid4())
    with pytest.MonkeyPatch.context() as quiet:
        quiet.setattr("celery.current_app.send_task", lambda *args, **more: None)
        url = f"/p/{small_world.project.code}/verification/"
        manager.post(url, {"reason": "a limit changed"}, headers={"x-request-id": sent})
    job = Job.objects.get()
    assert job.request_id == sent
    Job.objects.filter(pk=job.pk).update(kind="count")
    job_runs.run(job.pk)
    job.refresh_from_db()
    assert job.result == {"ran_under": sent}


def test_work_that_no_request_asked_for_has_no_id(small_world: World, monkeypatch):
    monkeypatch.setattr("commissioning.services.jobs.get_guid", lambda: None)
    monkeypatch.setattr("celery.current_app.send_task", lambda *args, **more: None)
    job = jobs.ask(project=small_world.project, kind="count", key="k", asked_by=small_world.manager, arguments={})
    assert job.request_id == ""
