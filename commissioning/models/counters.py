"""What lists show and sort by, counted when it changes and not when somebody looks.

Written only by `services.counters`, in the transaction of the change itself; audited and rebuilt by
`manage.py counters`. There is no row for a site or a project: a sum over the systems is quick enough, and a row that
every writer of a site has to lock would make them wait for each other.
"""

from datetime import date

from django.db import models

from .procedures import StageKind
from .register import Project, Site, System
from .stages import Stage

#: Stands for "no date" where lists sort by date: after every other.
NO_DATE = date(9999, 12, 31)


class Counts(models.Model):
    """Numbers that a stage has of its own, and a system as the sum of its stages'."""

    open_a = models.PositiveIntegerField(default=0)
    open_b = models.PositiveIntegerField(default=0)
    open_c = models.PositiveIntegerField(default=0)
    lines_total = models.PositiveIntegerField(default=0)
    lines_done = models.PositiveIntegerField(default=0, help_text="Passed, not applicable, or conceded.")
    lines_failed = models.PositiveIntegerField(default=0, help_text="Failed, and not conceded.")
    readings_missing = models.PositiveIntegerField(default=0, help_text="Required, and none stands.")
    readings_rejected = models.PositiveIntegerField(default=0, help_text="Standing, not accepted and not conceded.")
    readings_changed = models.PositiveIntegerField(default=0, help_text="Verified again; a manager has to decide.")
    readings_uncalibrated = models.PositiveIntegerField(default=0, help_text="Instrument out of calibration.")
    hold_points_open = models.PositiveIntegerField(default=0)
    witness_points_open = models.PositiveIntegerField(default=0, help_text="Without a notice whose time has passed.")
    alarms_unexplained = models.PositiveIntegerField(default=0)
    signals_total = models.PositiveIntegerField(default=0)
    signals_unproved = models.PositiveIntegerField(default=0)
    exceptions_stages = models.PositiveIntegerField(default=0, help_text="Of an accepted stage: by what it waits for.")
    exceptions_lines = models.PositiveIntegerField(default=0, help_text="Of an accepted stage: by its readings.")
    exceptions_items = models.PositiveIntegerField(default=0, help_text="Of an accepted stage: by its A items.")

    class Meta:
        abstract = True

    @property
    def exceptions(self) -> int:
        return self.exceptions_stages + self.exceptions_lines + self.exceptions_items


#: Names of the numbers above.
COUNTED = tuple(field.name for field in Counts._meta.local_fields)


class StageCounters(Counts):
    """The numbers of one stage."""

    stage = models.OneToOneField(Stage, models.CASCADE, primary_key=True, related_name="counters")
    system = models.ForeignKey(System, models.CASCADE, related_name="stage_counters")

    def __str__(self) -> str:
        return f"counters of {self.stage_id}"


class SystemCounters(Counts):
    """The numbers of one system, what the gate says of its stage in hand, and what lists sort by.

    `parts` keeps, for each part of the gate (lines, items, supplies …), its blockers summed up and the moment at which
    they change by the clock alone. When `recheck_at` has passed, the gate has to be asked again.
    """

    system = models.OneToOneField(System, models.CASCADE, primary_key=True, related_name="counters")
    project = models.ForeignKey(Project, models.CASCADE, related_name="+")
    site = models.ForeignKey(Site, models.CASCADE, related_name="system_counters")
    site_code = models.CharField(max_length=20)
    tag = models.CharField(max_length=60)
    kind = models.CharField(max_length=30)
    hand = models.ForeignKey(Stage, models.SET_NULL, null=True, related_name="+", help_text="First not accepted.")
    hand_kind = models.CharField(max_length=30, blank=True, choices=StageKind.choices)
    hand_order = models.PositiveSmallIntegerField(default=99, help_text="99: every stage is accepted.")
    hand_state = models.CharField(max_length=12, blank=True)
    hand_lines_total = models.PositiveIntegerField(default=0)
    hand_lines_done = models.PositiveIntegerField(default=0)
    planned = models.DateField(default=NO_DATE, help_text="For which the stage in hand is planned.")
    move = models.PositiveSmallIntegerField(default=3, help_text="Place in selectors.holds.Move.")
    held = models.BooleanField(default=False, help_text="By something other than lines that are not done yet.")
    turn_manager = models.BooleanField(default=False)
    turn_field_engineer = models.BooleanField(default=False)
    turn_client = models.BooleanField(default=False)
    turn_authorised_person = models.BooleanField(default=False)
    supplies_total = models.PositiveIntegerField(default=0)
    supplies_live = models.PositiveIntegerField(default=0)
    supplies_unknown = models.PositiveIntegerField(default=0)
    parts = models.JSONField(default=dict)
    recheck_at = models.DateTimeField(null=True)

    class Meta:
        indexes = [
            models.Index(fields=["project", "site_code", "tag"], name="counters_by_site"),
            models.Index(fields=["project", "tag"], name="counters_by_tag"),
            models.Index(fields=["project", "hand_order", "site_code", "tag"], name="counters_by_stage"),
            models.Index(fields=["project", "planned", "site_code", "tag"], name="counters_by_date"),
            models.Index(fields=["project", "move", "site_code", "tag"], name="counters_by_move"),
            models.Index(
                fields=["project", "recheck_at"],
                condition=models.Q(recheck_at__isnull=False),
                name="counters_due",
            ),
        ]

    def __str__(self) -> str:
        return f"counters of {self.tag}"
