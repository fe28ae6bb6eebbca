"""Measured values with their verdict and working. Never edited: superseded."""

from django.conf import settings
from django.db import models

from .base import Record
from .instruments import Instrument
from .register import Equipment, Project, System
from .stages import CheckLine


class Verdict(models.TextChoices):
    ACCEPT = "accept", "accept"
    ACCEPT_GUARD = "accept_within_guard_band", "accept within guard band"
    REJECT_GUARD = "reject_within_guard_band", "reject within guard band"
    REJECT = "reject", "reject"
    CANNOT_SAY = "cannot_say", "cannot say"


class Reading(Record):
    """What was measured, with what, and what the calculation made of it.

    `inputs` is a list of {name, typed, value, unit, expanded_uncertainty, source, instrument, range}: the text as
    typed stays beside the number that was computed. `result` is the calculation's whole answer as `calcs` gave it.
    """

    project = models.ForeignKey(Project, models.CASCADE, related_name="readings")
    system = models.ForeignKey(System, models.CASCADE, related_name="readings")
    line = models.ForeignKey(CheckLine, models.CASCADE, null=True, blank=True, related_name="readings")
    equipment = models.ForeignKey(Equipment, models.SET_NULL, null=True, blank=True, related_name="readings")
    calculation = models.CharField(max_length=60)
    edition = models.CharField(max_length=20)
    inputs = models.JSONField(default=list)
    result = models.JSONField(default=dict)
    verdict = models.CharField(max_length=30, choices=Verdict.choices, default=Verdict.CANNOT_SAY)
    conformity_probability = models.FloatField(null=True, blank=True)
    instruments = models.ManyToManyField(Instrument, blank=True, related_name="readings")
    in_calibration = models.BooleanField(default=True)
    remark = models.TextField(blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    taken_at = models.DateTimeField()
    recorded_at = models.DateTimeField(auto_now_add=True)
    superseded_at = models.DateTimeField(null=True, blank=True)
    superseded_by = models.ForeignKey("self", models.SET_NULL, null=True, blank=True, related_name="supersedes")
    superseded_reason = models.TextField(blank=True)

    class Meta:
        ordering = ["recorded_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["line"],
                condition=models.Q(superseded_at__isnull=True, line__isnull=False),
                name="reading_one_standing_per_line",
            ),
            models.CheckConstraint(condition=models.Q(verdict__in=Verdict.values), name="reading_verdict_known"),
        ]
        indexes = [models.Index(fields=["system", "recorded_at"], name="reading_system_recorded")]

    def __str__(self) -> str:
        return f"{self.calculation}: {self.get_verdict_display()}"
