"""Drawn pictures in the place of photographs: a fuse detector with its cable off."""

from __future__ import annotations

from io import BytesIO

from PIL import Image, ImageDraw


def loose_cable() -> BytesIO:
    """A terminal block with one wire hanging free, as a JPEG."""
    image = Image.new("RGB", (1600, 1200), "#3d4348")
    draw = ImageDraw.Draw(image)
    draw.rectangle((160, 220, 1440, 560), fill="#c9cdd0", outline="#16191b", width=6)
    for place in range(6):
        left = 220 + place * 200
        draw.rounded_rectangle((left, 260, left + 160, 520), 18, fill="#e9e4d4", outline="#55585a", width=4)
        draw.ellipse((left + 50, 300, left + 110, 360), fill="#8d9092", outline="#2a2c2e", width=4)
        draw.line((left + 58, 330, left + 102, 330), fill="#2a2c2e", width=8)
        if place != 3:
            draw.line((left + 80, 520, left + 80, 1100), fill="#274f8c", width=34)
    draw.line([(900, 620), (940, 760), (1060, 840), (1180, 1100)], fill="#a3372c", width=34, joint="curve")
    draw.line([(900, 620), (892, 590)], fill="#b87333", width=18)
    data = BytesIO()
    image.save(data, "JPEG", quality=85)
    data.seek(0)
    return data
