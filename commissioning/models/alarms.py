"""Alarms seen while commissioning, and what each turned out to be."""

from django.conf import settings
from django.db import models

from .base import Record
from .register import Equipment, System
from .stages import Stage


class AlarmOutcome(models.TextChoices):
    UNEXPLAINED = "unexplained", "unexplained"
    EXPLAINED = "explained", "explained"
    EXPECTED = "expected", "expected until a later stage"
    GENUINE = "genuine", "genuine"


class AlarmSighting(Record):
    """An alarm as somebody saw it. Expected ones are seen to clear later; genuine ones become punch items."""

    system = models.ForeignKey(System, models.CASCADE, related_name="alarms")
    stage = models.ForeignKey(Stage, models.CASCADE, related_name="alarms")
    equipment = models.ForeignKey(Equipment, models.SET_NULL, null=True, blank=True, related_name="alarms")
    text = models.CharField(max_length=200, help_text="The alarm as the display words it.")
    seen_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    seen_at = models.DateTimeField()
    recorded_at = models.DateTimeField(auto_now_add=True)
    outcome = models.CharField(max_length=16, choices=AlarmOutcome.choices, default=AlarmOutcome.UNEXPLAINED)
    explanation = models.TextField(blank=True)
    decided_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    decided_at = models.DateTimeField(null=True, blank=True)
    expected_until = models.ForeignKey(Stage, models.PROTECT, null=True, blank=True, related_name="alarms_due")
    cleared_at = models.DateTimeField(null=True, blank=True)
    cleared_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    cleared_remark = models.TextField(blank=True)

    class Meta:
        ordering = ["seen_at"]
        constraints = [
            models.CheckConstraint(
                condition=~models.Q(outcome="expected") | models.Q(expected_until__isnull=False),
                name="alarm_expected_until_a_stage",
            ),
            models.CheckConstraint(
                condition=~models.Q(outcome="explained") | ~models.Q(explanation=""), name="alarm_explained_in_words"
            ),
        ]

    def __str__(self) -> str:
        return self.text
