"""Doors for the worker: an id in, one service call. Nothing is decided here."""

from celery import shared_task

from commissioning.services import daily_mail, dossier_units, job_runs, jobs, notices, outbox_files, outgoing
from commissioning.stored_files import clear_half_written


@shared_task(name="commissioning.tasks.run_job")
def run_job(job_id: str) -> None:
    """Run one job, unless it has ended or somebody else has it."""
    job_runs.run(job_id)


@shared_task(name="commissioning.tasks.run_long_job")
def run_long_job(job_id: str) -> None:
    """The same for work that takes minutes: it waits in a queue of its own."""
    job_runs.run(job_id)


@shared_task(name="commissioning.tasks.sweep_jobs")
def sweep_jobs() -> None:
    """Queue again what fell silent or was forgotten."""
    jobs.sweep()


@shared_task(name="commissioning.tasks.draw_units")
def draw_units(dossier_id: str) -> None:
    """Draw systems of a large dossier beside the worker that has its job."""
    dossier_units.help_out(dossier_id)


@shared_task(name="commissioning.tasks.sweep_files")
def sweep_files() -> None:
    """Drop what phones began to send and nobody needs any more."""
    outbox_files.sweep_files()
    clear_half_written()


@shared_task(name="commissioning.tasks.drop_old_notices")
def drop_old_notices() -> None:
    """Forget what people were told long ago."""
    notices.drop_old()
    outgoing.drop_old()


@shared_task(name="commissioning.tasks.write_daily_mail")
def write_daily_mail() -> None:
    """Write to each member whose hour has come."""
    daily_mail.write_daily()


@shared_task(name="commissioning.tasks.send_mails")
def send_mails() -> None:
    """Hand over to the mail server what waits for it."""
    outgoing.send_waiting()
