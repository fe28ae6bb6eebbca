"""Records of the field as the dossier prints them: supplies, permissions, alarms, signals, settings, recordings."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from commissioning.dossier.content_batch import Batch
from commissioning.dossier.content_words import (
    BATTERY_NOTE,
    SUPPLY_WORDS,
    capital,
    moment,
    nameplate_row,
    sentences,
    spoken,
    value_text,
)
from commissioning.models import (
    AlarmOutcome,
    AlarmSighting,
    PermissionToEnergise,
    SignalPoint,
    SignalProof,
    SupplyChange,
    SupplyPoint,
    SupplyState,
    System,
    TestRecording,
)
from commissioning.rules.safety import BATTERY_WORDS, ENERGY_WORDS, energy_state

NOT_READ = "The log was not read, so nothing here is worked out from it."


def energy_entry(system: System, supplies: Sequence[SupplyPoint]) -> dict[str, str]:
    """What is recorded of the system's energy, in the words that every page uses."""
    cautions = [BATTERY_WORDS] if any(supply.kind == "battery" for supply in supplies) else []
    if minutes := system.nameplate.get("stored_charge_minutes"):
        cautions.append(f"After isolation it holds charge: wait the maker's {minutes} minutes.")
    return {
        "supply_state": ENERGY_WORDS[energy_state(supply.state for supply in supplies)],
        "supply_caution": " ".join(cautions),
    }


def supply_entry(supply: SupplyPoint, zone: ZoneInfo) -> dict[str, Any]:
    return {
        "tag": supply.tag,
        "name": ", ".join(filter(None, (supply.get_kind_display(), supply.description))),
        "state": SUPPLY_WORDS[supply.state],
        "lock_number": supply.lock_number,
        "by": str(supply.changed_by or ""),
        "at": moment(supply.changed_at, zone),
        "note": BATTERY_NOTE if supply.kind == "battery" else "",
    }


def change_entry(change: SupplyChange, refs: dict[Any, str], zone: ZoneInfo) -> dict[str, Any]:
    """One isolation or release as it was recorded."""
    what = SUPPLY_WORDS[change.state]
    if change.state == SupplyState.RELEASED:
        what = "released" + (f" under {refs[change.permission_id]}" if change.permission_id in refs else "")
    return {
        "at": moment(change.at, zone),
        "supply": change.supply.tag,
        "what": f"{what}. {change.remark}" if change.remark else what,
        "lock_number": change.lock_number,
        "by": str(change.by),
    }


def changes_asked(system: System, batch: Batch) -> list[SupplyChange]:
    """The log up to the end of the last stage asked for; which supplies there are and how each stands is never cut."""
    asked = batch.asked(system)
    closing = None
    if asked and len(asked) < len(batch.stages[system.pk]):
        standing = (one.signed_at for one in batch.acceptances[asked[-1].pk] if one.withdrawn_at is None)
        closing = max(standing, default=None)
    later = {one.pk for one in batch.permissions[system.pk] if one.stage.kind not in batch.kinds}
    return [
        one
        for one in batch.changes[system.pk]
        if one.permission_id not in later and (closing is None or one.at <= closing)
    ]


def permission_refs(permissions: Sequence[PermissionToEnergise]) -> dict[Any, str]:
    """A number for each permission of a system, in the order signed."""
    return {one.pk: f"PTE-{place}" for place, one in enumerate(permissions, 1)}


def permission_entry(one: PermissionToEnergise, ref: str, at: datetime, zone: ZoneInfo) -> dict[str, Any]:
    ending = "stands" if one.valid_until > at else "lapsed at its end"
    if one.withdrawn_at:
        ending = f"withdrawn {spoken(one.withdrawn_at, zone)} by {one.withdrawn_by}: {one.withdrawn_reason}"
    return {
        "ref": ref,
        "supplies": [supply.tag for supply in one.supplies.all()],
        "valid_from": moment(one.valid_from, zone),
        "valid_until": moment(one.valid_until, zone),
        "name": one.signed_name,
        "role": one.signed_role,
        "ending": sentences(ending, f"Precautions: {one.precautions}" if one.precautions else ""),
        "hash": one.signed_hash,
    }


def alarm_entry(alarm: AlarmSighting, place: int, *, has_item: bool, zone: ZoneInfo) -> dict[str, Any]:
    """An alarm sighting and how it ended."""
    return {
        "ref": f"AL-{place}",
        "tag": alarm.equipment.tag if alarm.equipment else "",
        "alarm": alarm.text,
        "seen_at": moment(alarm.seen_at, zone),
        "by": str(alarm.seen_by),
        "state": alarm.outcome,
        "ending": _ending(alarm, has_item=has_item, zone=zone),
        "cleared_at": moment(alarm.cleared_at, zone),
    }


