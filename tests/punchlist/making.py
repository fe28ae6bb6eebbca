"""Punch items, tags and pictures for the tests of this room, made as the product makes them."""

from __future__ import annotations

import io
from typing import Any

from django.utils import timezone
from PIL import Image

from commissioning.models import AlarmSighting, CheckLine, Equipment, LineState, Stage, System, User
from punchlist.models import PunchItem
from punchlist.services.items import raise_item
from tests.support.world import World


def make_item(world: World, **fields: Any) -> PunchItem:
    """An open A item of the world's first system, raised by its field engineer, unless told otherwise."""
    system: System = fields.pop("system", world.system)
    return raise_item(
        **{
            "actor": world.engineer,
            "system": system,
            "stage": system.stages.order_by("order").first(),
            "category": "A",
            "text": "Gland plate left open at the bottom entry",
            **fields,
        }
    )


def make_equipment(system: System, tag: str) -> Equipment:
    return Equipment.objects.create(project=system.project, system=system, tag=tag, description="Battery isolator")


def make_line(
    stage: Stage, *, title: str = "Polarity of the battery leads", equipment: Equipment | None = None
) -> CheckLine:
    return CheckLine.objects.create(
        stage=stage, key="L1", order=1, title=title, state=LineState.FAILED, equipment=equipment
    )


def make_alarm(stage: Stage, seen_by: User, text: str = "Earth fault negative") -> AlarmSighting:
    return AlarmSighting.objects.create(
        system=stage.system, stage=stage, text=text, seen_by=seen_by, seen_at=timezone.now()
    )


def picture(
    *, size: tuple[int, int] = (60, 40), format: str = "JPEG", colour: str = "grey", exif: Image.Exif | None = None
) -> io.BytesIO:
    """A small picture as a file; its left half is red, so that a turned one can be told."""
    drawn = Image.new("RGB", size, colour)
    drawn.paste("red", (0, 0, size[0] // 2, size[1]))
    out = io.BytesIO()
    drawn.save(out, format, **({"exif": exif} if exif else {}))
    out.seek(0)
    return out
