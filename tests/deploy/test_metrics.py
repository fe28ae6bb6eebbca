"""Figures for Prometheus: only for the token, labelled by route, and read back by Prometheus's own parser."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from django.test import Client
from prometheus_client import CollectorRegistry, generate_latest
from prometheus_client.multiprocess import MultiProcessCollector
from prometheus_client.parser import text_string_to_metric_families

from commissioning.services import jobs
from deploy.operations import seen
from tests.support.product import ROOT
from tests.support.world import World

TOKEN = "a-token-of-this-test-only"


@pytest.fixture
def scrape(settings):
    settings.METRICS_TOKEN = TOKEN

    def ask() -> dict[tuple[str, tuple[tuple[str, str], ...]], float]:
        answer = Client().get("/metrics", headers={"authorization": f"Bearer {TOKEN}"})
        assert answer.status_code == 200
        return samples(answer.content.decode())

    return ask


def samples(text: str) -> dict[tuple[str, tuple[tuple[str, str], ...]], float]:
    return {
        (one.name, tuple(sorted(one.labels.items()))): one.value
        for family in text_string_to_metric_families(text)
        for one in family.samples
    }


def test_without_a_token_in_the_settings_there_is_no_such_page(settings):
    settings.METRICS_TOKEN = ""
    assert Client().get("/metrics").status_code == 404


@pytest.mark.parametrize("sent", ["", "Bearer ", f"Bearer {TOKEN}x", TOKEN, f"Token {TOKEN}", "Bearer \xe9"])
def test_without_the_token_nothing_is_said(settings, sent):
    settings.METRICS_TOKEN = TOKEN
    answer = Client().get("/metrics", headers={"authorization": sent})
    assert (answer.status_code, b"tracker" in answer.content) == (401, False)


@pytest.mark.django_db
def test_queues_workers_and_backups_are_counted(small_world: World, scrape, settings, monkeypatch):
    monkeypatch.setattr("celery.current_app.send_task", lambda *args, **more: None)
    settings.LONG_JOBS = ("dossier",)
    for number, kind in enumerate(("count", "count", "dossier")):
        jobs.ask(project=small_world.project, kind=kind, key=f"k{number}", asked_by=small_world.manager, arguments={})
    seen.note("worker", "one:1")
    seen.note("backup", at=small_world.project.created_at)
    found = scrape()
    assert found["tracker_jobs", (("queue", "short"), ("state", "waiting"))] == 2
    assert found["tracker_jobs", (("queue", "long"), ("state", "waiting"))] == 1
    assert found["tracker_jobs", (("queue", "long"), ("state", "failed"))] == 0
    assert found["tracker_oldest_job_seconds", (("queue", "long"), ("state", "waiting"))] >= 0
    assert found["tracker_workers", (("part", "worker"),)] == 1
    assert found["tracker_workers", (("part", "scheduler"),)] == 0
    assert found["tracker_last_backup_timestamp_seconds", ()] == pytest.approx(
        small_world.project.created_at.timestamp(), abs=1
    )
    assert found["tracker_database_up", ()] == 1


@pytest.mark.django_db
def test_requests_are_counted_by_route_not_by_address(small_world: World, scrape):
    browser = Client()
    browser.force_login(small_world.manager)
    where = ("tracker_requests_total", (("method", "GET"), ("route", "portfolio"), ("status", "200")))
    before = scrape().get(where, 0)
    browser.get(f"/p/{small_world.project.code}/")
    browser.get("/no/such/page/")
    found = scrape()
    assert found[where] == before + 1
    assert not [key for key in found if small_world.project.code in str(key) or "no/such" in str(key)]
    assert found["tracker_request_seconds_count", (("method", "GET"), ("route", "portfolio"))] >= 1


ONE_PROCESS = """
import sys, types
from deploy import gunicorn_config
worker = types.SimpleNamespace()
gunicorn_config.post_fork(None, worker)
from prometheus_client import Counter, Gauge
Counter("tracker_example", "-").inc()
Gauge("tracker_busy", "-", multiprocess_mode="livesum").inc()
print("counted", flush=True)
sys.stdin.read()
"""


def test_processes_of_one_machine_count_together_also_after_one_was_killed(tmp_path: Path, monkeypatch):
    """As gunicorn starts them: two at once, one killed, and another in its place that leaves no file more."""
    monkeypatch.setenv("PROMETHEUS_MULTIPROC_DIR", str(tmp_path))

    def start() -> subprocess.Popen[str]:
        command = [sys.executable, "-c", ONE_PROCESS]
        process = subprocess.Popen(command, cwd=ROOT, stdin=-1, stdout=-1, text=True)
        assert process.stdout is not None
        assert process.stdout.readline() == "counted\n"
        return process

    def counted() -> tuple[float, float]:
        registry = CollectorRegistry()
        MultiProcessCollector(registry)
        found = samples(generate_latest(registry).decode())
        return found["tracker_example_total", ()], found["tracker_busy", ()]

    processes = [start(), start()]
    assert counted() == (2, 2)
    files = sorted(path.name for path in tmp_path.iterdir())
    processes[0].kill()
    processes[0].wait()
    processes.append(start())
    assert counted() == (3, 2), "what it had counted stays, what it was doing does not"
    assert sorted(path.name for path in tmp_path.iterdir()) == files
    for process in processes:
        process.communicate()
