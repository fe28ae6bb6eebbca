"""Several people at once: every item gets its own number, and nobody waits for ever."""

from __future__ import annotations

import threading
from collections.abc import Callable

import pytest
from django.db import connections

from commissioning.errors import Refused
from punchlist.models import ItemStep, PunchItem
from punchlist.services.items import close_item, rectify_item, send_back_item
from tests.punchlist.making import make_item
from tests.support.world import make_project

pytestmark = pytest.mark.django_db(transaction=True)


def together(*deeds: Callable[[], object]) -> list[BaseException]:
    """Do all of it at once, each in a thread with its own connection; what went wrong comes back."""
    wrong: list[BaseException] = []
    start = threading.Barrier(len(deeds))

    def run(deed: Callable[[], object]) -> None:
        try:
            start.wait()
            deed()
        except Exception as error:
            wrong.append(error)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=run, args=(deed,)) for deed in deeds]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return wrong


def test_raising_and_stepping_at_once_neither_share_a_number_nor_deadlock() -> None:
    world = make_project()
    items = [make_item(world) for _ in range(6)]

    def raise_some() -> None:
        for _ in range(8):
            make_item(world)

    def step_all() -> None:
        for item in items:
            rectify_item(actor=world.engineer, item=item)
            send_back_item(actor=world.manager, item=item, reason="Loose")

    assert together(raise_some, step_all, raise_some) == []
    assert sorted(PunchItem.objects.values_list("number", flat=True)) == list(range(1, 23))


def test_two_people_closing_at_once_close_it_once() -> None:
    world = make_project()
    item = make_item(world)
    rectify_item(actor=world.engineer, item=item)
    wrong = together(
        lambda: close_item(actor=world.manager, item=item), lambda: close_item(actor=world.client, item=item)
    )
    assert [type(error) for error in wrong] == [Refused]
    assert ItemStep.objects.filter(item=item, step="closed").count() == 1
