"""The product's own settings, with a data folder of the test run's own and a quick password hasher.

The environment is prepared first, because `deploy.settings` reads it. Processes that tests start (a worker, the web
server) use this module too: they are given the folder and the database through the TRACKER_TEST_ variables.
"""

import atexit
import os
import shutil
import tempfile
from pathlib import Path

if "TRACKER_TEST_RUN_DIR" not in os.environ:
    os.environ["TRACKER_TEST_RUN_DIR"] = tempfile.mkdtemp(prefix="tracker-tests-")
    atexit.register(shutil.rmtree, os.environ["TRACKER_TEST_RUN_DIR"], ignore_errors=True)

#: One folder per test process: gw0, gw1 under pytest-xdist.
PROCESS = os.environ.get("TRACKER_TEST_PROCESS") or os.environ.get("PYTEST_XDIST_WORKER", "main")
os.environ["TRACKER_DATA_DIR"] = str(Path(os.environ["TRACKER_TEST_RUN_DIR"]) / PROCESS)
os.environ.setdefault("TRACKER_SECRET_KEY", "only for tests: signs nothing that outlives the run")

from kombu import Queue  # noqa: E402

from deploy.settings import *  # noqa: E402, F403
from deploy.settings import DATA_DIR, DATABASES, JOB_RUNNERS  # noqa: E402

PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"

_database = DATABASES["default"]
if "sqlite3" in str(_database["ENGINE"]):
    # A file, not memory: races and processes of their own then meet the locks that the product meets.
    _database["TEST"] = {"NAME": DATA_DIR / "tests.sqlite3"}
    _database["OPTIONS"]["init_command"] = "PRAGMA journal_mode=WAL; PRAGMA synchronous=OFF; PRAGMA foreign_keys=ON;"  # type: ignore[index]
else:
    _database["TEST"] = {"NAME": f"test_{Path(os.environ['TRACKER_TEST_RUN_DIR']).name}".replace("-", "_")}
if _name := os.environ.get("TRACKER_TEST_DATABASE"):
    _database["NAME"] = _name

#: Each test process rings and hears its own bell, also where all of them share one Redis.
CELERY_TASK_DEFAULT_QUEUE = os.environ.get("TRACKER_TEST_QUEUE") or f"{Path(DATA_DIR).parent.name}-{PROCESS}"
CELERY_TASK_QUEUES = [Queue(CELERY_TASK_DEFAULT_QUEUE), Queue(f"{CELERY_TASK_DEFAULT_QUEUE}-long")]
_long = {"queue": f"{CELERY_TASK_DEFAULT_QUEUE}-long"}
CELERY_TASK_ROUTES = {f"commissioning.tasks.{name}": _long for name in ("run_long_job", "draw_units")}
#: Workers of two machines, each with a scratch of its own.
if _scratch := os.environ.get("TRACKER_TEST_WORK_DIR"):
    DOSSIER_WORK_DIR = Path(_scratch)
JOB_LEASE_SECONDS = int(os.environ.get("TRACKER_JOB_LEASE_SECONDS", "30"))
JOB_RUNNERS = {
    **JOB_RUNNERS,
    "count": "tests.support.runners.count",
    "not_there": "tests.support.runners.no_such_function",
}
