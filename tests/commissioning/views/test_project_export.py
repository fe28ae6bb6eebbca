"""The page on which a manager takes the whole project away."""

from __future__ import annotations

import hashlib
import io
import zipfile
from datetime import timedelta
from uuid import uuid4

import pytest
from django.core.files.storage import default_storage
from django.test import Client
from django.utils import timezone

from commissioning.errors import NotAllowed
from commissioning.models import AuditEntry, Job, JobState
from commissioning.services import job_runs, project_export
from tests.support.world import World

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def bell(monkeypatch):
    monkeypatch.setattr("celery.current_app.send_task", lambda *args, **more: None)


@pytest.fixture
def page(small_world: World) -> Client:
    browser = Client()
    browser.force_login(small_world.manager)
    return browser


def address(world: World) -> str:
    return f"/p/{world.project.code}/export/"


def made(world: World) -> Job:
    job = project_export.ask_export(actor=world.manager, project=world.project, id=uuid4())
    job_runs.run(job.pk)
    job.refresh_from_db()
    assert job.state == JobState.DONE, job.error
    return job


def test_it_is_asked_for_once_made_in_the_background_and_downloaded(small_world, page):
    sent = {"id": str(uuid4())}
    for _ in range(2):
        assert page.post(address(small_world), sent).status_code == 302
    job = Job.objects.get(kind="export_project")
    assert AuditEntry.objects.filter(action="job_asked", actor=small_world.manager).count() == 1
    job_runs.run(job.pk)
    text = page.get(address(small_world)).content.decode()
    assert f"/export/{job.pk}/" in text
    answer = page.get(f"{address(small_world)}{job.pk}/")
    body = b"".join(answer.streaming_content)
    job.refresh_from_db()
    assert hashlib.sha256(body).hexdigest() == job.result["sha256"]
    assert answer["Content-Disposition"].startswith("attachment")
    assert "manifest.json" in zipfile.ZipFile(io.BytesIO(body)).namelist()


def test_run_twice_there_is_one_file(small_world):
    job = made(small_world)
    Job.objects.filter(pk=job.pk).update(state=JobState.WAITING)
    job_runs.run(job.pk)
    folder = f"exports/{small_world.project.pk}/{job.pk}"
    assert len(default_storage.listdir(folder)[1]) == 1


def test_only_a_manager_of_every_site_asks_and_nobody_fetches_anothers(small_world, page):
    for person in (small_world.engineer, small_world.client, small_world.stranger):
        with pytest.raises(NotAllowed):
            project_export.ask_export(actor=person, project=small_world.project, id=uuid4())
    job = made(small_world)
    engineer = Client()
    engineer.force_login(small_world.engineer)
    assert engineer.get(f"{address(small_world)}{job.pk}/").status_code == 403


def test_an_export_that_is_no_longer_kept_says_so(small_world, page):
    job = made(small_world)
    default_storage.delete(job.result["file"])
    answer = page.get(f"{address(small_world)}{job.pk}/")
    assert (answer.status_code, b"Ask for a new one" in answer.content) == (404, True)


def test_old_exports_are_dropped_when_a_new_one_is_made(small_world, monkeypatch):
    old = made(small_world)
    with monkeypatch.context() as later:
        now = timezone.now() + project_export.KEPT + timedelta(hours=1)
        later.setattr(project_export.timezone, "now", lambda: now)
        project_export._drop_old(small_world.project)
    assert not default_storage.exists(old.result["file"])


def test_an_export_is_no_part_of_the_next_one(small_world):
    first, second = made(small_world), made(small_world)
    assert second.result["files"] == first.result["files"]
