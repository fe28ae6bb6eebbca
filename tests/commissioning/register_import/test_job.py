"""The import in the background and from the command line."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import pytest
from django.core.files.base import ContentFile
from django.core.management import CommandError, call_command

from commissioning.models import Job, JobState, System
from commissioning.register_import.jobs import KIND, keep_upload
from commissioning.services import job_runs, jobs
from tests.support import books, world

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _no_broker(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("celery.current_app.send_task", lambda *args, **options: None)


def ask(w: world.World, sheets: Any = books.GOOD, key: str = "import-1", **arguments: Any) -> Job:
    content = ContentFile(books.xlsx(sheets).getvalue())
    path = keep_upload(file=content, job_key=key, project_id=w.project.pk)
    return jobs.ask(
        project=w.project,
        kind=KIND,
        key=key,
        asked_by=w.manager,
        arguments={"path": path, "name": "register.xlsx", **arguments},
    )


def run(job: Job) -> Job:
    job_runs.run(job.pk)
    job.refresh_from_db()
    return job


def test_a_job_imports_and_its_result_says_what_came_of_it(small_world: world.World) -> None:
    job = run(ask(small_world))
    assert (job.state, job.error) == (JobState.DONE, "")
    assert job.result["applied"] is True
    assert sum(sheet["added"] for sheet in job.result["sheets"]) == books.GOOD_ROWS
    assert System.objects.filter(tag="TTW-DC1").exists()


def test_a_dry_run_job_writes_nothing_and_its_digest_binds_the_import(small_world: world.World) -> None:
    dry = run(ask(small_world, dry_run=True))
    assert dry.result["applied"] is False
    assert not System.objects.filter(tag="TTW-DC1").exists()
    other = books.with_rows(Sites=[["code", "name"], ["TTW", "Another name"]])
    refused = run(ask(small_world, other, "import-2", digest=dry.result["digest"]))
    assert refused.state == JobState.FAILED
    assert "changed since" in refused.error
    assert run(ask(small_world, key="import-3", digest=dry.result["digest"])).result["applied"] is True


def test_problems_are_a_result_and_nothing_is_written(small_world: world.World) -> None:
    job = run(ask(small_world, books.with_rows(Sites=[["code", "name"], ["TTW", None]])))
    assert job.state == JobState.DONE
    assert job.result["applied"] is False
    assert job.result["problems"][0]["words"].startswith("Sites, row 2, name: ")
    assert not System.objects.filter(tag="TTW-DC1").exists()


def test_a_file_that_cannot_be_taken_fails_the_job_in_words(small_world: world.World) -> None:
    job = ask(small_world)
    job.arguments["name"] = "register.xlsm"
    job.save(update_fields=["arguments"])
    assert run(job).state == JobState.FAILED
    assert "macros" in job.error


def test_a_run_that_is_repeated_changes_nothing(small_world: world.World) -> None:
    run(ask(small_world))
    again = run(ask(small_world, key="import-2"))
    assert again.result["changes_nothing"] is True
    assert System.objects.filter(tag="TTW-DC1").count() == 1


def test_a_cancelled_job_writes_nothing(small_world: world.World, monkeypatch: pytest.MonkeyPatch) -> None:
    job = ask(small_world)

    def cancel_then_read(**given: Any) -> Any:
        Job.objects.filter(pk=job.pk).update(state=JobState.CANCELLED)
        return read(**given)

    from commissioning.register_import import jobs as import_jobs

    read = import_jobs.read_upload
    monkeypatch.setattr(import_jobs, "read_upload", cancel_then_read)
    assert run(job).state == JobState.CANCELLED
    assert not System.objects.filter(tag="TTW-DC1").exists()


def test_the_commands_import_and_export(small_world: world.World, tmp_path: Path) -> None:
    code, out = small_world.project.code, io.StringIO()
    first, second = tmp_path / "in.xlsx", tmp_path / "out.xlsx"
    first.write_bytes(books.xlsx(books.GOOD).getvalue())
    call_command("register_import", code, str(first), "--dry-run", stdout=out)
    assert "Equipment: 3 added, 0 changed, 0 left alone" in out.getvalue()
    assert not System.objects.filter(tag="TTW-DC1").exists()
    call_command("register_import", code, str(first), stdout=out)
    call_command("register_export", code, str(second), stdout=out)
    again = io.StringIO()
    call_command("register_import", code, str(second), stdout=again)
    assert " 0 added, 0 changed, 3 left alone" in again.getvalue()


def test_the_command_reports_every_bad_row_and_fails(small_world: world.World, tmp_path: Path) -> None:
    (tmp_path / "sites.csv").write_text("code,name\nVXO,\nTTW,\n")
    err = io.StringIO()
    with pytest.raises(CommandError, match="2 to correct"):
        call_command("register_import", small_world.project.code, str(tmp_path), stderr=err, stdout=io.StringIO())
    assert "Sites, row 2, name" in err.getvalue()
    assert "Sites, row 3, name" in err.getvalue()
    for wrong in (["NOWHERE", str(tmp_path)], [small_world.project.code, str(tmp_path / "missing.xlsx")]):
        with pytest.raises(CommandError):
            call_command("register_import", *wrong)
