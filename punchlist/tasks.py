"""Doors for the worker: one service call each. Nothing is decided here."""

from celery import shared_task

from punchlist.services.overdue import tell_overdue as tell


@shared_task(name="punchlist.tasks.tell_overdue")
def tell_overdue() -> None:
    """Tell who owes what is due or overdue, and managers of what is overdue too long."""
    tell()
