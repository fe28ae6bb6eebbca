"""The kinds of deed of the punch list that a phone records without signal: a snag, and photos of it."""

from __future__ import annotations

from typing import Any

from django.http import Http404
from rest_framework import serializers

from commissioning.api.outbox_kinds import reader
from commissioning.errors import InvalidInput
from commissioning.models import Acceptance
from commissioning.selectors.access import Access
from commissioning.services.outbox_conflicts import when
from commissioning.services.outbox_deeds import Applied, Deed, Kind
from commissioning.services.outbox_files import opened
from punchlist.api.parsing import place_in, who_and_when
from punchlist.api.serializers import RaiseSerializer
from punchlist.models import Category, PunchItem
from punchlist.rules.steps import CLOSED
from punchlist.selectors.items import item_or_404
from punchlist.services.items import raise_item
from punchlist.services.marks import MARKS_LIMIT, POINTS_LIMIT, TOOLS, Mark
from punchlist.services.photos import add_photo


class MarkOnPhoto(serializers.Serializer[Any]):
    """A mark that a finger made: its points as fractions of the picture's width and height, upright."""

    tool = serializers.ChoiceField(choices=TOOLS)
    path = serializers.ListField(
        child=serializers.ListField(
            child=serializers.FloatField(min_value=0, max_value=1), min_length=2, max_length=2
        ),
        min_length=2,
        max_length=POINTS_LIMIT,
    )  # fmt: skip


class PhotoOfItem(serializers.Serializer[Any]):
    """A picture whose octets were sent before it, named by their hash."""

    id = serializers.UUIDField(required=False)
    item = serializers.UUIDField()
    sha256 = serializers.RegexField(r"^[0-9a-f]{64}$")
    caption = serializers.CharField(required=False, allow_blank=True, max_length=200)
    taken_at = serializers.DateTimeField(required=False)
    marks = serializers.ListField(child=MarkOnPhoto(), required=False, max_length=MARKS_LIMIT)


def _punch_item(access: Access, deed: Deed, given: dict[str, Any]) -> Applied:
    place = place_in(access, given)
    item = raise_item(
        actor=access.user, system=place.system, stage=place.stage, equipment=place.equipment, line=place.line,
        alarm=place.alarm, category=given["category"], text=given["text"], at=given.get("at") or deed.made_at,
        id=given.get("id") or deed.id, **who_and_when(access, given),
    )  # fmt: skip
    told = accepted_meanwhile(item)
    return Applied(item, (told,) if told else (), equipment=item.equipment_id)


def _photo(access: Access, deed: Deed, given: dict[str, Any]) -> Applied:
    try:
        item = item_or_404(access, id=given["item"])
    except Http404 as error:
        raise InvalidInput({"item": str(error)}) from error
    marks = [Mark(one["tool"], tuple((x, y) for x, y in one["path"])) for one in given.get("marks", ())]
    photo = add_photo(
        actor=access.user, item=item, file=opened(access=access, sha256=given["sha256"]),
        taken_at=given.get("taken_at") or deed.made_at, caption=given.get("caption", ""), marks=marks,
        id=given.get("id") or deed.id,
    )  # fmt: skip
    told = closed_meanwhile(item)
    return Applied(photo, (told,) if told else (), equipment=item.equipment_id)


def accepted_meanwhile(item: PunchItem) -> str:
    """Said of an item that arrives on a stage whose gate was signed without it."""
    signed = Acceptance.objects.filter(stage=item.stage_id, withdrawn_at__isnull=True).first()
    if signed is None:
        return ""
    words = f"{item.stage.get_kind_display().capitalize()} was accepted by {signed.signed_name} at "
    words += f"{when(signed.signed_at, item.system)}, before this item arrived"
    if item.category == Category.A:
        return f"{words}: it shows there as an exception and stops the next stage."
    return f"{words}: it is on the list, and a manager looks at it."


def closed_meanwhile(item: PunchItem) -> str:
    """Said of a photo that arrives on an item that is closed; the item stays closed."""
    closing = item.steps.filter(step=CLOSED).select_related("by").last()
    if closing is None or item.closed_at is None:
        return ""
    return (
        f"{item.label} was closed by {closing.by} at {when(item.closed_at, item.system)}: it stays closed, and the "
        "photo is kept with it. Reopen it if it is not right."
    )


KINDS = (
    Kind("punch_item", "punch item", reader(RaiseSerializer), _punch_item),
    Kind("photo", "photo of a punch item", reader(PhotoOfItem), _photo, times=("taken_at",), leans_on="item"),
)
