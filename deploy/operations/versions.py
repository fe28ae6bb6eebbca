"""Which versions run here: the product, and what it stands on."""

from __future__ import annotations

import platform
from importlib.metadata import PackageNotFoundError
from importlib.metadata import version as version_of
from pathlib import Path

import django
from django.conf import settings
from django.db import connection


def version() -> str:
    """The product's version, with the commit that it was built from where the build wrote it down."""
    try:
        number = version_of("commissioning-tracker")
    except PackageNotFoundError:
        number = "not installed as a package"
    commit = Path(settings.BASE_DIR) / ".commit"
    return f"{number} {commit.read_text().strip()[:12]}" if commit.exists() else number


def versions() -> dict[str, str]:
    """The product, its language and framework, and its database."""
    return {
        "commissioning tracker": version(),
        "Python": platform.python_version(),
        "Django": django.get_version(),
        "Celery": version_of("celery"),
        "database": _database(),
    }


def _database() -> str:
    question = "SHOW server_version" if connection.vendor == "postgresql" else "SELECT sqlite_version()"
    with connection.cursor() as cursor:
        cursor.execute(question)
        return f"{connection.display_name} {cursor.fetchone()[0]}"
