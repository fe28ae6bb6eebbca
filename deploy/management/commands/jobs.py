"""`manage.py jobs`: background work that failed or is not done, restarted or stopped from the shell."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError

from commissioning.errors import ServiceError
from commissioning.models import Job, JobState, User
from commissioning.services import jobs
from commissioning.services.job_queues import queue_of


class Command(BaseCommand):
    help = "List background work that failed or is not done; start it again or stop it."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--again", metavar="ID", nargs="+", help="start these again; `failed`: all that failed")
        parser.add_argument("--stop", metavar="ID", nargs="+", help="stop these")
        parser.add_argument("--as", dest="username", default="", help="operator in whose name it is recorded")

    def handle(self, *, again: list[str] | None, stop: list[str] | None, username: str, **options: Any) -> None:
        if again or stop:
            actor = _operator(username)
            for job in _named(again or []):
                self._act(job, lambda job: jobs.ask_again(job=job, actor=actor), "is in the queue again")
            for job in _named(stop or []):
                self._act(job, lambda job: jobs.cancel(job=job, actor=actor), "is cancelled")
            return
        unfinished = [JobState.FAILED, JobState.RUNNING, JobState.WAITING]
        for job in Job.objects.filter(state__in=unfinished).select_related("project").order_by("state", "asked_at"):
            why = f"  {job.error}" if job.error else f"  {job.words}" if job.words else ""
            asked = f"{job.asked_at:%Y-%m-%d %H:%M}"
            line = f"{job.pk}  {job.state:<8} {queue_of(job.kind):<5} {job.project.code}  {job.kind}  {asked}{why}"
            self.stdout.write(line)

    def _act(self, job: Job, deed: Any, words: str) -> None:
        try:
            deed(job)
        except ServiceError as error:
            raise CommandError(f"{job.pk}: {error.words}") from error
        self.stdout.write(f"{job.pk} {job.kind} {words}.")


def _named(ids: list[str]) -> list[Job]:
    if ids == ["failed"]:
        return list(Job.objects.filter(state=JobState.FAILED).order_by("asked_at"))
    found = []
    for id in ids:
        try:
            found.append(Job.objects.get(pk=id))
        except (Job.DoesNotExist, ValidationError) as error:
            raise CommandError(f"There is no background work {id}.") from error
    return found


def _operator(username: str) -> User:
    operators = User.objects.filter(is_superuser=True, is_active=True)
    found = (operators.filter(username=username) if username else operators).order_by("pk").first()
    if found is None:
        raise CommandError("Make an operator with `manage.py createsuperuser`, or name one with --as USERNAME.")
    return found
