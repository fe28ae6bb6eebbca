"""One UUID that arrives twice at the same moment makes one record, and both senders are told of it."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from uuid import uuid4

import pytest
from django.db import connection

from commissioning.models import AlarmSighting, User
from tests.commissioning.api.conftest import speaks_for
from tests.support.world import make_project


@pytest.mark.django_db(transaction=True)
def test_two_sends_at_the_same_moment_make_one_record() -> None:
    world = make_project()
    address = f"/api/v1/projects/{world.project.code}/alarms/"
    body = {"id": str(uuid4()), "stage": str(world.stages[0].pk), "text": "Earth fault"}
    ready = Barrier(2)

    def send(user: User) -> tuple[int, str]:
        try:
            client = speaks_for(user)
            ready.wait(timeout=30)
            answer = client.post(address, body)
            return answer.status_code, answer.data.get("id", "")
        finally:
            connection.close()

    with ThreadPoolExecutor(2) as pool:
        answers = list(pool.map(send, [world.engineer, world.engineer]))
    assert {code for code, _ in answers} <= {200, 201}, answers
    assert {key for _, key in answers} == {body["id"]}
    assert AlarmSighting.objects.count() == 1
