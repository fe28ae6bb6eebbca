"""The addresses of the API, and requests filled in from the plant."""

from __future__ import annotations

from collections.abc import Iterator
from io import BytesIO
from typing import Any

from django.db import models
from django.urls import URLPattern, URLResolver, get_resolver

from commissioning.models import User
from tests.commissioning.api.plant import Names
from tests.punchlist.making import picture
from tests.support.books import GOOD, xlsx
from tests.support.log_lines import as_csv, sound_test


def api_patterns(found: list[Any] | None = None, path: str = "") -> Iterator[URLPattern]:
    """Every address below /api/ that has a name."""
    for one in get_resolver().url_patterns if found is None else found:
        here = path + str(one.pattern)
        if isinstance(one, URLResolver):
            yield from api_patterns(one.url_patterns, here)
        elif here.startswith("api/"):
            yield one


def filled(value: Any, plant: Names) -> Any:
    """The value with every `@word` replaced by the record's key."""
    if isinstance(value, dict):
        return {name: filled(one, plant) for name, one in value.items()}
    if isinstance(value, list):
        return [filled(one, plant) for one in value]
    if not isinstance(value, str) or not value.startswith("@"):
        return value
    if value == "@log":
        return _file(as_csv(sound_test(seed=2).frame()), "other.csv")
    if value == "@book":
        return _file(xlsx(GOOD).read(), "register.xlsx")
    if value == "@picture":
        return _file(picture(colour="blue").read(), "snag.jpg")
    found = plant[value[1:]]
    if isinstance(found, User):
        return found.username
    return str(found.pk) if isinstance(found, models.Model) else found


def _file(content: bytes, name: str) -> BytesIO:
    file = BytesIO(content)
    file.name = name
    return file
