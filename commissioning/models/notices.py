"""What the product tells a person: notices in the product, what each of them left out, and what was done once a day."""

from django.db import models
from django.utils import timezone

from .access import Membership
from .base import Record
from .register import Project, Site


class NoticeKind(models.TextChoices):
    """What a notice is about. A person switches each of them off for a project."""

    ASSIGNED = "assigned", "a punch item is yours to do"
    DUE = "due", "what you owe is due tomorrow, or overdue"
    ESCALATED = "escalated", "what others owe is overdue for longer than the project allows"
    GATE = "gate", "a gate was accepted or withdrawn"
    WITNESS = "witness", "you are invited to a hold or witness point"
    ANSWER = "answer", "an invitation to a hold or witness point was answered"
    DOSSIER = "dossier", "a dossier that you asked for is there"


class Notice(Record):
    """One thing told to one member of a project. The key makes that it is told once."""

    membership = models.ForeignKey(Membership, models.CASCADE, related_name="notices")
    kind = models.CharField(max_length=12, choices=NoticeKind.choices)
    key = models.CharField(max_length=120, help_text="What happened: told once to each person.")
    words = models.CharField(max_length=300)
    site = models.ForeignKey(Site, models.CASCADE, null=True, blank=True, related_name="+")
    link_kind = models.CharField(max_length=60, blank=True)
    link_id = models.CharField(max_length=40, blank=True)
    made_at = models.DateTimeField(auto_now_add=True)
    seen_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(fields=["membership", "key"], name="notice_once_per_person"),
            models.CheckConstraint(condition=models.Q(kind__in=NoticeKind.values), name="notice_kind_known"),
        ]
        indexes = [
            models.Index(fields=["membership"], condition=models.Q(seen_at__isnull=True), name="notice_unseen"),
            models.Index(fields=["membership", "-id"], name="notice_list"),
        ]

    def __str__(self) -> str:
        return self.words


class NoticeOff(Record):
    """A kind of notice, or of mail, that a member does not want from this project."""

    membership = models.ForeignKey(Membership, models.CASCADE, related_name="notices_off")
    kind = models.CharField(max_length=12)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["membership", "kind"], name="notice_off_once")]

    def __str__(self) -> str:
        return f"{self.membership}: not {self.kind}"


class DoneToday(Record):
    """What the schedule did for a project on a day of that project: whoever writes the row does it, nobody else."""

    project = models.ForeignKey(Project, models.CASCADE, related_name="done_today")
    what = models.CharField(max_length=60)
    day = models.DateField()
    done_at = models.DateTimeField(default=timezone.now)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["project", "what", "day"], name="done_once_a_day")]

    def __str__(self) -> str:
        return f"{self.what} of {self.day}"
