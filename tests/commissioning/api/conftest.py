"""Clients of the API that speak for the people of the small world."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from rest_framework.test import APIClient

from commissioning.models import User
from tests.support.world import World

Api = Callable[[str], APIClient]


def speaks_for(user: User | None) -> APIClient:
    """A client of the API for somebody who is signed in; None: for nobody."""
    client = APIClient()
    client.default_format = "json"
    if user is not None:
        client.force_authenticate(user)
    return client


@pytest.fixture
def api(small_world: World) -> Api:
    """`api("manager")`: a client that speaks for that person of the small world."""
    return lambda who: speaks_for(getattr(small_world, who))


@pytest.fixture
def base(small_world: World) -> str:
    return f"/api/v1/projects/{small_world.project.code}/"
