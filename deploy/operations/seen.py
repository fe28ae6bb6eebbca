"""Notes of what was last seen at work, one row a part and place."""

from __future__ import annotations

import logging
import threading
from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from django.db import DatabaseError, connection
from django.utils import timezone

from deploy.models import LastSeen

log = logging.getLogger(__name__)

#: A process says that it is at work this often; after three times that in silence it counts as gone.
BEAT_SECONDS = 15
SILENT = timedelta(seconds=3 * BEAT_SECONDS)
#: What was not seen for so long is forgotten: the machine is gone.
FORGOTTEN = timedelta(days=2)


def note(part: str, place: str = "", *, at: datetime | None = None, facts: Mapping[str, Any] | None = None) -> None:
    """Seen now: one statement, so that many processes can say so at once."""
    row = LastSeen(part=part, place=place[:120], at=at or timezone.now(), facts=dict(facts or {}))
    LastSeen.objects.bulk_create(
        [row], update_conflicts=True, unique_fields=["part", "place"], update_fields=["at", "facts"]
    )


def seen(part: str) -> list[LastSeen]:
    """Everything of this part that is remembered, the last seen first."""
    return list(LastSeen.objects.filter(part=part).order_by("-at"))


def forget() -> int:
    """Drop processes that have been gone for long; backups are kept."""
    gone = LastSeen.objects.filter(part__in=["worker", "scheduler", "ready"], at__lt=timezone.now() - FORGOTTEN)
    return gone.delete()[0]


class Beating:
    """Says beside a process's work that it is there, until it stops."""

    def __init__(self, part: str, place: str, facts: Mapping[str, Any]) -> None:
        self.part, self.place, self.facts = part, place, facts
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name=f"{part} is seen", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        """The process ends in order: it is forgotten at once."""
        self._stop.set()
        self._thread.join(BEAT_SECONDS)

    def _run(self) -> None:
        while True:
            self._say(lambda: note(self.part, self.place, facts=self.facts))
            if self._stop.wait(BEAT_SECONDS):
                self._say(lambda: LastSeen.objects.filter(part=self.part, place=self.place).delete())
                return

    def _say(self, act: Any) -> None:
        try:
            act()
        except DatabaseError:
            log.warning("%s could not say just now that it is at work; it goes on.", self.place)
        finally:
            connection.close()
