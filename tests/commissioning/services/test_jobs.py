"""Jobs: asked for once, run by one worker at a time, and never lost."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import pytest
from django.conf import settings
from django.db import connection, transaction
from django.utils import timezone

from commissioning.errors import Conflict, NotAllowed
from commissioning.models import AuditEntry, Job, JobState
from commissioning.services import job_runs, jobs
from tests.support.world import World, make_project

pytestmark = pytest.mark.django_db


@pytest.fixture
def bell(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The jobs that the broker was told about."""
    rung: list[str] = []

    def send_task(name: str, args: list[str], **options: object) -> None:
        assert name == "commissioning.tasks.run_job"
        rung.extend(args)

    monkeypatch.setattr("celery.current_app.send_task", send_task)
    return rung


def ask(world: World, key: str = "count-1", **arguments: object) -> Job:
    return jobs.ask(project=world.project, kind="count", key=key, asked_by=world.manager, arguments=arguments)


def let_lease_run_out(job: Job) -> None:
    Job.objects.filter(pk=job.pk).update(lease_until=timezone.now() - timedelta(seconds=1))


def actions(world: World) -> list[str]:
    entries = AuditEntry.objects.filter(project=world.project, action__startswith="job_").order_by("sequence")
    return list(entries.values_list("action", flat=True))


def test_the_bell_rings_when_the_asking_transaction_commits_and_not_before(
    small_world, bell, django_capture_on_commit_callbacks
):
    with django_capture_on_commit_callbacks(execute=True):
        job = ask(small_world)
        assert bell == []
    assert bell == [str(job.pk)]


def test_asking_twice_with_one_key_gives_one_job_and_one_bell(small_world, bell, django_capture_on_commit_callbacks):
    with django_capture_on_commit_callbacks(execute=True):
        first, second = ask(small_world), ask(small_world)
    assert first == second
    assert bell == [str(first.pk)]
    assert actions(small_world) == ["job_asked"]


def test_a_key_of_another_project_is_a_conflict(small_world):
    ask(small_world)
    with pytest.raises(Conflict):
        ask(make_project())


def test_a_stranger_cannot_ask(small_world):
    with pytest.raises(NotAllowed):
        jobs.ask(project=small_world.project, kind="count", key="k", asked_by=small_world.stranger, arguments={})
    assert not Job.objects.exists()


def test_an_unreachable_broker_leaves_the_job_waiting_and_a_later_sweep_rings(
    small_world, monkeypatch, bell, django_capture_on_commit_callbacks
):
    with monkeypatch.context() as broken:

        def refuse(*args: object, **options: object) -> None:
            raise ConnectionError("no broker")

        broken.setattr("celery.current_app.send_task", refuse)
        with django_capture_on_commit_callbacks(execute=True):
            job = ask(small_world)
    assert Job.objects.get().state == JobState.WAITING
    let_lease_run_out(job)
    assert jobs.sweep() == 1
    assert bell == [str(job.pk)]


def test_of_two_workers_one_gets_the_job(small_world):
    job = ask(small_world)
    first, second = jobs.claim(job.pk, "one"), jobs.claim(job.pk, "two")
    assert (first.state, first.lease_holder, first.attempts) == (JobState.RUNNING, "one", 1)
    assert second is None


def test_a_job_whose_worker_fell_silent_goes_to_another_and_the_first_must_stop(small_world):
    job = ask(small_world)
    first = jobs.claim(job.pk, "one")
    let_lease_run_out(job)
    second = jobs.claim(job.pk, "two")
    assert second.attempts == 2
    with pytest.raises(jobs.LeaseLost):
        jobs.heartbeat(first, words="still here", done=1, total=2)
    with pytest.raises(jobs.LeaseLost):
        jobs.finish(first, {"by": "one"})
    with pytest.raises(jobs.LeaseLost):
        jobs.fail(first, "no")
    jobs.finish(second, {"by": "two"})
    assert Job.objects.get().result == {"by": "two"}


def test_a_run_that_lost_its_lease_writes_nothing(small_world):
    job = ask(small_world)
    first = jobs.claim(job.pk, "one")
    let_lease_run_out(job)
    jobs.claim(job.pk, "two")
    with pytest.raises(jobs.LeaseLost), jobs.writing(first):
        small_world.project.name = "written too late"
        small_world.project.save()
    small_world.project.refresh_from_db()
    assert small_world.project.name != "written too late"


def test_an_error_while_writing_undoes_what_was_written(small_world):
    held = jobs.claim(ask(small_world).pk, "one")
    with pytest.raises(ZeroDivisionError), jobs.writing(held):
        small_world.project.name = "half done"
        small_world.project.save()
        raise ZeroDivisionError
    small_world.project.refresh_from_db()
    assert small_world.project.name != "half done"


def test_a_heartbeat_renews_the_lease_and_says_how_far_it_is(small_world):
    job = jobs.claim(ask(small_world).pk, "one")
    let_lease_run_out(job)
    jobs.heartbeat(job, words="reading rows", done=3, total=10)
    row = Job.objects.get()
    assert (row.words, row.done, row.total) == ("reading rows", 3, 10)
    assert jobs.claim(job.pk, "two") is None


