"""What happened, in order, each entry bound to the one before it by its hash."""

from django.conf import settings
from django.db import models

from .register import Project


class AuditChain(models.Model):
    """The head of a project's chain; its row is locked while an entry is added."""

    project = models.OneToOneField(Project, models.CASCADE, primary_key=True, related_name="audit_chain")
    last_sequence = models.PositiveBigIntegerField(default=0)
    last_hash = models.CharField(max_length=64, default="0" * 64)

    def __str__(self) -> str:
        return f"audit chain of {self.project_id} at {self.last_sequence}"


class AuditEntry(models.Model):
    """One state change: who, when, what, on which object. Appended, never changed."""

    project = models.ForeignKey(Project, models.CASCADE, related_name="audit_entries")
    sequence = models.PositiveBigIntegerField()
    at = models.DateTimeField()
    actor = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    actor_name = models.CharField(max_length=120)
    action = models.CharField(max_length=60)
    object_type = models.CharField(max_length=60)
    object_id = models.CharField(max_length=40)
    system_id = models.UUIDField(null=True, help_text="The system it belongs to, if any, to read its history.")
    words = models.TextField()
    data = models.JSONField(default=dict)
    previous_hash = models.CharField(max_length=64)
    hash = models.CharField(max_length=64)

    class Meta:
        ordering = ["project", "sequence"]
        constraints = [models.UniqueConstraint(fields=["project", "sequence"], name="audit_sequence_once")]
        indexes = [
            models.Index(fields=["system_id", "sequence"], name="audit_system"),
            models.Index(fields=["object_id"], name="audit_object"),
        ]

    def __str__(self) -> str:
        return f"{self.sequence} {self.action}"
