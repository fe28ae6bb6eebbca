"""Test recordings: a logged discharge, recharge or float, as the logger wrote it, and what came of it."""

from django.conf import settings
from django.db import models

from .base import Record
from .readings import Reading
from .register import Equipment, Project, System
from .stages import CheckLine


class RecordingKind(models.TextChoices):
    DISCHARGE = "discharge", "discharge"
    RECHARGE = "recharge", "recharge"
    FLOAT = "float", "float"


class RecordingState(models.TextChoices):
    TO_CONFIRM = "to_confirm", "columns to confirm"
    WAITING = "waiting", "waiting"
    READ = "read", "read"
    FAILED = "failed", "failed"


def raw_path(instance: "TestRecording", filename: str) -> str:
    """The raw file is kept by content; its own name is kept as words only."""
    return f"recordings/{instance.project_id}/{instance.raw_sha256}"


class TestRecording(Record):
    """One log file with its column map, findings and result. The raw file never changes; a better one supersedes it."""

    __test__ = False  # not a test, whatever pytest thinks of its name

    project = models.ForeignKey(Project, models.CASCADE, related_name="recordings")
    system = models.ForeignKey(System, models.CASCADE, related_name="recordings")
    line = models.ForeignKey(CheckLine, models.SET_NULL, null=True, blank=True, related_name="recordings")
    equipment = models.ForeignKey(Equipment, models.SET_NULL, null=True, blank=True, related_name="recordings")
    kind = models.CharField(max_length=12, choices=RecordingKind.choices, default=RecordingKind.DISCHARGE)
    state = models.CharField(max_length=12, choices=RecordingState.choices, default=RecordingState.TO_CONFIRM)
    raw = models.FileField(upload_to=raw_path, max_length=200)
    raw_name = models.CharField(max_length=200)
    raw_sha256 = models.CharField(max_length=64)
    raw_bytes = models.BigIntegerField(default=0)
    column_map = models.JSONField(default=dict, blank=True)
    findings = models.JSONField(
        default=list, blank=True, help_text="Gaps, repeats, drop-outs: what was kept out, and why."
    )
    summary = models.JSONField(default=dict, blank=True, help_text="Capacity, weak cells, spread, why the test ended.")
    plot = models.JSONField(default=dict, blank=True, help_text="Series made small enough to draw.")
    error = models.TextField(blank=True)
    reading = models.OneToOneField(Reading, models.SET_NULL, null=True, blank=True, related_name="recording")
    started_at = models.DateTimeField(
        null=True, blank=True, help_text="First time stamp of the log, where it is absolute."
    )
    uploaded_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    uploaded_at = models.DateTimeField(auto_now_add=True)
    superseded_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-uploaded_at"]
        indexes = [models.Index(fields=["system", "-uploaded_at"], name="recording_system")]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} log {self.raw_name}"


class ColumnMapping(Record):
    """A column map that somebody confirmed, kept for the next file with the same headings."""

    project = models.ForeignKey(Project, models.CASCADE, related_name="column_mappings")
    headings_sha256 = models.CharField(max_length=64)
    column_map = models.JSONField(default=dict)
    confirmed_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    confirmed_at = models.DateTimeField(auto_now=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["project", "headings_sha256"], name="column_mapping_once_per_headings")
        ]

    def __str__(self) -> str:
        return f"columns {self.headings_sha256[:8]}"
