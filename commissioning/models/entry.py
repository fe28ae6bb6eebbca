"""Ways in: tokens of the API, and invitations by mail. Neither is kept in a form that could be used if it were read."""

from django.conf import settings
from django.db import models
from django.db.models.functions import Lower
from knox.models import AbstractAuthToken

from .access import Role
from .base import Record


class TokenScope(models.TextChoices):
    """What a program that carries the token may do on top of what its person may."""

    READ = "read", "read"
    PHONE = "phone", "read, and record what a phone records"
    WRITE = "write", "read, and write everything"


class ApiToken(AbstractAuthToken):
    """A key for a program: shown once, kept as a digest, with what it may do, where, and until when."""

    name = models.CharField(max_length=80, blank=True, help_text="What uses it.")
    scope = models.CharField(max_length=10, choices=TokenScope.choices, default=TokenScope.WRITE)
    project = models.ForeignKey(
        "commissioning.Project",
        models.CASCADE,
        null=True,
        blank=True,
        related_name="+",
        help_text="Empty: all of them.",
    )
    last_used_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-created"]
        constraints = [
            models.CheckConstraint(condition=models.Q(scope__in=TokenScope.values), name="api_token_scope_known")
        ]

    def __str__(self) -> str:
        return self.name or "token"


class Invitation(Record):
    """A manager asks somebody into the project by mail; the link in it opens once, until it lapses."""

    project = models.ForeignKey("commissioning.Project", models.CASCADE, related_name="invitations")
    email = models.EmailField()
    role = models.CharField(max_length=20, choices=Role.choices)
    sites = models.ManyToManyField("commissioning.Site", blank=True, related_name="+")
    all_sites = models.BooleanField(default=True)
    authorised_person = models.BooleanField(default=False)
    company = models.CharField(max_length=120, blank=True)
    invited_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    made_at = models.DateTimeField(auto_now_add=True)
    expires_at = models.DateTimeField()
    digest = models.CharField(max_length=64, help_text="SHA-256 of what the link carries.")
    sent_at = models.DateTimeField(null=True, blank=True, help_text="Empty: the mail could not be handed over.")
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    accepted_at = models.DateTimeField(null=True, blank=True)
    accepted_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["-made_at"]
        constraints = [
            models.CheckConstraint(condition=models.Q(role__in=Role.values), name="invitation_role_known"),
            models.CheckConstraint(
                condition=models.Q(accepted_at__isnull=True) | models.Q(withdrawn_at__isnull=True),
                name="invitation_accepted_or_withdrawn",
            ),
            # One open invitation a person: the second would leave a link that nobody remembers.
            models.UniqueConstraint(
                "project",
                Lower("email"),
                condition=models.Q(accepted_at__isnull=True, withdrawn_at__isnull=True),
                name="invitation_open_once",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.email} as {self.get_role_display()}"
