"""Who may see and do what: people, and their membership of projects."""

from django.contrib.auth.models import AbstractUser
from django.db import models

from .base import Record


class User(AbstractUser):  # type: ignore[django-manager-missing]  # the library of tokens carries no types
    """A person who signs in. One name as they write it; what they may do is decided by their memberships."""

    first_name = None  # type: ignore[assignment]
    last_name = None  # type: ignore[assignment]
    name = models.CharField("name", max_length=120)

    REQUIRED_FIELDS = ["name", "email"]

    def get_full_name(self) -> str:
        return self.name or self.username

    def get_short_name(self) -> str:
        return self.get_full_name()

    def __str__(self) -> str:
        return self.get_full_name()


class Role(models.TextChoices):
    MANAGER = "manager", "manager"
    FIELD_ENGINEER = "field_engineer", "field engineer"
    CLIENT = "client", "client"


class Membership(Record):
    """A person's place in a project: one role, for all its sites or for those named."""

    project = models.ForeignKey("commissioning.Project", models.CASCADE, related_name="memberships")
    user = models.ForeignKey(User, models.PROTECT, related_name="memberships")
    role = models.CharField(max_length=20, choices=Role.choices)
    sites = models.ManyToManyField("commissioning.Site", blank=True, related_name="memberships")
    all_sites = models.BooleanField(default=True, help_text="Off: only the sites named.")
    authorised_person = models.BooleanField(
        default=False, help_text="May sign permissions to energise under the local safety rules."
    )
    company = models.CharField(max_length=120, blank=True)
    left_at = models.DateTimeField(null=True, blank=True, help_text="Set when the person leaves the project.")
    dossiers_looked_at = models.DateTimeField(null=True, blank=True, help_text="When the list was last looked at.")
    dossiers_new_since = models.DateTimeField(null=True, blank=True, help_text="The end of the visit before.")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["project", "user"], name="membership_one_per_person_and_project"),
            models.CheckConstraint(condition=models.Q(role__in=Role.values), name="membership_role_known"),
        ]

    def __str__(self) -> str:
        return f"{self.user} · {self.get_role_display()}"
