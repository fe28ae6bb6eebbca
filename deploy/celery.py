"""Celery's entry point: `celery -A deploy worker`."""

import os
import socket
from typing import Any

from celery import Celery
from celery.signals import beat_init, worker_ready, worker_shutting_down

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")

app = Celery("commissioning-tracker")
# The current app is kept per thread; without a default, a thread of the web server would publish to no broker of ours.
app.set_default()
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
_beating: list[Any] = []


@worker_ready.connect
def _say_worker(sender: Any, **kwargs: Any) -> None:
    """A worker says that it is at work, and which queues it takes from."""
    queues = sorted(queue.name for queue in sender.task_consumer.queues)
    _begin("worker", queues=queues)


@beat_init.connect
def _say_scheduler(sender: Any, **kwargs: Any) -> None:
    _begin("scheduler")


@worker_shutting_down.connect
def _say_no_more(**kwargs: Any) -> None:
    while _beating:
        _beating.pop().stop()


def _begin(part: str, **facts: Any) -> None:
    from deploy.operations.seen import Beating
    from deploy.operations.versions import version

    beating = Beating(part, f"{socket.gethostname()}:{os.getpid()}", {"version": version(), **facts})
    beating.start()
    _beating.append(beating)
