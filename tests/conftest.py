"""Fixtures that every room shares: a small project with its people, a running product, a browser."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from django.conf import settings

from tests.support import browser, emptying, product, programs, world

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

# Playwright keeps an event loop in the thread that drives it; the tests' own database calls in that thread are meant.
os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"


@pytest.fixture(scope="session", autouse=True)
def _tables_can_be_emptied() -> None:
    emptying.let_tests_empty_tables()


@pytest.fixture
def small_world(db: None) -> world.World:
    """One project with its people and a system; `make_project()` of tests.support.world makes others."""
    return world.make_project()


@pytest.fixture(autouse=True)
def own_files(tmp_path_factory: pytest.TempPathFactory, request: pytest.FixtureRequest) -> None:
    """Uploads of a test go to a folder of its own; with a running product they share that product's folder."""
    if "live_product" in request.fixturenames or "worker_folder" in request.fixturenames:
        return
    if "db" in request.fixturenames or "transactional_db" in request.fixturenames:
        request.getfixturevalue("settings").MEDIA_ROOT = tmp_path_factory.mktemp("files")


@pytest.fixture(scope="session")
def _running_product(
    django_db_setup: None, django_db_blocker: object, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[product.Product]:
    folder = tmp_path_factory.mktemp("product")
    with product.web_server(folder) as running:
        yield running


@pytest.fixture(scope="session")
def _own_worker(django_db_setup: None, tmp_path_factory: pytest.TempPathFactory) -> Iterator[product.WorkerOnCall]:
    own = product.WorkerOnCall(tmp_path_factory.mktemp("own-worker"))
    yield own
    own.stop()


@pytest.fixture
def live_product(
    transactional_db: None, _running_product: product.Product, _own_worker: product.WorkerOnCall
) -> product.Product:
    """Gunicorn and a worker on this test's database: what the test writes is what the pages show."""
    _own_worker.start()
    return _running_product


@pytest.fixture
def worker_folder(transactional_db: None, tmp_path: Path, _own_worker: product.WorkerOnCall) -> Path:
    """A folder for the logs of a worker that works on this test's database, with an empty broker.

    The running product's own worker stops first: it would hear the same bell.
    """
    _own_worker.stop()
    for folder in ("broker", "broker-control"):
        for message in (settings.DATA_DIR / folder).glob("*"):
            message.unlink()
    return tmp_path


@pytest.fixture(scope="session")
def _chromium() -> Iterator[Browser]:
    with browser.chromium() as running:
        yield running


@pytest.fixture
def browser_page(live_product: product.Product, _chromium: Browser) -> Iterator[Page]:
    """A page of the size of a phone on the running product; `page.goto("/…")` takes plain paths."""
    context = _chromium.new_context(base_url=live_product.address, viewport=browser.PHONE, has_touch=True)
    page = context.new_page()
    yield page
    context.close()


@pytest.fixture
def laptop_page(live_product: product.Product, _chromium: Browser) -> Iterator[Page]:
    """The same at the size of a laptop."""
    context = _chromium.new_context(base_url=live_product.address, viewport=browser.LAPTOP)
    page = context.new_page()
    yield page
    context.close()


@pytest.fixture(scope="session")
def redis_url(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A Redis to test against."""
    with programs.redis_address(tmp_path_factory.mktemp("redis")) as url:
        yield url


@pytest.fixture(scope="session")
def postgres_url() -> Iterator[str]:
    """The maintenance database of a PostgreSQL server to test against."""
    with programs.postgres_address() as url:
        yield url
