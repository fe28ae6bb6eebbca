"""Who gets what from every address of the API; an address without a row fails."""

from __future__ import annotations

from collections import defaultdict

import pytest
from django.db import transaction
from django.urls import reverse
from knox.models import get_token_model
from rest_framework.test import APIClient

from commissioning.models import Role, Site, User
from tests.commissioning.api.asking import api_patterns, filled
from tests.commissioning.api.matrix import ROWS, Row, elsewhere_of
from tests.commissioning.api.plant import Names, build
from tests.support.world import World, make_member, make_project, make_user

METHODS = ("get", "post", "put", "patch", "delete")


def offered() -> set[tuple[str, str]]:
    """URL name and method of everything that the API offers."""
    views = ((one.name, one.callback.cls) for one in api_patterns() if hasattr(one.callback, "cls"))  # type: ignore[union-attr]
    return {(str(name), method) for name, view in views for method in METHODS if hasattr(view, method)}


def subject(row: Row) -> str:
    return "-".join(row.name.split("-")[:2])


SUBJECTS: dict[str, list[Row]] = defaultdict(list)
for _row in ROWS:
    SUBJECTS[subject(_row)].append(_row)


def test_every_address_and_method_has_a_row_and_every_row_an_address() -> None:
    rows = [(row.name, row.method) for row in ROWS]
    assert len(rows) == len(set(rows))
    assert set(rows) == offered()


@pytest.mark.django_db
@pytest.mark.parametrize("name", sorted(SUBJECTS))
def test_each_person_gets_what_is_theirs(small_world: World, name: str) -> None:
    plant = build(small_world)
    stranger = make_project().manager
    here = (small_world.manager, small_world.engineer, small_world.client)
    people = (*here, *at_another_site(small_world), stranger, None)
    for row in SUBJECTS[name]:
        got = [asked(row, person, plant) for person in people]
        assert got == [*row.answers, *elsewhere_of(row), row.stranger, row.nobody], (row.name, row.method)


def at_another_site(world: World) -> list[User]:
    """A manager, a field engineer and a client of the project's other site."""
    other = Site.objects.create(project=world.project, code="VOF", name="Vexley Outfall")
    people = []
    for role in (Role.MANAGER, Role.FIELD_ENGINEER, Role.CLIENT):
        people.append(make_user(username=f"elsewhere-{role}-{world.project.code}", name="Una Threlkeld"))
        make_member(project=world.project, user=people[-1], role=role, sites=[other])
    return people


def asked(row: Row, person: User | None, plant: Names) -> int:
    """The status of one request, undone afterwards."""
    client = APIClient()
    with transaction.atomic():
        if person is not None:
            _, token = get_token_model().objects.create(user=person)
            client.credentials(HTTP_AUTHORIZATION=f"Token {token}")
        address = reverse(row.name, kwargs={word: filled(value, plant) for word, value in row.words.items()})
        body = filled(row.body, plant) if row.body is not None else None
        sent = {} if row.method == "get" else {"data": body, "format": "multipart" if row.multipart else "json"}
        if row.octets:
            sent = {"data": b"", "content_type": "application/octet-stream"}
        answer = getattr(client, row.method)(address, **sent)
        if answer.status_code >= 400:
            assert answer["Content-Type"] == "application/problem+json", answer.content
        transaction.set_rollback(True)
    return int(answer.status_code)
