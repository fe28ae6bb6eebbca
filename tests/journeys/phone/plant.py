"""A system with everything that a phone's screens can do on it, and pictures as a camera writes them."""

from __future__ import annotations

import io
from datetime import UTC, datetime

from PIL import Image

from commissioning.models import CheckLine, Equipment, SignalPoint, Stage
from tests.commissioning.views.run_plant import line_on, supply_line
from tests.support.world import World

ORIENTATION, TAKEN, OFFSET, DETAIL, POSITION = 0x0112, 0x9003, 0x9011, 0x8769, 0x8825
#: When the camera of `photo` says that it was taken.
TAKEN_AT = datetime(2026, 3, 2, 14, 5, 33, tzinfo=UTC)


def equip(world: World) -> Equipment:
    """A cabinet of the system, with a relay whose signal is proved while mechanical completion is in hand."""
    system = world.system
    SignalPoint.objects.create(
        system=system, tag=f"{system.tag}-K1", description="common alarm", far_end="DI 3/1",
        stage_kind="mechanical_completion",
    )  # fmt: skip
    return Equipment.objects.create(
        project=world.project, system=system, tag=f"{system.tag}-T1", description="rectifier cabinet"
    )


def one_line_of_each(stage: Stage, cabinet: Equipment) -> dict[str, CheckLine]:
    """Lines that a person answers in different ways, the hold point behind all but the last."""
    return {
        "measured": supply_line(stage, caution="Live terminals at the source.", work="live"),
        "looked": line_on(stage, equipment=cabinet, how="Look at every terminal.", accept="None is loose."),
        "injects": line_on(stage, work="dead", injects_voltage=True, caution="A test voltage is injected here."),
        "relay": line_on(stage, title="Force the relay", timer_seconds=1),
        "hold": line_on(stage, title="Agree with the client", point="hold", party="client"),
        "behind": line_on(stage, title="Behind the hold point"),
    }


def photo(*, size: tuple[int, int] = (2000, 1500), colour: str = "grey", orientation: int = 6) -> bytes:
    """A picture as a phone's camera writes it: lying on its side, with its time and its position beside it.

    What is its top when it stands upright is red.
    """
    drawn = Image.new("RGB", size, colour)
    drawn.paste("red", (0, 0, size[0] // 2, size[1]) if orientation == 6 else (0, 0, size[0], size[1] // 2))
    exif = Image.Exif()
    exif[ORIENTATION] = orientation
    exif.get_ifd(DETAIL).update({TAKEN: TAKEN_AT.strftime("%Y:%m:%d %H:%M:%S"), OFFSET: "+00:00"})
    exif.get_ifd(POSITION).update({1: "N", 2: (54.0, 12.0, 30.0), 3: "W", 4: (2.0, 6.0, 1.5)})
    out = io.BytesIO()
    drawn.save(out, "JPEG", quality=80, exif=exif)
    return out.getvalue()
