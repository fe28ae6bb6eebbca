"""Somebody signed in, for the tests of pages."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from tests.support.world import World


@pytest.fixture
def signed_in(small_world: World) -> Callable[[str], Client]:
    """`signed_in("manager")`: a browser in which that person of the small world is signed in."""

    def sign_in(who: str) -> Client:
        client = Client()
        client.force_login(getattr(small_world, who))
        return client

    return sign_in


@pytest.fixture
def at(small_world: World) -> Callable[..., str]:
    """`at("punch-item", 3)`: an address in the small world's project."""
    return lambda name, *args: reverse(name, args=[small_world.project.code, *args])