def test_a_cancelled_job_stops_at_its_next_heartbeat(small_world):
    job = jobs.claim(ask(small_world).pk, "one")
    jobs.cancel(job=job, actor=small_world.manager)
    with pytest.raises(jobs.JobCancelled):
        jobs.heartbeat(Job(pk=job.pk, lease_holder="one"), words="", done=0, total=0)
    assert Job.objects.get().state == JobState.CANCELLED
    assert jobs.claim(job.pk, "two") is None


def test_only_who_asked_or_a_manager_cancels(small_world):
    job = ask(small_world)
    with pytest.raises(NotAllowed):
        jobs.cancel(job=job, actor=small_world.engineer)
    with pytest.raises(NotAllowed):
        jobs.cancel(job=job, actor=small_world.stranger)
    assert jobs.cancel(job=job, actor=small_world.manager).state == JobState.CANCELLED
    with pytest.raises(Conflict):
        jobs.cancel(job=job, actor=small_world.manager)


def test_a_failed_job_can_be_asked_for_again_and_a_done_one_cannot(
    small_world, bell, django_capture_on_commit_callbacks
):
    job = jobs.claim(ask(small_world).pk, "one")
    jobs.fail(job, "The file is not a workbook. Choose another.")
    with django_capture_on_commit_callbacks(execute=True):
        again = jobs.ask_again(job=job, actor=small_world.manager)
    assert (again.state, again.attempts, again.error) == (JobState.WAITING, 0, "")
    assert bell == [str(job.pk)]
    jobs.finish(jobs.claim(job.pk, "two"))
    with pytest.raises(Conflict):
        jobs.ask_again(job=job, actor=small_world.manager)
    assert actions(small_world) == ["job_asked", "job_failed", "job_asked_again", "job_done"]


def test_a_long_queue_is_rung_for_once_per_lease_not_once_per_sweep(small_world, bell):
    job = ask(small_world)
    assert jobs.sweep() == 0
    let_lease_run_out(job)
    assert (jobs.sweep(), jobs.sweep()) == (1, 0)
    assert jobs.sweep(everything_waiting=True) == 1


def test_a_run_that_falls_silent_again_and_again_is_given_up_with_words_that_help(small_world, bell):
    job = ask(small_world)
    for attempt in range(settings.JOB_ATTEMPTS):
        assert jobs.claim(job.pk, f"worker {attempt}")
        let_lease_run_out(job)
    assert jobs.claim(job.pk, "one more") is None
    assert jobs.sweep() == 0
    row = Job.objects.get()
    assert row.state == JobState.FAILED
    assert "ask for it again" in row.error


def test_the_time_left_follows_the_pace_so_far():
    now = timezone.now()
    job = Job(state=JobState.RUNNING, started_at=now - timedelta(seconds=30), done=10, total=40)
    assert jobs.time_left(job, now) == timedelta(seconds=90)
    job.done = 0
    assert jobs.time_left(job, now) is None


def test_a_run_counts_to_its_end_and_keeps_its_result(small_world, tmp_path):
    job = ask(small_world, to=4, pause=0, log=str(tmp_path / "log"))
    job_runs.run(str(job.pk))
    job.refresh_from_db()
    assert (job.state, job.result["sum"], job.done) == (JobState.DONE, 10, 4)
    assert job_runs.run(str(job.pk)) is None


def test_an_unforeseen_error_fails_the_job_with_its_number_and_without_a_trace(small_world):
    job = ask(small_world)  # without the arguments that the runner needs
    job_runs.run(job.pk)
    job.refresh_from_db()
    assert job.state == JobState.FAILED
    assert str(job.pk) in job.error
    assert "Traceback" not in job.error


@pytest.mark.parametrize(("kind", "says"), [("not_there", "cannot be loaded"), ("unheard_of", "JOB_RUNNERS")])
def test_work_that_nothing_here_can_do_fails_with_clear_words(small_world, kind, says):
    job = jobs.ask(project=small_world.project, kind=kind, key=kind, asked_by=small_world.manager, arguments={})
    job_runs.run(job.pk)
    job.refresh_from_db()
    assert job.state == JobState.FAILED
    assert says in job.error


@pytest.mark.django_db(transaction=True)
def test_eight_workers_at_once_and_exactly_one_gets_the_job(bell):
    job = ask(make_project())
    ready = threading.Barrier(8)

    def claim(number: int) -> bool:
        try:
            ready.wait()
            return jobs.claim(job.pk, f"worker {number}") is not None
        finally:
            connection.close()

    with ThreadPoolExecutor(8) as pool:
        assert sum(pool.map(claim, range(8))) == 1
    job.refresh_from_db()
    assert job.attempts == 1


@pytest.mark.django_db(transaction=True)
def test_a_job_asked_for_in_a_transaction_that_is_undone_never_existed(bell):
    world = make_project()
    with pytest.raises(ZeroDivisionError), transaction.atomic():
        ask(world)
        raise ZeroDivisionError
    assert bell == []
    assert not Job.objects.exists()