def _ending(alarm: AlarmSighting, *, has_item: bool, zone: ZoneInfo) -> str:
    if alarm.outcome == AlarmOutcome.UNEXPLAINED:
        return "Nobody has said what it was."
    lead = ""
    if alarm.outcome == AlarmOutcome.EXPECTED and alarm.expected_until:
        lead = f"Expected until {alarm.expected_until.get_kind_display()}"
    if alarm.outcome == AlarmOutcome.GENUINE:
        lead = "Genuine; its punch item is in the punch list" if has_item else "Genuine, without a punch item"
    decided = f"{alarm.decided_by}, {spoken(alarm.decided_at, zone)}" if alarm.decided_by else ""
    return sentences(lead, alarm.explanation, decided, alarm.cleared_remark)


def signal_entry(point: SignalPoint, proofs: Sequence[SignalProof], zone: ZoneInfo) -> dict[str, Any]:
    """One point of the signal matrix with the proof that stands."""
    proof = next((one for one in proofs if one.superseded_at is None), None)
    before = sum(one.superseded_at is not None for one in proofs)
    tag = point.equipment.tag if point.equipment else ""
    return {
        "ref": point.tag,
        "tag": tag,
        "meaning": point.description + (f" ({before} earlier proof{'s' if before > 1 else ''})" if before else ""),
        "source": f"{point.get_direction_display()} {point.tag}",
        "target": point.far_end or "far end not named",
        "forced": _deed("forced", proof.forced_at, proof.forced_by, zone) if proof else None,
        "seen": _deed(_seen(proof), proof.seen_at, proof.seen_by, zone) if proof else None,
        "restored": _deed("restored", proof.restored_at, proof.restored_by, zone) if proof else None,
        "state": _signal_state(proof),
    }


def _seen(proof: SignalProof) -> str:
    return "seen" + (f" after {proof.response_seconds:g} s" if proof.response_seconds is not None else "")


def _signal_state(proof: SignalProof | None) -> str:
    if proof is None:
        return "not proved"
    if proof.failed_at:
        return f"failed: {proof.failed_reason}" if proof.failed_reason else "failed"
    return "proved" if proof.seen_at and proof.restored_at else "not proved"


def _deed(what: str, at: datetime | None, by: Any, zone: ZoneInfo) -> dict[str, str] | None:
    return {"what": what, "at": moment(at, zone), "by": str(by or "")} if at else None


def as_left_entries(system: System, batch: Batch, zone: ZoneInfo) -> list[dict[str, Any]]:
    """Values that were read back and kept on a check line, then what the register holds."""
    found = []
    for stage in batch.asked(system):
        for line in batch.lines[stage.pk]:
            for result in batch.results[line.pk]:
                if result.superseded_at is None and result.outcome == "passed":
                    found += [_read_back(line, result, value, zone) for value in result.values if value_text(value)]
    found += _registered(system, system.pk, "", system.nameplate, batch, zone)
    for equipment in batch.equipment[system.pk]:
        found += _registered(system, equipment.pk, equipment.tag, equipment.nameplate, batch, zone)
    return found


def _read_back(line: Any, result: Any, value: dict[str, Any], zone: ZoneInfo) -> dict[str, Any]:
    return {
        "tag": line.equipment.tag if line.equipment else "",
        "setting": f"{line.title}: {value.get('label') or value.get('name')}",
        "value": value_text(value),
        "unit": value.get("unit") or "",
        "at": moment(result.at, zone),
        "by": str(result.by),
        "note": f"read on check line {line.key}",
    }


def _registered(
    system: System, pk: Any, tag: str, nameplate: dict[str, Any], batch: Batch, zone: ZoneInfo
) -> list[dict[str, Any]]:
    at, by = batch.registered.get(str(pk), (system.created_at, "equipment register"))
    rows = [nameplate_row(key, value) for key, value in sorted(nameplate.items())]
    return [
        {"tag": tag, "setting": setting, "value": value, "unit": unit, "at": moment(at, zone), "by": by,
         "note": "as registered"}
        for setting, value, unit in rows
    ]  # fmt: skip


def recording_entry(recording: TestRecording, place: int, zone: ZoneInfo) -> dict[str, Any]:
    """A logged test: its results, findings and plots as they were worked out when it was read."""
    summary, read = recording.summary, recording.state == "read"
    line = f", {recording.line.title}" if recording.line else ""
    instruments = recording.reading.instruments.all() if recording.reading else ()
    return {
        "ref": f"T-{place}",
        "tag": recording.equipment.tag if recording.equipment else "",
        "title": f"{capital(recording.get_kind_display())}{line}",
        "started_at": moment(recording.started_at or recording.uploaded_at, zone),
        "by": str(recording.uploaded_by),
        "instrument": ", ".join(one.serial_number for one in instruments),
        "file_name": recording.raw_name,
        "file_sha256": recording.raw_sha256,
        "note": sentences("" if read else NOT_READ, recording.error, summary.get("note", "") if read else ""),
        "results": list(summary.get("results", ())) if read else [],
        "plots": [_plot(one) for one in recording.plot.get("plots", ())] if read else [],
    }


def _plot(plot: dict[str, Any]) -> dict[str, Any]:
    keys = ("title", "unit", "time_unit", "times", "series", "levels")
    return {key: plot[key] for key in keys if key in plot}
