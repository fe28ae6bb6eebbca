"""Readings verified again after a limit, nameplate value, instrument or edition changed, and what that changed."""

from django.conf import settings
from django.db import models

from .base import Record
from .jobs import Job
from .readings import Reading, Verdict
from .register import Project


class VerificationRun(Record):
    """One pass over the readings that a change touches."""

    project = models.ForeignKey(Project, models.CASCADE, related_name="verification_runs")
    reason = models.CharField(max_length=300, help_text="What changed, in words.")
    scope = models.JSONField(
        default=dict, help_text="Which readings: system, equipment, instrument, calculation, line."
    )
    job = models.OneToOneField(Job, models.PROTECT, null=True, blank=True, related_name="verification_run")
    asked_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    asked_at = models.DateTimeField(auto_now_add=True)
    finished_at = models.DateTimeField(null=True, blank=True)
    looked_at = models.PositiveIntegerField(default=0)

    class Meta:
        ordering = ["-asked_at"]

    def __str__(self) -> str:
        return self.reason


class VerificationChange(Record):
    """A reading whose result is no longer what it was. Until a manager confirms it, nothing moves but the exception."""

    run = models.ForeignKey(VerificationRun, models.CASCADE, related_name="changes")
    reading = models.ForeignKey(Reading, models.CASCADE, related_name="verification_changes")
    verdict = models.CharField(max_length=30, choices=Verdict.choices)
    inputs = models.JSONField(default=list)
    result = models.JSONField(default=dict)
    decided_at = models.DateTimeField(null=True, blank=True)
    decided_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    confirmed = models.BooleanField(null=True, help_text="Empty: waits for a manager.")
    remark = models.TextField(blank=True)
    new_reading = models.OneToOneField(
        Reading, models.SET_NULL, null=True, blank=True, related_name="from_verification"
    )

    class Meta:
        ordering = ["run", "reading"]
        constraints = [models.UniqueConstraint(fields=["run", "reading"], name="verification_change_once_per_reading")]

    def __str__(self) -> str:
        return f"{self.reading} → {self.get_verdict_display()}"
