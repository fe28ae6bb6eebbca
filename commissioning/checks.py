"""System checks: a gate without its fact sources must not open quietly."""

from collections.abc import Sequence
from typing import Any

from django.conf import settings
from django.core.checks import CheckMessage, Error, register
from django.utils.module_loading import import_string

PROVIDER_SETTINGS = (
    "GATE_FACT_SOURCES",
    "COUNTER_SOURCES",
    "DOSSIER_SECTIONS",
    "REGISTER_SHEETS",
    "OUTBOX_KINDS",
    "ITEM_HISTORIES",
    "FIND_SOURCES",
    "OWED_SOURCES",
)


@register()
def providers_are_importable(app_configs: Sequence[Any] | None, **kwargs: Any) -> list[CheckMessage]:
    """Each provider setting names at least one importable path, or the product does not start."""
    problems: list[CheckMessage] = []
    for name in PROVIDER_SETTINGS:
        paths = getattr(settings, name, ())
        if not paths:
            problems.append(
                Error(f"{name} is empty", hint=f"Name at least one provider in {name}.", id="commissioning.E001")
            )
        for path in paths:
            try:
                import_string(path)
            except ImportError as error:
                problems.append(Error(f"{name}: {path} cannot be imported: {error}", id="commissioning.E002"))
    return problems
