"""Figures for Prometheus at /metrics, for whoever brings the token.

Requests are counted in files that all processes of one web machine share (PROMETHEUS_MULTIPROC_DIR, set by
deploy/gunicorn_config.py). Queues, workers and backups are read from the database when they are asked for, and are the
same from every machine.
"""

from __future__ import annotations

import hmac
import os
from collections.abc import Iterator

from django.conf import settings
from django.db import Error
from django.http import HttpRequest, HttpResponse
from prometheus_client import CONTENT_TYPE_LATEST, REGISTRY, CollectorRegistry, Counter, Gauge, Histogram
from prometheus_client.core import GaugeMetricFamily, Metric
from prometheus_client.exposition import generate_latest
from prometheus_client.multiprocess import MultiProcessCollector
from prometheus_client.registry import Collector

from deploy.operations import state

BUCKETS = (0.01, 0.025, 0.05, 0.1, 0.25, 0.4, 0.75, 1.5, 3, 10, 30)
REQUESTS = Counter("tracker_requests", "Requests answered.", ["method", "route", "status"])
SECONDS = Histogram("tracker_request_seconds", "Time to answer.", ["method", "route"], buckets=BUCKETS)
IN_PROGRESS = Gauge("tracker_requests_in_progress", "Requests being answered now.", multiprocess_mode="livesum")
METHODS = frozenset({"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"})


def note_request(request: HttpRequest, response: HttpResponse, seconds: float) -> None:
    """Count a request under the name of its route: an address with a number in it is no label."""
    method = request.method if request.method in METHODS else "other"
    route = route_of(request)
    REQUESTS.labels(method, route, str(response.status_code)).inc()
    SECONDS.labels(method, route).observe(seconds)


def route_of(request: HttpRequest) -> str:
    """The route's name or pattern; one word for everything that led nowhere."""
    match = request.resolver_match
    if match is None:
        return "static" if request.path_info.startswith("/static/") else "none"
    return match.view_name or match.route


def show(request: HttpRequest) -> HttpResponse:
    """All figures as text, for the token of the settings; where they name none there is no such page."""
    if not settings.METRICS_TOKEN:
        return HttpResponse("There is no such page.\n", status=404, content_type="text/plain")
    if not hmac.compare_digest(
        request.headers.get("Authorization", "").encode(), f"Bearer {settings.METRICS_TOKEN}".encode()
    ):
        return HttpResponse("A token is needed.\n", status=401, content_type="text/plain")
    return HttpResponse(generate_latest(_registry()), content_type=CONTENT_TYPE_LATEST)


def _registry() -> CollectorRegistry:
    registry = CollectorRegistry()
    if os.environ.get("PROMETHEUS_MULTIPROC_DIR"):
        MultiProcessCollector(registry)
    else:
        registry.register(_Ours())
    registry.register(_Work())
    return registry


class _Ours(Collector):
    """The figures of this process alone."""

    def collect(self) -> Iterator[Metric]:
        for metric in REGISTRY.collect():
            if metric.name.startswith("tracker_"):
                yield metric


class _Work(Collector):
    """Queues, workers, backups and readiness of the database, as they stand now."""

    def collect(self) -> Iterator[Metric]:
        up = GaugeMetricFamily("tracker_database_up", "1 while the database answers.")
        try:
            found = list(_work())
        except Error:
            up.add_metric([], 0)
            yield up
            return
        up.add_metric([], 1)
        yield up
        yield from found


def _work() -> Iterator[Metric]:
    now = state.now()
    jobs = GaugeMetricFamily("tracker_jobs", "Background jobs that have not ended well.", labels=["queue", "state"])
    age = GaugeMetricFamily("tracker_oldest_job_seconds", "Age of the oldest job.", labels=["queue", "state"])
    for one in state.queues():
        jobs.add_metric([one.queue, one.state], one.count)
        age.add_metric([one.queue, one.state], (now - one.oldest).total_seconds() if one.oldest else 0)
    yield jobs
    yield age
    workers = GaugeMetricFamily("tracker_workers", "Processes at work.", labels=["part"])
    for part in ("worker", "scheduler"):
        workers.add_metric([part], sum(1 for one in state.at_work(part) if one.alive))
    yield workers
    backup = GaugeMetricFamily("tracker_last_backup_timestamp_seconds", "When the last backup ended; 0: never.")
    last = state.last_backup()
    backup.add_metric([], last.at.timestamp() if last else 0)
    yield backup
