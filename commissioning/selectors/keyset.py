"""Pages of a long list by the key of the last row: the thousandth page costs what the first does, and a row that is
added meanwhile neither repeats nor hides another."""

from __future__ import annotations

import base64
import binascii
import json
from collections.abc import Sequence
from datetime import date
from typing import Any

from django.db.models import Q

#: A key longer than this is none of ours.
LONGEST = 500


def key_text(values: Sequence[Any]) -> str:
    """The sort values of a row, as they stand in an address."""
    plain = [value.isoformat() if isinstance(value, date) else value for value in values]
    return base64.urlsafe_b64encode(json.dumps(plain, separators=(",", ":")).encode()).decode().rstrip("=")


def key_values(text: str, like: Sequence[type]) -> list[Any] | None:
    """The values again, or None for a key that is not one of these columns."""
    if not text or len(text) > LONGEST:
        return None
    try:
        values = json.loads(base64.urlsafe_b64decode(text + "=" * (-len(text) % 4)))
        if not isinstance(values, list) or len(values) != len(like):
            return None
        return [_read(value, kind) for value, kind in zip(values, like, strict=True)]
    except (ValueError, TypeError, binascii.Error, RecursionError):
        return None


def _read(value: Any, kind: type) -> Any:
    if kind is date:
        return date.fromisoformat(value)
    plain = isinstance(value, str) and "\x00" not in value
    whole = isinstance(value, int) and not isinstance(value, bool) and abs(value) < 2**31
    if not (plain if kind is str else whole):
        raise ValueError("not a value of this column")
    return value


def after(columns: Sequence[str], values: Sequence[Any], *, backwards: bool = False) -> Q:
    """Rows that follow the one with these values, when sorted by the columns. The last column settles every tie.

    Written out, since a comparison of rows is not spelt alike in all databases; the first condition lets an index on
    the columns begin where the last page ended.
    """
    beyond = "lt" if backwards else "gt"
    found = Q()
    for place, (column, value) in enumerate(zip(columns, values, strict=True)):
        same = {name: values[earlier] for earlier, name in enumerate(columns[:place])}
        found |= Q(**same, **{f"{column}__{beyond}": value})
    return Q(**{f"{columns[0]}__{beyond}e": values[0]}) & found
