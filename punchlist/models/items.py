"""Punch items: what is undone or wrong, where, how bad, and whose turn it is."""

from django.conf import settings
from django.db import models

from commissioning.models import AlarmSighting, CheckLine, Equipment, Project, Stage, System
from commissioning.models.base import Record


class Category(models.TextChoices):
    A = "A", "A · before this stage's gate"
    B = "B", "B · before handover"
    C = "C", "C · carried over"


class ItemState(models.TextChoices):
    OPEN = "open", "open"
    RECTIFIED = "rectified", "rectified"
    CLOSED = "closed", "closed"
    SENT_BACK = "sent_back", "sent back"


#: States in which an item still holds its gate: everything that is not closed.
STANDING_STATES = (ItemState.OPEN, ItemState.RECTIFIED, ItemState.SENT_BACK)


class PunchItem(Record):
    """A snag on the list. Numbered per project; closed by somebody other than who rectified it."""

    project = models.ForeignKey(Project, models.CASCADE, related_name="punch_items")
    number = models.PositiveIntegerField()
    system = models.ForeignKey(System, models.CASCADE, related_name="punch_items")
    stage = models.ForeignKey(Stage, models.CASCADE, related_name="punch_items")
    equipment = models.ForeignKey(Equipment, models.SET_NULL, null=True, blank=True, related_name="punch_items")
    line = models.ForeignKey(CheckLine, models.SET_NULL, null=True, blank=True, related_name="punch_items")
    alarm = models.ForeignKey(AlarmSighting, models.SET_NULL, null=True, blank=True, related_name="punch_items")
    category = models.CharField(max_length=1, choices=Category.choices)
    state = models.CharField(max_length=10, choices=ItemState.choices, default=ItemState.OPEN)
    text = models.TextField()
    raised_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    raised_at = models.DateTimeField()
    recorded_at = models.DateTimeField(auto_now_add=True)
    owes = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="punch_items_owed"
    )
    owes_company = models.CharField(max_length=120, blank=True)
    due_on = models.DateField(null=True, blank=True)
    changed_at = models.DateTimeField()
    rectified_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    rectified_at = models.DateTimeField(null=True, blank=True)
    closed_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    closed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-number"]
        constraints = [
            models.UniqueConstraint(fields=["project", "number"], name="item_number_unique_in_project"),
            models.CheckConstraint(condition=models.Q(category__in=Category.values), name="item_category_known"),
            models.CheckConstraint(condition=models.Q(state__in=ItemState.values), name="item_state_known"),
            models.CheckConstraint(
                condition=~models.Q(state="closed") | models.Q(closed_at__isnull=False), name="item_closed_has_time"
            ),
            models.CheckConstraint(condition=~models.Q(text=""), name="item_has_words"),
        ]
        indexes = [
            models.Index(
                fields=["system", "stage", "category"],
                condition=models.Q(state__in=["open", "rectified", "sent_back"]),
                name="item_standing",
            ),
            models.Index(fields=["project", "state", "category", "-number"], name="item_list"),
        ]

    @property
    def label(self) -> str:
        return f"P-{self.number}"

    def __str__(self) -> str:
        return f"{self.label} {self.text[:60]}"


class ItemStep(Record):
    """One step in an item's life: raised, rectified, sent back, closed, reopened, changed. Appended only."""

    item = models.ForeignKey(PunchItem, models.CASCADE, related_name="steps")
    step = models.CharField(max_length=16)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    recorded_at = models.DateTimeField(auto_now_add=True)
    remark = models.TextField(blank=True)
    changes = models.JSONField(default=dict, blank=True)

    class Meta:
        ordering = ["recorded_at"]

    def __str__(self) -> str:
        return f"{self.item.label} {self.step}"


def photo_path(instance: "Photo", filename: str) -> str:
    """Photos are filed by project and content, never by the name that came in."""
    return f"photos/{instance.item.project_id}/{instance.sha256}.jpg"


def thumbnail_path(instance: "Photo", filename: str) -> str:
    """Beside the picture that it was drawn from."""
    return f"photos/{instance.item.project_id}/{instance.sha256}-small.jpg"


class Photo(Record):
    """A picture of a snag, upright, made smaller, without position unless the project keeps it.

    Withdrawn, it is not shown or printed any more; its file is kept, and that it was there stays on record.
    """

    item = models.ForeignKey(PunchItem, models.CASCADE, related_name="photos")
    file = models.FileField(upload_to=photo_path, max_length=200)
    sha256 = models.CharField(max_length=64)
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()
    bytes = models.PositiveIntegerField()
    caption = models.CharField(max_length=200, blank=True)
    taken_at = models.DateTimeField()
    taken_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField(auto_now_add=True)
    thumbnail = models.FileField(upload_to=thumbnail_path, max_length=200, blank=True)
    thumbnail_width = models.PositiveIntegerField(default=0)
    thumbnail_height = models.PositiveIntegerField(default=0)
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    withdrawn_reason = models.TextField(blank=True)

    class Meta:
        ordering = ["recorded_at"]
        constraints = [
            models.UniqueConstraint(fields=["item", "sha256"], name="photo_once_per_item"),
            models.CheckConstraint(
                condition=models.Q(withdrawn_at__isnull=True, withdrawn_by__isnull=True, withdrawn_reason="")
                | (models.Q(withdrawn_at__isnull=False, withdrawn_by__isnull=False) & ~models.Q(withdrawn_reason="")),
                name="photo_withdrawn_by_somebody_for_a_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"photo of {self.item.label}"


class SavedView(Record):
    """A filter of the punch list that somebody gave a name, for themselves or for the project."""

    project = models.ForeignKey(Project, models.CASCADE, related_name="saved_views")
    owner = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="saved_views")
    name = models.CharField(max_length=80)
    query = models.CharField(max_length=500)
    shared = models.BooleanField(default=False)

    class Meta:
        ordering = ["name"]
        constraints = [models.UniqueConstraint(fields=["project", "owner", "name"], name="saved_view_name_once")]

    def __str__(self) -> str:
        return self.name
