"""Where an item is raised: from a check line, an alarm, a tag, a system or a stage that the person came from."""

from __future__ import annotations

from dataclasses import dataclass
from uuid import UUID

from django.http import Http404

from commissioning.models import AlarmSighting, CheckLine, Equipment, Stage, StageState, System
from commissioning.selectors.access import Access, equipment_for, systems_for
from commissioning.selectors.system import equipment_by_tag

NOT_THERE = "There is no such record, or it is at a site that you do not see."
#: As many tags as a phone's list shows without choking; typing narrows them.
TAGS_SHOWN = 100


@dataclass(frozen=True, slots=True)
class Place:
    """A system with its stage in question, and what the item is about there."""

    system: System
    stage: Stage
    equipment: Equipment | None = None
    line: CheckLine | None = None
    alarm: AlarmSighting | None = None

    @property
    def tag(self) -> str:
        return self.equipment.tag if self.equipment else self.system.tag

    @property
    def words(self) -> str:
        """What the record that the person came from says: the text of the item to begin with."""
        if self.line:
            result = self.line.results.filter(superseded_at__isnull=True).exclude(remark="").first()
            return f"{self.line.title}: {result.remark}" if result else f"Failed: {self.line.title}"
        return f"Alarm: {self.alarm.text}" if self.alarm else ""


def place_of_line(access: Access, id: UUID) -> Place:
    lines = CheckLine.objects.filter(access.limit("stage__system__site"), stage__system__project=access.project)
    line = lines.select_related("stage__system__site__project", "equipment").filter(pk=id).first()
    if line is None:
        raise Http404(NOT_THERE)
    return Place(line.stage.system, line.stage, line.equipment, line=line)


def place_of_alarm(access: Access, id: UUID) -> Place:
    alarms = AlarmSighting.objects.filter(access.limit("system__site"), system__project=access.project)
    alarm = alarms.select_related("system__site__project", "stage", "equipment").filter(pk=id).first()
    if alarm is None:
        raise Http404(NOT_THERE)
    return Place(alarm.system, alarm.stage, alarm.equipment, alarm=alarm)


def place_at(
    access: Access, *, equipment: UUID | None = None, system: UUID | None = None, stage: UUID | None = None
) -> Place:
    """The place that a link names by keys; without a stage, the one in hand."""
    thing = None
    if equipment is not None:
        thing = equipment_for(access).filter(pk=equipment).first()
        if thing is None:
            raise Http404(NOT_THERE)
        system = thing.system_id
    elif stage is not None and system is None:
        system = Stage.objects.filter(pk=stage).values_list("system_id", flat=True).first()
    whole = systems_for(access).select_related("site__project").filter(pk=system).first() if system else None
    if whole is None:
        raise Http404(NOT_THERE)
    stages = list(whole.stages.order_by("order"))
    named = next((candidate for candidate in stages if candidate.pk == stage), None)
    return Place(whole, named or in_hand(stages), thing)


def place_of_tag(access: Access, *, tag: str, stage_kind: str = "") -> Place | None:
    """The place that a typed tag means: equipment, or a whole system. None where nothing carries it.

    `stage_kind` empty: the stage in hand. Raises KeyError where the system has no such stage.
    """
    tag = tag.strip()
    equipment = equipment_for(access).filter(tag__iexact=tag).first()
    systems = systems_for(access).select_related("site__project")
    system = systems.filter(pk=equipment.system_id).first() if equipment else systems.filter(tag__iexact=tag).first()
    if system is None and (equipment := equipment_by_tag(access=access, tag=tag)):  # an old label
        system = systems.get(pk=equipment.system_id)
    if system is None:
        return None
    stages = {stage.kind: stage for stage in system.stages.order_by("order")}
    return Place(system, stages[stage_kind] if stage_kind else in_hand(list(stages.values())), equipment)


def in_hand(stages: list[Stage]) -> Stage:
    """The first stage that is not accepted; when all are, the last."""
    if not stages:
        raise Http404("This system has no stages yet.")
    return next((stage for stage in stages if stage.state != StageState.ACCEPTED), stages[-1])


def tags_for(access: Access, *, typed: str = "", system: System | None = None) -> list[str]:
    """Tags to choose from while typing: of this system, or of all that the person sees."""
    equipment, systems = equipment_for(access), systems_for(access)
    if system is not None:
        equipment, systems = equipment.filter(system=system), systems.filter(pk=system.pk)
    if typed := typed.strip().replace("\x00", ""):
        equipment, systems = equipment.filter(tag__icontains=typed), systems.filter(tag__icontains=typed)
    found = [*systems.order_by("tag").values_list("tag", flat=True)[:TAGS_SHOWN]]
    found += equipment.order_by("tag").values_list("tag", flat=True)[:TAGS_SHOWN]
    return list(dict.fromkeys(found))[:TAGS_SHOWN]
