"""Calibration certificates for the demo's instruments: one page each, invented, and saying so."""

from __future__ import annotations

from datetime import date
from io import BytesIO

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

from commissioning.models import Instrument

FACE = "Vera"
LABORATORY = "Larkmere Calibration (an invented laboratory)"


def certificate(instrument: Instrument, *, number: str, calibrated_on: date, due_on: date) -> bytes:
    """The certificate as a PDF with its font inside."""
    pdfmetrics.registerFont(TTFont(FACE, "Vera.ttf"))
    data = BytesIO()
    canvas = Canvas(data, pagesize=(595.28, 841.89), invariant=1, initialFontName=FACE)
    canvas.setTitle(f"Calibration certificate {number}")
    canvas.setFont(FACE, 18)
    canvas.drawString(72, 740, "Calibration certificate")
    canvas.setFont(FACE, 10)
    rows = [
        ("Number", number),
        ("Instrument", instrument.description),
        ("Serial number", instrument.serial_number),
        ("Calibrated", calibrated_on.isoformat()),
        ("Due", due_on.isoformat()),
        ("By", LABORATORY),
        ("", "Made for the demonstration: nothing was measured for this page."),
        *(("Range", f"{one.upper:g} {one.unit}: within the maker's specification") for one in instrument.ranges.all()),
    ]
    for place, (label, words) in enumerate(rows):
        canvas.drawString(72, 700 - 20 * place, label)
        canvas.drawString(190, 700 - 20 * place, words)
    canvas.showPage()
    canvas.save()
    return data.getvalue()
