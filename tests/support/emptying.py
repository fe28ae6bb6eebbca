"""Tests that commit empty every table afterwards; the database's own refusals step aside for that and come back."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Any

from django.db import connection

from commissioning.models.append_only import laying_down, taking_away


@contextmanager
def behind_the_back() -> Iterator[None]:
    """The database as it is to whoever owns it and takes its refusals away; they are back afterwards."""
    _run([*_IMMEDIATE.get(connection.vendor, ()), *taking_away(connection)])
    yield
    _run([*_IMMEDIATE.get(connection.vendor, ()), *laying_down(connection)])


#: Triggers cannot be taken away while constraints of the same transaction wait to be checked.
_IMMEDIATE = {"postgresql": ("SET CONSTRAINTS ALL IMMEDIATE",)}


def _run(statements: Iterable[str]) -> None:
    with connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)


def let_tests_empty_tables() -> None:
    """Wrap the flush of whatever connection a test has; a thread or an event loop of its own has another one."""
    kind = type(connection.ops)
    flush = kind.sql_flush

    def sql_flush(self: Any, *args: Any, **kwargs: Any) -> list[str]:
        statements = flush(self, *args, **kwargs)
        return [*taking_away(connection), *statements, *laying_down(connection)] if statements else statements

    kind.sql_flush = sql_flush  # type: ignore[method-assign]
