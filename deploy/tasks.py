"""Doors for the worker to what keeps the product running. Nothing is decided here."""

import logging

from celery import shared_task

from deploy.operations import seen, strays

log = logging.getLogger(__name__)


@shared_task(name="deploy.tasks.sweep_strays")
def sweep_strays() -> None:
    """Take away stored files that nothing on record names."""
    try:
        strays.sweep()
    except strays.TooMany as error:
        log.error("No stray files were taken away. %s", error)
        seen.note("strays", facts={"too_many": str(error)})
