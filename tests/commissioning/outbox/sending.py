"""A phone that sends: items made as the phone makes them, and batches posted as it posts them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from hashlib import sha256
from typing import Any
from uuid import uuid4

from django.utils import timezone
from rest_framework.test import APIClient

from commissioning.models import CheckLine, System, User
from tests.commissioning.api.conftest import speaks_for
from tests.support.world import World

Item = dict[str, Any]


class Phone:
    """Somebody's phone in one project; its clock may be wrong."""

    def __init__(self, world: World, who: User, *, clock_ahead: timedelta = timedelta()) -> None:
        self.client: APIClient = speaks_for(who)
        self.base = f"/api/v1/projects/{world.project.code}/outbox/"
        self.system = world.system
        self.clock_ahead = clock_ahead

    def now(self) -> datetime:
        return timezone.now() + self.clock_ahead

    def item(self, kind: str, body: Mapping[str, Any], *, ago: timedelta = timedelta(), **more: Any) -> Item:
        """An item made so long ago."""
        system: System | None = more.pop("system", self.system)
        made = {"made_at": (self.now() - ago).isoformat(), "system": str(system.pk) if system else None}
        return {"id": str(uuid4()), "kind": kind, "body": dict(body), **made, **more}

    def reading(self, line: CheckLine, measured: str = "231", **more: Any) -> Item:
        return self.item("reading", {"line": str(line.pk), "typed": {"measured": measured}}, **more)

    def result(self, line: CheckLine, outcome: str = "passed", remark: str = "", **more: Any) -> Item:
        return self.item("check_result", {"line": str(line.pk), "outcome": outcome, "remark": remark}, **more)

    def snag(self, text: str = "Gland missing", category: str = "B", **more: Any) -> Item:
        body = {"category": category, "text": text, "system": str(self.system.pk), **more.pop("body", {})}
        return self.item("punch_item", body, **more)

    def send(self, *items: Item, expect: int = 200) -> Any:
        """The answer to one batch."""
        body = {"sent_at": self.now().isoformat(), "items": list(items)}
        answer = self.client.post(self.base, body)
        assert answer.status_code == expect, answer.data
        return answer.data

    def results(self, *items: Item) -> list[dict[str, Any]]:
        return list(self.send(*items)["results"])

    def states(self, *items: Item) -> list[str]:
        return [result["state"] for result in self.results(*items)]

    def upload(self, data: bytes, *, part: int = 256 * 1024) -> str:
        """Send a file in parts; its hash."""
        name = sha256(data).hexdigest()
        for offset in range(0, len(data), part):
            answer = self.put(name, data[offset : offset + part], offset=offset, size=len(data))
            assert answer.status_code == 200, answer.data
        return name

    def put(self, name: str, data: bytes, *, offset: int, size: int) -> Any:
        address = f"{self.base}files/{name}/?offset={offset}&size={size}"
        return self.client.put(address, data=data, content_type="application/octet-stream")


def words(results: Sequence[Mapping[str, Any]]) -> list[str]:
    return [" ".join(result["sentences"]) for result in results]
