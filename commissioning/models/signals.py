"""Signal points to the plant control system, proved end to end (loop check, IEC 62382)."""

from django.conf import settings
from django.db import models

from .base import Record
from .procedures import StageKind
from .register import Equipment, System


class Direction(models.TextChoices):
    OUTPUT = "output", "relay output"
    INPUT = "input", "digital input"


class SignalPoint(Record):
    """One relay output or digital input between the system and the plant control system."""

    system = models.ForeignKey(System, models.CASCADE, related_name="signals")
    equipment = models.ForeignKey(Equipment, models.SET_NULL, null=True, blank=True, related_name="signals")
    stage_kind = models.CharField(max_length=30, choices=StageKind.choices, default=StageKind.ENERGISATION)
    tag = models.CharField(max_length=60)
    description = models.CharField(max_length=200)
    direction = models.CharField(max_length=10, choices=Direction.choices, default=Direction.OUTPUT)
    far_end = models.CharField(max_length=120, blank=True, help_text="Where it is seen: card, channel, display.")
    order = models.PositiveIntegerField(default=0)

    class Meta:
        ordering = ["order", "tag"]
        constraints = [models.UniqueConstraint(fields=["system", "tag"], name="signal_tag_unique_in_system")]

    def __str__(self) -> str:
        return f"{self.tag} {self.description}"


class SignalProof(Record):
    """One attempt at a point: forced at one end, seen at the far end, restored. The newest stands."""

    point = models.ForeignKey(SignalPoint, models.CASCADE, related_name="proofs")
    forced_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    forced_at = models.DateTimeField()
    seen_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    seen_at = models.DateTimeField(null=True, blank=True)
    response_seconds = models.FloatField(null=True, blank=True)
    restored_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    restored_at = models.DateTimeField(null=True, blank=True)
    failed_at = models.DateTimeField(null=True, blank=True)
    failed_reason = models.TextField(blank=True)
    superseded_at = models.DateTimeField(null=True, blank=True)
    recorded_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["recorded_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["point"], condition=models.Q(superseded_at__isnull=True), name="proof_one_standing_per_point"
            ),
            models.CheckConstraint(
                condition=models.Q(seen_at__isnull=True) | models.Q(failed_at__isnull=True), name="proof_seen_or_failed"
            ),
        ]

    def __str__(self) -> str:
        return f"proof of {self.point.tag}"
