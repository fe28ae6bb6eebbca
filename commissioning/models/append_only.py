"""The database itself refuses to change or delete what is only ever added: the audit log and the records of work done.

Laid down after every migration (`commissioning.apps`), not by one: SQLite drops a table's triggers when a later
migration makes the table anew. They stop a slip and a careless hand; whoever owns the database can take them away,
and is then found by the chain of hashes and by the dossiers that carry its links.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.apps import apps
from django.db.backends.base.base import BaseDatabaseWrapper


@dataclass(frozen=True, slots=True)
class Kept:
    """A table whose rows stay. `open` names the columns that may still be filled in."""

    model: str
    open: frozenset[str] = frozenset()


_SUPERSEDED = frozenset({"superseded_at", "superseded_by_id", "superseded_reason", "equipment_id", "in_calibration"})
_WITHDRAWN = frozenset({"withdrawn_at", "withdrawn_by_id", "withdrawn_reason"})
KEPT = (
    Kept("AuditEntry"),
    Kept("Acceptance", _WITHDRAWN),
    Kept("Concession", _WITHDRAWN),
    Kept("PermissionToEnergise", _WITHDRAWN),
    Kept("SupplyChange"),
    Kept("ProofOfDead"),
    Kept("Witnessing"),
    Kept("Reading", _SUPERSEDED),
    Kept("CheckResult", _SUPERSEDED),
)
REFUSAL = "records are added and superseded, never changed or deleted"


def lay_down(connection: BaseDatabaseWrapper) -> None:
    """Create the triggers, or create them anew as they are defined here."""
    with connection.cursor() as cursor:
        for statement in [*taking_away(connection), *laying_down(connection)]:
            cursor.execute(statement)


def laying_down(connection: BaseDatabaseWrapper) -> list[str]:
    """The statements that create every trigger."""
    if connection.vendor == "postgresql":
        return [_POSTGRES_REFUSE, *(one for kept in KEPT for one in _postgres(connection, kept)), *_POSTGRES_HEAD]
    return [*(one for kept in KEPT for one in _sqlite(connection, kept)), *_SQLITE_HEAD]


def taking_away(connection: BaseDatabaseWrapper) -> list[str]:
    """The statements that remove every trigger, where it is there."""
    where = " ON {}" if connection.vendor == "postgresql" else ""
    return [
        f"DROP TRIGGER IF EXISTS {name}{where.format(table)}"
        for table, name in sorted(trigger_names(connection.vendor))
    ]


def trigger_names(vendor: str) -> set[tuple[str, str]]:
    """Table and name of every trigger."""
    deeds = ("update", "delete", "truncate") if vendor == "postgresql" else ("update", "delete")
    tables = [_table(kept) for kept in KEPT]
    names = {(table, f"{table}_no_{deed}") for table in tables for deed in deeds}
    return names | {(_HEAD, f"{_HEAD}_no_{deed}") for deed in ("going_back", "delete")}


def missing_triggers(connection: BaseDatabaseWrapper) -> set[str]:
    """Names of the triggers that somebody took away."""
    query = (
        "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal AND tgenabled <> 'D'"
        if connection.vendor == "postgresql"
        else "SELECT name FROM sqlite_master WHERE type = 'trigger'"
    )
    with connection.cursor() as cursor:
        cursor.execute(query)
        there = {row[0] for row in cursor.fetchall()}
    return {name for _table_name, name in trigger_names(connection.vendor)} - there


def _model(kept: Kept) -> Any:
    return apps.get_model("commissioning", kept.model)


def _table(kept: Kept) -> str:
    return str(_model(kept)._meta.db_table)


def _differs(connection: BaseDatabaseWrapper, kept: Kept) -> str:
    """SQL that is true when a column changes that may not."""
    differ = "{new} IS DISTINCT FROM {old}" if connection.vendor == "postgresql" else "{new} IS NOT {old}"
    columns = [field.column for field in _model(kept)._meta.concrete_fields if field.column not in kept.open]
    return " OR ".join(differ.format(new=f'NEW."{one}"', old=f'OLD."{one}"') for one in columns)


def _sqlite(connection: BaseDatabaseWrapper, kept: Kept) -> list[str]:
    table = _table(kept)
    abort = f"BEGIN SELECT RAISE(ABORT, '{table}: {REFUSAL}'); END"
    return [
        f"CREATE TRIGGER {table}_no_update BEFORE UPDATE ON {table} WHEN {_differs(connection, kept)} {abort}",
        f"CREATE TRIGGER {table}_no_delete BEFORE DELETE ON {table} {abort}",
    ]


def _postgres(connection: BaseDatabaseWrapper, kept: Kept) -> list[str]:
    table, refuse = _table(kept), "EXECUTE FUNCTION tracker_refuse_change()"
    return [
        f"CREATE TRIGGER {table}_no_update BEFORE UPDATE ON {table} FOR EACH ROW "
        f"WHEN ({_differs(connection, kept)}) {refuse}",
        f"CREATE TRIGGER {table}_no_delete BEFORE DELETE ON {table} FOR EACH ROW {refuse}",
        f"CREATE TRIGGER {table}_no_truncate BEFORE TRUNCATE ON {table} FOR EACH STATEMENT {refuse}",
    ]


_HEAD = "commissioning_auditchain"
_POSTGRES_REFUSE = f"""
CREATE OR REPLACE FUNCTION tracker_refuse_change() RETURNS trigger LANGUAGE plpgsql AS
$$ BEGIN RAISE EXCEPTION '%: {REFUSAL}', TG_TABLE_NAME USING ERRCODE = 'integrity_constraint_violation'; END $$
"""
#: The head of a chain goes forward only.
_BACK = "NEW.last_sequence < OLD.last_sequence"
_POSTGRES_HEAD = (
    f"CREATE TRIGGER {_HEAD}_no_going_back BEFORE UPDATE ON {_HEAD} FOR EACH ROW "
    f"WHEN ({_BACK}) EXECUTE FUNCTION tracker_refuse_change()",
    f"CREATE TRIGGER {_HEAD}_no_delete BEFORE DELETE ON {_HEAD} FOR EACH ROW EXECUTE FUNCTION tracker_refuse_change()",
)
_SQLITE_ABORT = f"BEGIN SELECT RAISE(ABORT, '{_HEAD}: {REFUSAL}'); END"
_SQLITE_HEAD = (
    f"CREATE TRIGGER {_HEAD}_no_going_back BEFORE UPDATE ON {_HEAD} WHEN {_BACK} {_SQLITE_ABORT}",
    f"CREATE TRIGGER {_HEAD}_no_delete BEFORE DELETE ON {_HEAD} {_SQLITE_ABORT}",
)
