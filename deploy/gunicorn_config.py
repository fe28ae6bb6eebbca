"""Gunicorn's configuration: `gunicorn --config deploy/gunicorn_config.py deploy.wsgi`.

Threads, because a request mostly waits for the database; a worker is replaced now and then so that memory stays flat.
"""

import fcntl
import os
import shutil
import tempfile
from typing import Any

from deploy.environment import items, number, text

bind = text("TRACKER_BIND")
workers = number("TRACKER_WEB_PROCESSES")
worker_class = "gthread"
threads = number("TRACKER_WEB_THREADS")
timeout = 60
graceful_timeout = 20
keepalive = 5
max_requests = 5000
max_requests_jitter = 500
limit_request_line = 8190
accesslog = None  # each request has its line from deploy.operations.requests
errorlog = "-"
loglevel = "warning"
# Workers prove that they live by touching a file; in memory that never waits for a disk.
worker_tmp_dir = next((folder for folder in ("/dev/shm",) if os.path.isdir(folder)), None)  # noqa: S108 (not shared)
# Client certificates and the scheme come from the proxy in front; nobody else may say that a request was encrypted.
forwarded_allow_ips = ",".join(items("TRACKER_PROXY", "127.0.0.1"))
control_socket_disable = True

# Figures are counted in files that the processes share: in memory, fresh at each start. A process takes the lowest free
# place and goes on with the file of whoever had it before, so that replaced processes leave nothing that piles up.
_memory = worker_tmp_dir or tempfile.gettempdir()


def on_starting(server: Any) -> None:
    os.environ["PROMETHEUS_MULTIPROC_DIR"] = tempfile.mkdtemp(prefix="tracker-metrics-", dir=_memory)


def post_fork(server: Any, worker: Any) -> None:
    from prometheus_client import values

    folder = os.environ["PROMETHEUS_MULTIPROC_DIR"]
    place = 0
    while True:
        worker.place_lock = open(os.path.join(folder, f"{place}.lock"), "w")
        try:
            fcntl.flock(worker.place_lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
            break
        except OSError:
            worker.place_lock.close()
            place += 1
    for name in os.listdir(folder):
        if name.startswith("gauge_live") and name.endswith(f"_{place}.db"):
            os.unlink(os.path.join(folder, name))  # what a killed process was doing, it does no more
    values.ValueClass = values.MultiProcessValue(process_identifier=lambda: place)


def on_exit(server: Any) -> None:
    shutil.rmtree(os.environ["PROMETHEUS_MULTIPROC_DIR"], ignore_errors=True)


def _logs() -> dict[str, Any]:
    """The server's own words in the form of the product's logs."""
    json = text("TRACKER_LOG_FORMAT", "json" if text("TRACKER_MODE") == "production" else "line") == "json"
    kind = {"()": "pythonjsonlogger.json.JsonFormatter"} if json else {}
    formatter: dict[str, Any] = {"format": "{asctime} {levelname} {name} {message}", "style": "{", **kind}
    if json:
        names = {"asctime": "at", "levelname": "level", "name": "logger"}
        formatter |= {"rename_fields": names, "datefmt": "%Y-%m-%dT%H:%M:%S%z"}
    own = {"handlers": ["console"], "level": "WARNING", "propagate": False, "qualname": "gunicorn.error"}
    return {
        "version": 1,
        "disable_existing_loggers": False,
        "formatters": {"own": formatter},
        "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "own"}},
        "root": {"handlers": ["console"], "level": "WARNING"},
        "loggers": {"gunicorn.error": own},
    }


logconfig_dict = _logs()
