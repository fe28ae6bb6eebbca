"""Work done in the background. The row is the truth: lease, heartbeat, idempotency key."""

from django.conf import settings
from django.db import models

from .base import Record
from .register import Project


class JobState(models.TextChoices):
    WAITING = "waiting", "waiting"
    RUNNING = "running", "running"
    DONE = "done", "done"
    FAILED = "failed", "failed"
    CANCELLED = "cancelled", "cancelled"


class Job(Record):
    """One piece of background work, safe to run twice; the broker only rings the bell."""

    project = models.ForeignKey(Project, models.CASCADE, related_name="jobs")
    kind = models.CharField(max_length=40, help_text="register_import, dossier, verify_again …")
    key = models.CharField(max_length=120, unique=True, help_text="Asking twice with one key gives one job.")
    asked_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    asked_at = models.DateTimeField(auto_now_add=True)
    state = models.CharField(max_length=12, choices=JobState.choices, default=JobState.WAITING)
    arguments = models.JSONField(default=dict)
    words = models.CharField(max_length=200, blank=True, help_text="What it is doing now.")
    done = models.PositiveIntegerField(default=0)
    total = models.PositiveIntegerField(default=0)
    attempts = models.PositiveSmallIntegerField(default=0)
    lease_until = models.DateTimeField(null=True, blank=True)
    lease_holder = models.CharField(max_length=80, blank=True)
    started_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)
    request_id = models.CharField(
        max_length=40, blank=True, db_default="", help_text="The request that asked, as the logs name it."
    )
    result = models.JSONField(default=dict, blank=True)
    error = models.TextField(blank=True, help_text="Why it failed, in words that say what to do next.")

    class Meta:
        ordering = ["-asked_at"]
        indexes = [models.Index(fields=["state", "lease_until"], name="job_state_lease")]
        constraints = [models.CheckConstraint(condition=models.Q(state__in=JobState.values), name="job_state_known")]

    def __str__(self) -> str:
        return f"{self.kind} · {self.get_state_display()}"
