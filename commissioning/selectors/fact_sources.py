"""What rooms above commissioning add to the facts of the gate and to the counters, as the settings name them."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Protocol
from uuid import UUID

from django.conf import settings
from django.utils.module_loading import import_string

from commissioning.rules.gate import ItemFact


@dataclass(frozen=True, slots=True)
class OutsideFacts:
    """What a provider named in GATE_FACT_SOURCES adds, for the systems asked about."""

    items: Mapping[UUID, Sequence[ItemFact]] = field(default_factory=dict)  # by system
    alarms_with_item: frozenset[UUID] = frozenset()
    workers: Mapping[UUID, frozenset[str]] = field(default_factory=dict)  # by stage


FactSource = Callable[[Collection[UUID]], OutsideFacts]


class CounterSource(Protocol):
    """What COUNTER_SOURCES names: the same facts without words, for counting, in one query each."""

    def standing_items(self, system_ids: Collection[UUID]) -> Mapping[UUID, Sequence[ItemFact]]: ...

    def alarms_with_item(self, system_ids: Collection[UUID]) -> frozenset[UUID]: ...


def outside_facts(system_ids: Collection[UUID]) -> list[OutsideFacts]:
    """Ask every provider that the settings name. None named: the gate stays shut."""
    if not settings.GATE_FACT_SOURCES:
        raise RuntimeError("GATE_FACT_SOURCES is empty: the gate stays shut.")
    return [import_string(path)(system_ids) for path in settings.GATE_FACT_SOURCES]


def counter_sources() -> list[CounterSource]:
    """What the settings name to be counted. None named: counters would be wrong without a word."""
    if not settings.COUNTER_SOURCES:
        raise RuntimeError("COUNTER_SOURCES is empty: nothing can be counted.")
    return [import_string(path) for path in settings.COUNTER_SOURCES]
