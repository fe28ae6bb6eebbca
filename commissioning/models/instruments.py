"""What measures, how well, and until when its calibration holds."""

from django.db import models

from .base import Record
from .register import Project


def certificate_path(instance: "Calibration", filename: str) -> str:
    """Certificates live under the project by content, never by the name a stranger gave them."""
    return f"certificates/{instance.instrument.project_id}/{instance.id}.pdf"


class Instrument(Record):
    """A meter, tester, thermometer or logger, known by its serial number."""

    project = models.ForeignKey(Project, models.CASCADE, related_name="instruments")
    serial_number = models.CharField(max_length=80)
    description = models.CharField(max_length=200)
    maker = models.CharField(max_length=120, blank=True)
    model = models.CharField(max_length=120, blank=True)
    retired_at = models.DateTimeField(null=True, blank=True)
    retired_reason = models.TextField(blank=True)

    class Meta:
        ordering = ["description", "serial_number"]
        constraints = [models.UniqueConstraint(fields=["project", "serial_number"], name="instrument_serial_unique")]

    def __str__(self) -> str:
        return f"{self.description} {self.serial_number}"


class InstrumentRange(Record):
    """One range with its accuracy as the maker states it: ±(% of reading + % of range + counts × resolution)."""

    instrument = models.ForeignKey(Instrument, models.CASCADE, related_name="ranges")
    unit = models.CharField(max_length=20, help_text="V, A, Ω, °C …")
    lower = models.FloatField(default=0)
    upper = models.FloatField(help_text="Largest magnitude that this range shows, in the unit.")
    percent_of_reading = models.FloatField(default=0)
    percent_of_range = models.FloatField(default=0)
    counts = models.FloatField(default=0)
    resolution = models.FloatField(default=0)
    temperature_coefficient = models.FloatField(default=0, help_text="Added % of reading per °C outside 18…28 °C.")
    calibration_uncertainty = models.FloatField(default=0, help_text="Expanded, k = 2, in the unit.")

    class Meta:
        ordering = ["unit", "upper"]
        constraints = [
            models.CheckConstraint(condition=models.Q(upper__gt=models.F("lower")), name="range_upper_above_lower")
        ]

    def __str__(self) -> str:
        return f"{self.instrument.serial_number} {self.upper:g} {self.unit}"


class Calibration(Record):
    """A calibration: from when, until when, and the certificate that says so."""

    instrument = models.ForeignKey(Instrument, models.CASCADE, related_name="calibrations")
    calibrated_on = models.DateField()
    due_on = models.DateField()
    certificate_number = models.CharField(max_length=80, blank=True)
    certificate = models.FileField(upload_to=certificate_path, blank=True)
    certificate_sha256 = models.CharField(max_length=64, blank=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_reason = models.TextField(blank=True)

    class Meta:
        ordering = ["-due_on"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(due_on__gte=models.F("calibrated_on")), name="calibration_due_after_done"
            )
        ]

    def __str__(self) -> str:
        return f"{self.instrument.serial_number} due {self.due_on}"
