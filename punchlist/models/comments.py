"""What the client says of a dossier, and what became of it: a punch item, or an answer."""

from django.conf import settings
from django.db import models

from commissioning.models import Dossier, Project
from commissioning.models.base import Record

from .items import PunchItem


class DossierComment(Record):
    """A client's comment on one revision of a dossier. Settled once: by a punch item or by an answer."""

    project = models.ForeignKey(Project, models.CASCADE, related_name="dossier_comments")
    dossier = models.ForeignKey(Dossier, models.CASCADE, related_name="comments")
    tag = models.CharField(max_length=60, blank=True, help_text="What it is about, as the client typed it.")
    text = models.TextField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    item = models.OneToOneField(PunchItem, models.SET_NULL, null=True, blank=True, related_name="comment")
    answer = models.TextField(blank=True)
    settled_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    settled_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["at"]
        constraints = [
            models.CheckConstraint(condition=~models.Q(text=""), name="comment_has_words"),
            models.CheckConstraint(
                condition=models.Q(item__isnull=True) | models.Q(answer=""), name="comment_settled_one_way"
            ),
            models.CheckConstraint(
                condition=models.Q(settled_at__isnull=False) | models.Q(item__isnull=True, answer=""),
                name="comment_settled_has_time",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.dossier}: {self.text[:60]}"
