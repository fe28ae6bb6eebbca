"""Liveness and readiness say what they claim, and little else: each thing is really broken, and readiness says so."""

from __future__ import annotations

import threading
import time
from pathlib import Path

import pytest
from django.core.files.storage import default_storage
from django.db import connection
from django.test import Client

from deploy.models import LastSeen
from deploy.operations import health

WELL = {"database": True, "migrations": True, "broker": True, "files": True}
pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def prober():
    return health.Prober(health.CHECKS)


def test_a_well_product_is_alive_and_ready_for_whoever_asks_under_whatever_host():
    browser = Client(headers={"host": "10.1.2.3"})
    assert browser.get("/health/live").json() == {"live": True}
    answer = browser.get("/health/ready")
    assert (answer.status_code, answer.json()["ready"]) == (200, True)
    assert set(answer.json()["checks"]) == set(WELL)
    assert answer["Cache-Control"] == "no-store"


def test_readiness_writes_to_the_database_and_leaves_no_file_behind(prober):
    assert prober.ask() == WELL
    assert LastSeen.objects.filter(part="ready", place=health.HOST).exists()
    assert default_storage.listdir("health")[1] == []


def test_a_database_that_takes_no_writes_is_not_ready(prober):
    """Its table is taken away: on both databases the write fails while reads elsewhere work."""
    with connection.cursor() as cursor:
        cursor.execute("ALTER TABLE deploy_lastseen RENAME TO hidden")
    try:
        assert prober.ask() == {**WELL, "database": False}
    finally:
        with connection.cursor() as cursor:
            cursor.execute("ALTER TABLE hidden RENAME TO deploy_lastseen")


def test_a_migration_that_was_not_applied_is_not_ready(prober):
    with connection.cursor() as cursor:
        cursor.execute("UPDATE django_migrations SET app = 'hidden' WHERE app = 'deploy'")
    try:
        answer = Client().get("/health/ready")
        assert answer.status_code == 503
        assert answer.json() == {
            "ready": False,
            "checks": {"database": "ok", "migrations": "failed", "broker": "ok", "files": "ok"},
        }
    finally:
        with connection.cursor() as cursor:
            cursor.execute("UPDATE django_migrations SET app = 'deploy' WHERE app = 'hidden'")


def test_a_broker_that_is_not_there_is_not_ready(prober, settings):
    settings.REDIS_URL = "redis://127.0.0.1:1/0"
    assert prober.ask() == {**WELL, "broker": False}


def test_a_file_store_that_takes_nothing_is_not_ready(prober, settings, tmp_path):
    (tmp_path / "a file").write_text("where a folder should be")
    settings.MEDIA_ROOT = str(tmp_path / "a file" / "below")
    assert prober.ask() == {**WELL, "files": False}


def test_a_file_store_that_gives_back_other_bytes_is_not_ready(prober, monkeypatch):
    save = default_storage.save

    def garbled(name, content):
        stored = save(name, content)
        Path(default_storage.path(stored)).write_bytes(b"something else")
        return stored

    monkeypatch.setattr(default_storage, "save", garbled)
    assert prober.ask() == {**WELL, "files": False}


def test_a_check_that_hangs_fails_in_time_and_is_not_started_again_meanwhile():
    let_go, begun = threading.Event(), []

    def hangs() -> None:
        begun.append(1)
        let_go.wait(30)

    prober = health.Prober({"hangs": hangs, "works": lambda: None}, seconds=0.2)
    begin = time.monotonic()
    assert prober.ask() == prober.ask() == {"hangs": False, "works": True}
    assert time.monotonic() - begin < 10
    assert len(begun) == 1
    let_go.set()
    prober._running["hangs"].result(5)
    assert prober.ask() == {"hangs": True, "works": True}


def test_liveness_asks_nothing_but_the_process(django_assert_num_queries):
    with django_assert_num_queries(0):
        assert Client().get("/health/live").status_code == 200
