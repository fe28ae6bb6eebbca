"""Handover dossiers: immutable, numbered, signed snapshots."""

from django.conf import settings
from django.db import models

from .base import Record
from .jobs import Job
from .register import Project, Site, System


def content_path(instance: "Dossier", filename: str) -> str:
    return f"dossiers/{instance.project_id}/{instance.id}/content.json"


def pdf_path(instance: "Dossier", filename: str) -> str:
    return f"dossiers/{instance.project_id}/{instance.id}/{instance.file_name}"


class DossierScope(models.TextChoices):
    SYSTEM = "system", "system"
    SITE = "site", "site"
    PROJECT = "project", "project"


class Dossier(Record):
    """One revision of the record handed to the owner. Once built, neither the row nor its files change."""

    project = models.ForeignKey(Project, models.CASCADE, related_name="dossiers")
    site = models.ForeignKey(Site, models.PROTECT, null=True, blank=True, related_name="dossiers")
    system = models.ForeignKey(System, models.PROTECT, null=True, blank=True, related_name="dossiers")
    scope = models.CharField(max_length=10, choices=DossierScope.choices)
    number = models.PositiveIntegerField(help_text="Given once per project; revisions keep it.")
    revision = models.PositiveIntegerField(default=1)
    supersedes = models.OneToOneField("self", models.PROTECT, null=True, blank=True, related_name="superseded_by")
    interim = models.BooleanField(default=True, help_text="Something is missing; page 2 says what.")
    asked_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    asked_at = models.DateTimeField(auto_now_add=True)
    job = models.OneToOneField(Job, models.PROTECT, related_name="dossier")
    content = models.FileField(upload_to=content_path, max_length=200, blank=True)
    content_sha256 = models.CharField(max_length=64, blank=True)
    pdf = models.FileField(upload_to=pdf_path, max_length=200, blank=True)
    pdf_sha256 = models.CharField(max_length=64, blank=True)
    pdf_bytes = models.BigIntegerField(default=0)
    pages = models.PositiveIntegerField(default=0)
    built_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-asked_at"]
        constraints = [
            models.UniqueConstraint(fields=["project", "number", "revision"], name="dossier_number_and_revision_once"),
        ]

    @property
    def label(self) -> str:
        """Its printed number: OMB-D-0007 rev 2."""
        return f"{self.project.code}-D-{self.number:04d} rev {self.revision}"

    @property
    def file_name(self) -> str:
        return f"{self.project.code}-D-{self.number:04d}-rev-{self.revision}.pdf"

    def __str__(self) -> str:
        return self.label


class DossierUnit(Record):
    """One system of a large dossier that is being built, for any worker to draw; gone when the dossier is built."""

    dossier = models.ForeignKey(Dossier, models.CASCADE, related_name="units")
    number = models.PositiveIntegerField(help_text="Place of the system in the content, from 0.")
    start = models.BigIntegerField(help_text="Where the system's text begins in the content file, in bytes.")
    length = models.BigIntegerField()
    attempts = models.PositiveSmallIntegerField(default=0)
    lease_until = models.DateTimeField(null=True, blank=True)
    lease_holder = models.CharField(max_length=80, blank=True)
    stored = models.CharField(max_length=200, blank=True, help_text="Name of its drawn file in the storage.")
    stored_sha256 = models.CharField(max_length=64, blank=True)
    key = models.CharField(max_length=64, blank=True, help_text="Hash of all that the drawn file depends on.")

    class Meta:
        ordering = ["number"]
        constraints = [models.UniqueConstraint(fields=["dossier", "number"], name="dossier_unit_once")]

    def __str__(self) -> str:
        return f"{self.dossier} · system {self.number + 1}"
