"""Background work: Redis in production, a folder as the broker by default."""

from celery.schedules import crontab
from kombu import Queue

from deploy.environment import number, text

from .place import DATA_DIR, PRODUCTION

REDIS_URL = text("REDIS_URL", "")
CELERY_BROKER_URL = REDIS_URL or "filesystem://"
CELERY_BROKER_TRANSPORT_OPTIONS: dict[str, object] = (
    # Redelivery after a killed worker needs all three; visibility must exceed the longest task.
    {
        "visibility_timeout": number("TRACKER_LONG_JOB_SECONDS") + 900,
        "unacked_restore_interval": 10,
        "unacked_restore_throttle": 10,
        "socket_timeout": 30,
        "socket_connect_timeout": 5,
        "socket_keepalive": True,
    }
    if REDIS_URL
    else {
        "data_folder_in": str(DATA_DIR / "broker"),
        "data_folder_out": str(DATA_DIR / "broker"),
        "control_folder": str(DATA_DIR / "broker-control"),
        "polling_interval": 0.1,
    }
)
if not REDIS_URL and not PRODUCTION:
    (DATA_DIR / "broker").mkdir(exist_ok=True)
    (DATA_DIR / "broker-control").mkdir(exist_ok=True)
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_TASK_IGNORE_RESULT = True
#: What somebody waits for, and what takes minutes: long work stands in a queue and before workers of its own. A worker
#: that is not told which (`-Q short`, `-Q long`) takes both.
LONG_JOBS = ("dossier", "export_project", "register_import", "verify_again", "verify_chain")
CELERY_TASK_DEFAULT_QUEUE = "short"
CELERY_TASK_QUEUES = (Queue("short"), Queue("long"))
CELERY_TASK_ROUTES = {f"commissioning.tasks.{task}": {"queue": "long"} for task in ("run_long_job", "draw_units")}
#: A job that works for longer is stopped, and says so. The broker trusts a worker for longer than either.
JOB_SECONDS = {"short": number("TRACKER_SHORT_JOB_SECONDS"), "long": number("TRACKER_LONG_JOB_SECONDS")}
#: Seconds that a job has to end in order; then its process is ended by force.
JOB_GRACE_SECONDS = 60
CELERY_TASK_ANNOTATIONS = {
    f"commissioning.tasks.{task}": {"soft_time_limit": seconds, "time_limit": seconds + JOB_GRACE_SECONDS}
    for task, seconds in (
        ("run_job", JOB_SECONDS["short"]),
        ("run_long_job", JOB_SECONDS["long"]),
        ("draw_units", JOB_SECONDS["long"]),
    )
}
#: Jobs that may wait or run at once; whoever asks for more is told to wait.
JOBS_OF_A_PROJECT = number("TRACKER_JOBS_OF_A_PROJECT")
JOBS_OF_A_PERSON = number("TRACKER_JOBS_OF_A_PERSON")
#: Faults that pass: the run is put off and tried again, up to JOB_ATTEMPTS times.
JOB_PASSING_FAULTS = (
    "django.db.utils.OperationalError",
    "django.db.utils.InterfaceError",
    "builtins.ConnectionError",
    "commissioning.errors.NoRoom",
    "builtins.TimeoutError",
    "botocore.exceptions.HTTPClientError",
    "botocore.exceptions.EndpointConnectionError",
)
#: How long it is put off: so many seconds, doubled each time.
JOB_PUT_OFF_SECONDS = 5
CELERY_TASK_ALWAYS_EAGER = False
CELERY_WORKER_ENABLE_REMOTE_CONTROL = bool(REDIS_URL)  # in a folder its messages would only pile up
CELERY_WORKER_HIJACK_ROOT_LOGGER = False
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
#: A job whose worker has not been heard of for this long is given to another.
JOB_LEASE_SECONDS = number("TRACKER_JOB_LEASE_SECONDS")
JOB_SWEEP_SECONDS = number("TRACKER_JOB_SWEEP_SECONDS")
#: A run whose step says nothing for this long is taken to hang, and its lease is no longer renewed for it.
JOB_SILENCE_SECONDS = number("TRACKER_JOB_SILENCE_SECONDS")
#: Runs that may end without a word (a killed worker, a power cut) before the job counts as failed.
JOB_ATTEMPTS = 5
#: What does the work of each kind of job: `runner(job) -> result or None`.
JOB_RUNNERS = {
    "dossier": "commissioning.services.dossiers.run_dossier_job",
    "export_project": "commissioning.services.project_export.run_export",
    "lay_out": "commissioning.services.laying_out.run_lay_out",
    "recount": "commissioning.services.recounting.run_recount",
    "read_recording": "commissioning.services.recording_runs.run_read_recording",
    "register_import": "commissioning.register_import.jobs.run_register_import",
    "verify_again": "commissioning.services.verification.run_verification",
    "verify_chain": "commissioning.services.audit_walk.run_walk",
}
# `manage.py demo` sweeps by itself; elsewhere `celery -A deploy beat` does. A sweep that nobody took is dropped when
# the next one is due, and the schedule is kept in memory: there is no file that a power cut could damage.
FILE_SWEEP_SECONDS = 3600.0
#: What is done once a day of each project is asked for so often; the day's row decides who does it.
TELL_SECONDS = 600.0
#: Mail that waits is looked for so often.
MAIL_SECONDS = 30.0
CELERY_BEAT_SCHEDULER = "celery.beat:Scheduler"
CELERY_BEAT_SCHEDULE = {
    "queue expired jobs again": {
        "task": "commissioning.tasks.sweep_jobs",
        "schedule": JOB_SWEEP_SECONDS,
        "options": {"expires": JOB_SWEEP_SECONDS},
    },
    "tell who owes what is due or overdue": {
        "task": "punchlist.tasks.tell_overdue",
        "schedule": TELL_SECONDS,
        "options": {"expires": TELL_SECONDS},
    },
    "write to each member whose hour has come": {
        "task": "commissioning.tasks.write_daily_mail",
        "schedule": TELL_SECONDS,
        "options": {"expires": TELL_SECONDS},
    },
    "hand over mail that waits": {
        "task": "commissioning.tasks.send_mails",
        "schedule": MAIL_SECONDS,
        "options": {"expires": MAIL_SECONDS},
    },
    "forget what people were told long ago": {
        "task": "commissioning.tasks.drop_old_notices",
        "schedule": FILE_SWEEP_SECONDS,
        "options": {"expires": FILE_SWEEP_SECONDS},
    },
    "drop files of phones that nobody needs": {
        "task": "commissioning.tasks.sweep_files",
        "schedule": FILE_SWEEP_SECONDS,
        "options": {"expires": FILE_SWEEP_SECONDS},
    },
    # At an hour of the day: an interval of a day would never end on a machine that is restarted daily.
    "take away files that nothing names": {
        "task": "deploy.tasks.sweep_strays",
        "schedule": crontab(hour="3", minute="17"),
        "options": {"expires": FILE_SWEEP_SECONDS},
    },
}
#: A worker process is replaced after this many tasks, so that memory taken by a large dossier is given back.
CELERY_WORKER_MAX_TASKS_PER_CHILD = 50
