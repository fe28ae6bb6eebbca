"""The kinds of deed that a phone records without signal, as far as they belong to this room.

The body of each is the body of the address that does the same deed online, with the id of what it is done to.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any
from uuid import UUID

from django.http import Http404
from rest_framework import serializers

from commissioning.api.parsing import refuse_unknown
from commissioning.api.problems import flat_words
from commissioning.api.readings import ready_to_record
from commissioning.api.shapes.lines import ProveDeadSerializer, RecordReadingSerializer, RecordResultSerializer
from commissioning.api.shapes.records import (
    FailSignalSerializer,
    ForceSignalSerializer,
    IsolateSerializer,
    LogAlarmSerializer,
    RestoreSignalSerializer,
    SeeSignalSerializer,
)
from commissioning.errors import InvalidInput
from commissioning.models import CheckLine, Equipment, Stage, Verdict
from commissioning.selectors.access import Access, equipment_for
from commissioning.selectors.procedure_run import line_or_404
from commissioning.selectors.signals import point_or_404, proof_or_404
from commissioning.selectors.system import supply_or_404
from commissioning.services.alarms import log_alarm
from commissioning.services.line_work import standing_on
from commissioning.services.lines import prove_dead, record_result
from commissioning.services.outbox_conflicts import on_line
from commissioning.services.outbox_deeds import Applied, Deed, Kind
from commissioning.services.phone_verdicts import difference
from commissioning.services.readings import record_reading, stored_verdict, try_reading
from commissioning.services.signals import fail_signal, force_signal, restore_signal, see_signal
from commissioning.services.supplies import isolate_supply


class Target(serializers.UUIDField):
    """The record that the deed is done to."""


class PhoneVerdict(serializers.Serializer[Any]):
    """What the phone had said while there was no signal."""

    verdict = serializers.CharField(max_length=40)
    value = serializers.FloatField(required=False, allow_null=True)
    edition = serializers.CharField(required=False, max_length=20)


class LineReading(RecordReadingSerializer):
    line = Target()
    phone_verdict = PhoneVerdict(required=False, allow_null=True)


class LineResult(RecordResultSerializer):
    line = Target()


class LineProof(ProveDeadSerializer):
    line = Target()


class SignalForced(ForceSignalSerializer):
    signal = Target()


class SignalSeen(SeeSignalSerializer):
    proof = Target()


class SignalRestored(RestoreSignalSerializer):
    proof = Target()


class SignalFailed(FailSignalSerializer):
    proof = Target()


class SupplyIsolated(IsolateSerializer):
    supply = Target()


def reader(shape: type[serializers.Serializer]) -> Callable[[Mapping[str, Any]], dict[str, Any]]:
    """Reads a body by a serializer that is made once: making one costs more than reading with it."""
    made: list[serializers.Serializer] = []

    def read(body: Mapping[str, Any]) -> dict[str, Any]:
        if not made:
            made.append(shape())
        serializer = made[0]
        refuse_unknown(body, [name for name, one in serializer.fields.items() if not one.read_only])
        try:
            return dict(serializer.run_validation(body))
        except serializers.ValidationError as error:
            detail = error.detail if isinstance(error.detail, dict) else {"body": error.detail}
            raise InvalidInput({str(name): flat_words(words) for name, words in detail.items()}) from error

    return read


def found(find: Callable[..., Any], access: Access, id: UUID, field: str) -> Any:
    """The record of this id, or a refusal beside the field that names it."""
    try:
        return find(access=access, id=id)
    except Http404 as error:
        raise InvalidInput({field: str(error)}) from error


def _record_id(deed: Deed, given: dict[str, Any]) -> UUID:
    return given.pop("id", None) or deed.id


def _reading(access: Access, deed: Deed, given: dict[str, Any]) -> Applied:
    line = found(line_or_404, access, given.pop("line"), "line")
    key = _record_id(deed, given)
    phone = given.pop("phone_verdict", None)
    ready = ready_to_record(access, line.calculation, line, given)
    ready |= {"id": key, "taken_at": given.get("taken_at") or deed.made_at}
    before = standing_on(line)
    reading = record_reading(actor=access.user, line=line, by_time=True, **ready)
    told = on_line(line, before, reading, deed)
    answer = None
    if phone is not None:
        words = difference(reading, phone)
        told, answer = [*filter(None, [words]), *told], {"phone_verdict": phone, "differs": bool(words)}
    return Applied(reading, tuple(told), answer, line.equipment_id)


def _reading_would_be(access: Access, deed: Deed, given: dict[str, Any]) -> dict[str, Any]:
    line = found(line_or_404, access, given["line"], "line")
    given = {name: given[name] for name in ("typed", "instruments") if name in given}
    ready = ready_to_record(access, line.calculation, line, given)
    ready.pop("id")
    result = try_reading(system=line.stage.system, line=line, **ready)
    verdict = Verdict(stored_verdict(result["verdict"]))
    words = f"The server's verdict of it would be '{verdict.label}'."
    return {"id": None, "verdict": verdict.value, "words": verdict.label, "result": result, "said": words}


def _line_of(access: Access, given: dict[str, Any]) -> CheckLine:
    line: CheckLine = found(line_or_404, access, given.pop("line"), "line")
    refuse_unknown(given.get("values", {}), line.inputs, what="value")
    return line


def _result(access: Access, deed: Deed, given: dict[str, Any]) -> Applied:
    line = _line_of(access, given)
    before, key = standing_on(line), _record_id(deed, given)
    result = record_result(actor=access.user, line=line, by_time=True, **{"at": deed.made_at, **given, "id": key})
    return Applied(result, tuple(on_line(line, before, result, deed)), equipment=line.equipment_id)


def _proof_of_dead(access: Access, deed: Deed, given: dict[str, Any]) -> Applied:
    line, key = _line_of(access, given), _record_id(deed, given)
    proof = prove_dead(actor=access.user, line=line, **{"at": deed.made_at, **given, "id": key})
    return Applied(proof, equipment=line.equipment_id)


def _alarm(access: Access, deed: Deed, given: dict[str, Any]) -> Applied:
    stages = Stage.objects.filter(access.limit("system__site"), system__project=access.project)
    stage = stages.select_related("system__project", "system__site").filter(pk=given["stage"]).first()
    if stage is None:
        raise InvalidInput({"stage": "There is no such stage in this project, or it is not yours to see."})
    equipment: Equipment | None = None
    if given.get("equipment"):
        equipment = equipment_for(access).filter(pk=given["equipment"]).first()
        if equipment is None:
            raise InvalidInput({"equipment": "There is no such equipment in this project, or it is not yours to see."})
    key = _record_id(deed, given)
    alarm = log_alarm(
        actor=access.user, stage=stage, text=given["text"], equipment=equipment,
        seen_at=given.get("seen_at") or deed.made_at, id=key,
    )  # fmt: skip
    return Applied(alarm, equipment=alarm.equipment_id)


def _forced(access: Access, deed: Deed, given: dict[str, Any]) -> Applied:
    point = found(point_or_404, access, given.pop("signal"), "signal")
    key = _record_id(deed, given)
    return Applied(force_signal(actor=access.user, point=point, at=given.get("at") or deed.made_at, id=key))


def _proof_step(service: Callable[..., Any]) -> Callable[[Access, Deed, dict[str, Any]], Applied]:
    def apply(access: Access, deed: Deed, given: dict[str, Any]) -> Applied:
        proof = found(proof_or_404, access, given.pop("proof"), "proof")
        return Applied(service(actor=access.user, proof=proof, **{"at": deed.made_at, **given}))

    return apply


def _isolated(access: Access, deed: Deed, given: dict[str, Any]) -> Applied:
    supply = found(supply_or_404, access, given.pop("supply"), "supply")
    key = _record_id(deed, given)
    return Applied(isolate_supply(actor=access.user, supply=supply, **{"at": deed.made_at, **given, "id": key}))


KINDS = (
    Kind("reading", "reading", reader(LineReading), _reading, times=("taken_at",), would_be=_reading_would_be),
    Kind("check_result", "check result", reader(LineResult), _result),
    Kind("proof_of_dead", "proof of dead", reader(LineProof), _proof_of_dead),
    Kind("alarm_sighting", "alarm sighting", reader(LogAlarmSerializer), _alarm, times=("seen_at",)),
    Kind("signal_forced", "signal forced", reader(SignalForced), _forced),
    Kind("signal_seen", "signal seen at the far end", reader(SignalSeen), _proof_step(see_signal), leans_on="proof"),
    Kind("signal_restored", "signal restored", reader(SignalRestored), _proof_step(restore_signal), leans_on="proof"),
    Kind("signal_failed", "signal not seen", reader(SignalFailed), _proof_step(fail_signal), leans_on="proof"),
    Kind("supply_isolated", "supply isolated", reader(SupplyIsolated), _isolated),
)
