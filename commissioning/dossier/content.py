"""From the record to frozen content: read once, in one snapshot, laid out a system at a time, checked, never edited."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from commissioning.dossier import compare, content_batch, content_field, content_stages
from commissioning.dossier.canonical import FrozenContent
from commissioning.dossier.content_annexes import audit_entry, source_entries
from commissioning.dossier.content_batch import Batch, grouped, zone_of
from commissioning.dossier.content_glossary import glossary
from commissioning.dossier.content_instruments import Used, instruments_of
from commissioning.dossier.content_missing import batches, missing_of
from commissioning.dossier.content_readings import other_readings, reading_entry, refs_of
from commissioning.dossier.content_schema import require_valid
from commissioning.dossier.content_words import nameplate_row, upto
from commissioning.models import Membership, Role, System

#: A page of changes that nobody reads to its end helps nobody; the rest stands in the attached content.
MOST_CHANGES = 2000
SHORT_CHANGES = 50
PHOTO_KEYS = ("ref", "sha256", "caption", "tag", "taken_at", "by", "width", "height")

Step = Callable[[int, int], None]


@dataclass(frozen=True)
class Wanted:
    """What is to be frozen: which systems, up to which stage, and what the front pages say about the dossier."""

    project: Any
    systems: Sequence[UUID]
    head: Mapping[str, Any]
    zone: ZoneInfo
    up_to: str = ""


@dataclass
class Frozen:
    """The content, the storage names of the files that it shows, and the few facts that a phone reads."""

    content: FrozenContent
    files: dict[str, str] = field(default_factory=dict)
    essentials: dict[str, Any] = field(default_factory=dict)


def freeze(
    wanted: Wanted, folder: Path, *, at: datetime, previous: FrozenContent | None = None, step: Step | None = None
) -> Frozen:
    """Read the record and lay the content out in `folder`. Call it inside one read transaction."""
    reader = _Reader(wanted, at, step or (lambda done, total: None))
    head: dict[str, Any] = {}
    content = FrozenContent.store(folder, head, reader.systems())
    head |= reader.head()
    if previous is not None:
        content.rewrite_head(head)
        head["changes"] = _changes(previous, content)
    content.rewrite_head(head)
    require_valid(content)
    changed = head.get("changes", [])
    short = {
        "scope": head["scope"]["words"],
        "missing": head["missing"],
        "changes": changed[:SHORT_CHANGES],
        "change_count": len(changed),
    }
    return Frozen(content, reader.files, {**short, "systems": reader.short})


def _changes(previous: FrozenContent, content: FrozenContent) -> list[dict[str, str]]:
    found = compare.changes(previous, content)
    if len(found) > MOST_CHANGES:
        more = f"and {len(found) - MOST_CHANGES} more: compare the attached contents"
        return [*found[:MOST_CHANGES], {"where": "further changes", "kind": "changed", "after": more}]
    return found


class _Reader:
    """One pass over the systems; what the head needs is gathered on the way."""

    def __init__(self, wanted: Wanted, at: datetime, step: Step) -> None:
        self.wanted, self.at, self.step = wanted, at, step
        self.kinds = upto(wanted.up_to)
        self.used, self.files = Used(), dict[str, str]()
        self.missing: list[dict[str, Any]] = []
        self.short: list[dict[str, Any]] = []
        self.tags: dict[UUID, str] = {}
        rows = Membership.objects.filter(project=wanted.project).values_list("user_id", "role")
        self.roles = {user: Role(role).label for user, role in rows}

    def systems(self) -> Iterator[dict[str, Any]]:
        done = 0
        for ids in batches(self.wanted.systems):
            batch = content_batch.read(ids, self.kinds, self.at)
            for pk in ids:
                yield self._system(batch.systems[pk], batch)
                done += 1
                self.step(done, len(self.wanted.systems))

    def head(self) -> dict[str, Any]:
        """Everything but the systems."""
        instruments = instruments_of(self.used, self.wanted.zone, self.tags)
        self.files |= instruments.files
        self.missing += instruments.missing
        state = "interim" if self.missing else "complete"
        head = dict(self.wanted.head)
        head["revisions"] = [*head["revisions"][:-1], {**head["revisions"][-1], "state": state}]
        return {
            **head,
            "schema_version": 1,
            "language": "en-GB",
            "state": state,
            "missing": self.missing,
            "instruments": instruments.entries,
            "sources": source_entries(self.used.calculations),
            "audit_extract": audit_entry(self.wanted.project, self.wanted.systems, self.wanted.zone),
            "glossary": glossary(),
        }

    def _system(self, system: System, batch: Batch) -> dict[str, Any]:
        zone = zone_of(system.site)
        self.tags[system.pk] = system.tag
        missing = missing_of(system, batch.stages[system.pk], self.kinds, batch.facts, batch.provided)
        self.missing += missing + content_stages.broken_signatures(system, batch)
        supplies = batch.supplies[system.pk]
        stages, concessions, others = self._stages(system, batch, zone)
        sections, photos = self._provided(system, batch)
        if others:
            sections["other_readings"] = other_readings(others)
        plate = [nameplate_row(key, value) for key, value in sorted(system.nameplate.items())]
        entry = {
            "id": str(system.pk),
            "site": f"{system.site.code}  {system.site.name}",
            "tag": system.tag,
            "name": system.name,
            "kind": system.get_kind_display(),
            "time_zone": str(zone),
            **content_field.energy_entry(system, supplies),
            "nameplate": [{"label": label, "value": f"{value} {unit}".strip()} for label, value, unit in plate],
            "equipment": [
                {"tag": one.tag, "name": one.description or one.get_kind_display(), "serial": one.serial_number}
                for one in batch.equipment[system.pk]
            ],
            "stages": stages,
            **self._field(system, batch, zone),
            "photos": photos,
            "sections": sections,
        }
        self.short.append(_essentials(entry, concessions, missing))
        return entry

    def _stages(self, system: System, batch: Batch, zone: ZoneInfo) -> tuple[list[Any], list[Any], list[Any]]:
        """Stages with their records, all concessions, and readings that belong to no line."""
        readings = batch.readings[system.pk]
        refs = refs_of(system, readings)
        guard = system.project.guard_factor
        shown: dict[Any, list[Any]] = {}
        for reading in readings:
            if reading.line is None or reading.line.stage.kind in batch.kinds:
                self.used.add(reading)
                entry = reading_entry(reading, refs=refs, zone=zone, guard=guard)
                shown.setdefault(reading.line_id, []).append(entry)
        conceded = content_stages.concession_rows(batch.concessions[system.pk], refs, zone)
        by_kind = grouped(conceded, lambda row: row[0])
        stages = []
        for stage in batch.asked(system):
            entry = content_stages.stage_entry(stage, batch, readings=shown, roles=self.roles, zone=zone)
            stages.append({**entry, "concessions": [one for _, one in by_kind[stage.kind]]})
        return stages, [one for _, one in conceded], shown.get(None, [])

    def _field(self, system: System, batch: Batch, zone: ZoneInfo) -> dict[str, list[Any]]:
        pk, kinds = system.pk, batch.kinds
        permissions = batch.permissions[pk]
        refs = content_field.permission_refs(permissions)
        alarms = [one for one in batch.alarms[pk] if one.stage.kind in kinds]
        has_item = {
            alarm.id: alarm.has_item
            for stage in batch.stages[pk][:1]
            for alarm in batch.facts[stage.pk].alarms
        }  # fmt: skip
        return {
            "signals": [
                content_field.signal_entry(one, batch.signal_proofs[one.pk], zone)
                for one in batch.signals[pk]
                if one.stage_kind in kinds
            ],
            "alarms": [
                content_field.alarm_entry(one, place, has_item=has_item.get(str(one.pk), False), zone=zone)
                for place, one in enumerate(alarms, 1)
            ],
            "supplies": [content_field.supply_entry(one, zone) for one in batch.supplies[pk]],
            "supply_log": [
                content_field.change_entry(one, refs, zone) for one in content_field.changes_asked(system, batch)
            ],
            "permissions": [
                content_field.permission_entry(one, refs[one.pk], self.at, zone)
                for one in permissions
                if one.stage.kind in kinds
            ],
            "as_left": content_field.as_left_entries(system, batch, zone),
            "recordings": [
                content_field.recording_entry(one, place, zone)
                for place, one in enumerate(batch.recordings[pk], 1)
                if one.line is None or one.line.stage.kind in kinds
            ],
        }

    def _provided(self, system: System, batch: Batch) -> tuple[dict[str, Any], list[dict[str, Any]]]:
        """Sections and photos that other rooms give; where each photo lies is noted for the drawing."""
        sections, photos = {}, []
        for one in batch.provided:
            own = one["by_system"].get(str(system.pk))
            if own is None:
                continue
            sections[one["name"]] = own["section"]
            for photo in own["photos"]:
                self.files[photo["sha256"]] = photo["path"]
                photos.append({key: photo[key] for key in PHOTO_KEYS})
        return sections, photos


def _essentials(entry: Mapping[str, Any], concessions: Sequence[Any], missing: Sequence[Any]) -> dict[str, Any]:
    """What a person on a phone wants of a system: where each stage stands and who accepted it."""
    return {
        "id": entry["id"],
        "site": entry["site"],
        "tag": entry["tag"],
        "name": entry["name"],
        "supply_state": entry["supply_state"],
        "missing": len(missing),
        "stages": [
            {
                "name": stage["name"],
                "state": stage["state"],
                "acceptances": stage["acceptances"],
                "checks": len(stage["check_records"]),
                "readings": sum(len(record["readings"]) for record in stage["check_records"]),
            }
            for stage in entry["stages"]
        ],
        "concessions": list(concessions),
        "lists": [
            {"title": section["title"], "groups": [(g["title"], len(g["rows"])) for g in section["groups"]]}
            for section in entry["sections"].values()
        ],
        "photos": len(entry["photos"]),
    }
