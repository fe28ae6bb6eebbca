from typing import Any

from django.apps import AppConfig
from django.db import connections
from django.db.models.signals import post_migrate, pre_migrate


def keep_what_is_only_added(*, using: str, **_: Any) -> None:
    """After every migration: the database's own refusals stand (see models/append_only.py)."""
    from .models.append_only import lay_down

    lay_down(connections[using])


def let_tables_be_changed(*, using: str, plan: Any = None, **_: Any) -> None:
    """Before a migration that changes anything: what stands across tables steps aside."""
    from .finding.index import step_aside

    if plan:
        step_aside(connections[using])


def keep_what_can_be_found(*, using: str, **_: Any) -> None:
    """After every migration: the search follows what is written (see commissioning/finding)."""
    from .finding.index import lay_down, rebuild

    if lay_down(connections[using]):
        rebuild(connections[using])


def count_what_was_never_counted(*, using: str, **_: Any) -> None:
    """After every migration: systems from before there were counters have them too."""
    from .models import System, SystemCounters
    from .services.counters import recount

    if using == "default" and SystemCounters._meta.db_table in connections[using].introspection.table_names():
        recount(System.objects.filter(counters__isnull=True).values_list("pk", flat=True))


class CommissioningConfig(AppConfig):
    name = "commissioning"
    verbose_name = "commissioning"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from . import checks  # noqa: F401  (registers the system checks)

        pre_migrate.connect(let_tables_be_changed, sender=self)
        post_migrate.connect(keep_what_is_only_added, sender=self)
        post_migrate.connect(keep_what_can_be_found, sender=self)
        post_migrate.connect(count_what_was_never_counted, sender=self)
        from .sign_in import sessions, traces  # noqa: F401  (hear of sign-ins and of changed ways in)
