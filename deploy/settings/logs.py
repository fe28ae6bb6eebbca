"""Logs: one line an event on standard error, with the request that it belongs to.

In production each line is a JSON object, for whatever gathers the logs of many machines.
"""

from deploy.environment import text

from .place import PRODUCTION

LOG_FORMAT = text("TRACKER_LOG_FORMAT", "json" if PRODUCTION else "line")
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "filters": {"request": {"()": "django_guid.log_filters.CorrelationId", "correlation_id_field": "request_id"}},
    "formatters": {
        "line": {"format": "{asctime} {levelname} {name} [{request_id}] {message}", "style": "{"},
        "json": {
            "()": "pythonjsonlogger.json.JsonFormatter",
            "format": "{asctime}{levelname}{name}{message}{request_id}{process}",
            "style": "{",
            "rename_fields": {"asctime": "at", "levelname": "level", "name": "logger"},
            "datefmt": "%Y-%m-%dT%H:%M:%S%z",
        },
    },
    "handlers": {
        "console": {
            "class": "logging.StreamHandler",
            "formatter": "json" if LOG_FORMAT == "json" else "line",
            "filters": ["request"],
        }
    },
    "root": {"handlers": ["console"], "level": text("TRACKER_LOG_LEVEL").upper()},
    "loggers": {
        # Drawing and signing a dossier would otherwise fill the worker's log with the tools' own steps.
        "fontTools": {"level": "WARNING"},
        "pyhanko": {"level": "WARNING"},
        "pikepdf": {"level": "WARNING"},
        # The broker that is a folder has no host's name, and the client says so each time.
        "kombu.connection": {"level": "ERROR"},
        "django_guid": {"level": "WARNING"},
        # Each request has a line of its own from deploy.operations.requests.
        "django.server": {"level": "WARNING"},
    },
}
#: A caller's X-Request-ID is taken where it is a UUID; otherwise the request gets one. The answer carries it.
DJANGO_GUID = {"GUID_HEADER_NAME": "X-Request-ID", "VALIDATE_GUID": True, "RETURN_HEADER": True, "EXPOSE_HEADER": False}
METRICS_TOKEN = text("TRACKER_METRICS_TOKEN", "")
