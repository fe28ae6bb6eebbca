"""What was recorded on a phone without signal and sent later: each item as it came, and what became of it."""

from django.conf import settings
from django.db import models

from .base import Record
from .register import Project, System


class OutboxState(models.TextChoices):
    ARRIVED = "arrived", "arrived"
    NEEDS_YOU = "needs_you", "needs you"
    MENDED = "mended", "mended"
    DROPPED = "dropped", "dropped"


class OutboxItem(Record):
    """One deed from a phone. The phone made its id: whatever is sent again under it gets the answer of the first time.

    What was refused stays here as it was recorded, with the reason, until its person mends or drops it.
    """

    project = models.ForeignKey(Project, models.CASCADE, related_name="outbox_items")
    system = models.ForeignKey(System, models.SET_NULL, null=True, related_name="+")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    kind = models.CharField(max_length=40)
    place = models.PositiveIntegerField(default=0, help_text="Its place in the batch that it came with.")
    made_at = models.DateTimeField(help_text="When it was done, the phone's clock corrected.")
    device_at = models.DateTimeField(help_text="When it was done, as the phone's clock had it.")
    skew_seconds = models.FloatField(default=0, help_text="How far the phone's clock was behind when it sent this.")
    received_at = models.DateTimeField()
    body = models.JSONField(default=dict)
    seen = models.JSONField(default=dict, help_text="What the phone knew when it was recorded.")
    content_hash = models.CharField(max_length=64, help_text="SHA-256 of kind, system, time and body as sent.")
    state = models.CharField(max_length=12, choices=OutboxState.choices)
    refusal = models.JSONField(null=True, blank=True, help_text="Why it was refused: type, words, fields, blockers.")
    sentences = models.JSONField(default=list, blank=True, help_text="What its person is told, in plain sentences.")
    record_kind = models.CharField(max_length=60, blank=True)
    record_id = models.UUIDField(null=True, blank=True)
    answer = models.JSONField(null=True, blank=True, help_text="The verdict that the server gave, or would have given.")
    waits_for = models.UUIDField(null=True, blank=True, help_text="The item without which this one cannot be taken.")
    mends = models.ForeignKey("self", models.SET_NULL, null=True, blank=True, related_name="mended_by")
    settled_at = models.DateTimeField(null=True, blank=True, help_text="When it was mended or dropped.")
    dropped_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    dropped_reason = models.TextField(blank=True)

    class Meta:
        ordering = ["received_at", "place"]
        constraints = [
            models.CheckConstraint(condition=models.Q(state__in=OutboxState.values), name="outbox_state_known"),
            models.CheckConstraint(
                condition=models.Q(state__in=["arrived"]) | models.Q(refusal__isnull=False),
                name="outbox_not_arrived_has_refusal",
            ),
            models.CheckConstraint(
                condition=~models.Q(state="dropped") | ~models.Q(dropped_reason=""), name="outbox_dropped_with_reason"
            ),
        ]
        indexes = [
            models.Index(fields=["project", "by"], condition=models.Q(state="needs_you"), name="outbox_needs_somebody"),
            models.Index(fields=["project", "received_at"], name="outbox_project_received"),
            models.Index(fields=["waits_for"], condition=models.Q(waits_for__isnull=False), name="outbox_waits_for"),
            models.Index(fields=["record_id"], name="outbox_record"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} from a phone · {self.get_state_display()}"


class OutboxFile(Record):
    """A file on its way from somebody's phone, known by the hash of what it shall be when all of it is here."""

    project = models.ForeignKey(Project, models.CASCADE, related_name="outbox_files")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="+")
    sha256 = models.CharField(max_length=64)
    size = models.PositiveIntegerField()
    have = models.PositiveIntegerField(default=0)
    whole_at = models.DateTimeField(null=True, blank=True, help_text="When all of it was here and its hash was right.")
    touched_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["project", "by", "sha256"], name="outbox_file_once_per_person"),
            models.CheckConstraint(condition=models.Q(have__lte=models.F("size")), name="outbox_file_not_over_size"),
        ]
        indexes = [models.Index(fields=["touched_at"], name="outbox_file_touched")]

    def __str__(self) -> str:
        return f"file from a phone, {self.have} of {self.size} octets"


class OutboxFilePart(models.Model):
    """A part of such a file. It is kept in the database, so that part and count are written together or not at all."""

    file = models.ForeignKey(OutboxFile, models.CASCADE, related_name="parts")
    offset = models.PositiveIntegerField()
    data = models.BinaryField()

    class Meta:
        ordering = ["offset"]
        constraints = [models.UniqueConstraint(fields=["file", "offset"], name="outbox_part_once")]

    def __str__(self) -> str:
        return f"part at {self.offset}"
