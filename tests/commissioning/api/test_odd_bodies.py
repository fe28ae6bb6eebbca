"""Whatever stands in a field of a body, the API answers it or refuses it: it never fails."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import transaction
from django.urls import reverse

from tests.commissioning.api.asking import filled
from tests.commissioning.api.conftest import speaks_for
from tests.commissioning.api.matrix import ROWS
from tests.commissioning.api.plant import build
from tests.support.world import World

ODD: tuple[Any, ...] = (
    None, "", -1, 1e308, 2**70, True, [], {}, [None], {"": "x"}, "nul\x00", "x" * 5000,
    "00000000-0000-0000-0000-000000000000", "9999-12-31T23:59:59+14:00", "0001-01-01T00:00:00-14:00",
)  # fmt: skip
#: Fields that a body may hold besides those of its row.
MORE = ("id", "at", "owes", "instruments", "values", "due_on", "stage_plans", "sites", "valid_from", "percent_of_range")


@pytest.mark.django_db
def test_odd_values_are_answered_or_refused(small_world: World) -> None:
    plant = build(small_world)
    client = speaks_for(small_world.manager)
    rows = [row for row in ROWS if row.method != "get" and isinstance(row.body, dict) and not row.multipart]
    assert len(rows) > 40
    for row in rows:
        address = reverse(row.name, kwargs={word: filled(value, plant) for word, value in row.words.items()})
        for field in dict.fromkeys([*row.body, *MORE]):
            for odd in ODD if field in row.body else (ODD[3], ODD[4], ODD[9], ODD[13]):
                with transaction.atomic():
                    answer = getattr(client, row.method)(address, {**filled(row.body, plant), field: odd})
                    assert answer.status_code < 500, (row.name, field, odd)
                    transaction.set_rollback(True)
