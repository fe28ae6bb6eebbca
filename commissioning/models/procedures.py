"""A project's own copies of procedures: what to do on a kind of system, line by line."""

from django.db import models

from .base import Record
from .register import Project, SystemKind


class StageKind(models.TextChoices):
    MECHANICAL_COMPLETION = "mechanical_completion", "mechanical completion"
    PRE_ENERGISATION = "pre_energisation", "pre-energisation"
    ENERGISATION = "energisation", "energisation"
    BATTERY_CONNECTED = "battery_connected", "battery-connected"


class Action(models.TextChoices):
    INSPECT = "inspect", "inspect"
    MEASURE = "measure", "measure"
    FUNCTION_TEST = "function_test", "function test"
    WITNESS = "witness", "witness"


class Work(models.TextChoices):
    DEAD = "dead", "dead work"
    LIVE = "live", "live work"
    EITHER = "either", "dead or live"


class Point(models.TextChoices):
    NONE = "none", "none"
    HOLD = "hold", "hold point"
    WITNESS = "witness", "witness point"
    REVIEW = "review", "review point"


class LineContent(Record):
    """What a line says, whether it stands in a procedure or on a system's stage."""

    key = models.CharField(max_length=40, help_text="Stable across versions of the procedure.")
    order = models.PositiveIntegerField()
    title = models.CharField(max_length=160)
    how = models.TextField(blank=True)
    accept = models.TextField(blank=True, help_text="Accept criterion in words.")
    action = models.CharField(max_length=20, choices=Action.choices, default=Action.INSPECT)
    work = models.CharField(max_length=10, choices=Work.choices, default=Work.DEAD)
    injects_voltage = models.BooleanField(default=False)
    caution = models.TextField(blank=True)
    point = models.CharField(max_length=10, choices=Point.choices, default=Point.NONE)
    party = models.CharField(max_length=20, blank=True, help_text="Role that witnesses or reviews.")
    required = models.BooleanField(default=True)
    timer_seconds = models.PositiveIntegerField(null=True, blank=True)
    calculation = models.CharField(max_length=60, blank=True)
    inputs = models.JSONField(default=dict, blank=True)
    limits = models.JSONField(default=list, blank=True)

    class Meta:
        abstract = True


class Procedure(Record):
    """A project's copy of a bundled procedure; edited there, it keeps where it came from."""

    project = models.ForeignKey(Project, models.CASCADE, related_name="procedures")
    key = models.CharField(max_length=60)
    title = models.CharField(max_length=200)
    system_kind = models.CharField(max_length=30, choices=SystemKind.choices)
    source_version = models.PositiveIntegerField()
    source_hash = models.CharField(max_length=64)
    revision = models.PositiveIntegerField(default=1, help_text="Counts edits made in the project.")
    copied_at = models.DateTimeField(auto_now_add=True)
    edited_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["title"]
        constraints = [models.UniqueConstraint(fields=["project", "key"], name="procedure_once_per_project")]

    def __str__(self) -> str:
        return f"{self.title} v{self.source_version}"


class ProcedureLine(LineContent):
    """One line of a project's procedure; `repeat` says for which equipment it is laid out."""

    procedure = models.ForeignKey(Procedure, models.CASCADE, related_name="lines")
    stage_kind = models.CharField(max_length=30, choices=StageKind.choices)
    equipment_kind = models.CharField(max_length=30, blank=True)
    repeat = models.CharField(max_length=12, blank=True, help_text="each, first or following; empty: once")

    class Meta:
        ordering = ["order"]
        constraints = [models.UniqueConstraint(fields=["procedure", "key"], name="procedure_line_key_unique")]

    def __str__(self) -> str:
        return f"{self.key} {self.title}"
