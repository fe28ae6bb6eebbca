"""A system's stages, their check lines and results, witnessing, and the acceptance of a gate."""

from uuid import UUID

from django.conf import settings
from django.db import models

from .base import Record
from .procedures import LineContent, StageKind
from .register import Equipment, System


class StageState(models.TextChoices):
    NOT_STARTED = "not_started", "not started"
    STARTED = "started", "started"
    ACCEPTED = "accepted", "accepted"


class Stage(Record):
    """One step of a system's way into service, closed by a gate."""

    system = models.ForeignKey(System, models.CASCADE, related_name="stages")
    kind = models.CharField(max_length=30, choices=StageKind.choices)
    order = models.PositiveSmallIntegerField()
    state = models.CharField(max_length=12, choices=StageState.choices, default=StageState.NOT_STARTED)
    started_at = models.DateTimeField(null=True, blank=True)
    started_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    planned_for = models.DateField(null=True, blank=True, help_text="Date planned for acceptance.")

    class Meta:
        ordering = ["system", "order"]
        constraints = [
            models.UniqueConstraint(fields=["system", "kind"], name="stage_kind_once_per_system"),
            models.UniqueConstraint(fields=["system", "order"], name="stage_order_once_per_system"),
            models.CheckConstraint(condition=models.Q(state__in=StageState.values), name="stage_state_known"),
        ]

    def __str__(self) -> str:
        return f"{self.system.tag} {self.get_kind_display()}"


class LineState(models.TextChoices):
    OPEN = "open", "open"
    PASSED = "passed", "passed"
    FAILED = "failed", "failed"
    NOT_APPLICABLE = "not_applicable", "not applicable"


class CheckLine(LineContent):
    """A line laid out on a system's stage: what is to be done there, and where it stands."""

    stage = models.ForeignKey(Stage, models.CASCADE, related_name="lines")
    equipment = models.ForeignKey(Equipment, models.SET_NULL, null=True, blank=True, related_name="lines")
    procedure_key = models.CharField(max_length=60, blank=True)
    procedure_version = models.CharField(max_length=20, blank=True, help_text="Source version and project revision.")
    state = models.CharField(max_length=16, choices=LineState.choices, default=LineState.OPEN)
    done_at = models.DateTimeField(null=True, blank=True)
    done_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    retired_at = models.DateTimeField(null=True, blank=True, help_text="Dropped by a later edit; kept with its record.")

    class Meta:
        ordering = ["stage", "order"]
        constraints = [
            models.UniqueConstraint(fields=["stage", "key", "equipment"], name="line_once_per_equipment"),
            models.UniqueConstraint(
                fields=["stage", "key"], condition=models.Q(equipment__isnull=True), name="line_once_without_equipment"
            ),
            models.CheckConstraint(condition=models.Q(state__in=LineState.values), name="line_state_known"),
        ]
        indexes = [models.Index(fields=["stage", "order"], name="line_stage_order")]

    def __str__(self) -> str:
        return self.title


class Outcome(models.TextChoices):
    PASSED = "passed", "passed"
    FAILED = "failed", "failed"
    NOT_APPLICABLE = "not_applicable", "not applicable"
    REOPENED = "reopened", "reopened"


class CheckResult(Record):
    """What somebody found on a line. Never edited: a later result supersedes it."""

    line = models.ForeignKey(CheckLine, models.CASCADE, related_name="results")
    outcome = models.CharField(max_length=16, choices=Outcome.choices)
    values = models.JSONField(
        default=list, blank=True, help_text="Values kept on record: name, label, typed, value, unit."
    )
    remark = models.TextField(blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField(help_text="When it was done, by the person's clock.")
    recorded_at = models.DateTimeField(auto_now_add=True)
    superseded_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["recorded_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["line"], condition=models.Q(superseded_at__isnull=True), name="result_one_standing_per_line"
            ),
            models.CheckConstraint(
                condition=~models.Q(outcome="not_applicable") | ~models.Q(remark=""),
                name="result_not_applicable_has_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.line} · {self.outcome}"


class ProofOfDead(Record):
    """Somebody proved dead at the point of work, with a detector proved before and after (EN 50110-1, 6.2.4)."""

    line = models.ForeignKey(CheckLine, models.CASCADE, related_name="proofs_of_dead")
    point_of_work = models.CharField(max_length=200)
    detector = models.CharField(max_length=120, help_text="Voltage detector, with its serial number.")
    proved_before = models.BooleanField(default=False)
    proved_after = models.BooleanField(default=False)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    recorded_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["recorded_at"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(proved_before=True, proved_after=True), name="proof_detector_proved_before_and_after"
            )
        ]

    def __str__(self) -> str:
        return f"proved dead at {self.point_of_work}"


class WitnessNotice(Record):
    """An invitation to a witness or hold point, for a time that has to pass. Moved, a new one follows the old one."""

    line = models.ForeignKey(CheckLine, models.CASCADE, related_name="notices")
    planned_for = models.DateTimeField()
    given_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    given_at = models.DateTimeField(auto_now_add=True)
    words = models.TextField(blank=True)
    series = models.UUIDField(null=True, blank=True, editable=False, help_text="The first of those that were moved.")
    sequence = models.PositiveSmallIntegerField(default=0, db_default=0, help_text="How often it was moved.")
    withdrawn_at = models.DateTimeField(null=True, blank=True, help_text="Moved or cancelled.")
    withdrawn_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    withdrawn_reason = models.TextField(blank=True, db_default="")

    class Meta:
        ordering = ["given_at"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(withdrawn_at__isnull=True) | ~models.Q(withdrawn_reason=""),
                name="notice_withdrawn_with_reason",
            ),
        ]

    @property
    def first(self) -> UUID:
        """What calendars know it by, however often it is moved."""
        return self.series or self.pk

    def __str__(self) -> str:
        return f"notice for {self.line}"


class AnswerKind(models.TextChoices):
    ACCEPTED = "accepted", "will be there"
    DECLINED = "declined", "will not be there"
    OTHER_TIME = "other_time", "asks for another time"


class WitnessAnswer(Record):
    """What somebody of the invited party said to a notice. The last one of a person counts; none is changed."""

    notice = models.ForeignKey(WitnessNotice, models.CASCADE, related_name="answers")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    answer = models.CharField(max_length=12, choices=AnswerKind.choices)
    other_time = models.DateTimeField(null=True, blank=True)
    remark = models.TextField(blank=True)
    at = models.DateTimeField(auto_now_add=True)
    by_mail = models.BooleanField(default=False, help_text="By the link in their mail, without signing in.")

    class Meta:
        ordering = ["at"]
        constraints = [
            models.CheckConstraint(condition=models.Q(answer__in=AnswerKind.values), name="answer_known"),
            models.CheckConstraint(
                condition=~models.Q(answer="other_time") | models.Q(other_time__isnull=False),
                name="answer_other_time_is_named",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.by} {self.get_answer_display()}"


class Witnessing(Record):
    """The named party was there, or has reviewed the papers, and says so under their own sign-in."""

    line = models.ForeignKey(CheckLine, models.CASCADE, related_name="witnessings")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    role = models.CharField(max_length=20)
    at = models.DateTimeField()
    recorded_at = models.DateTimeField(auto_now_add=True)
    remark = models.TextField(blank=True)

    class Meta:
        ordering = ["recorded_at"]

    def __str__(self) -> str:
        return f"{self.line} witnessed by {self.by}"


class Signature(Record):
    """Name, role, time and hash of what was signed, as they were at the moment of signing."""

    signed_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    signed_name = models.CharField(max_length=120)
    signed_role = models.CharField(max_length=40)
    signed_at = models.DateTimeField()
    signed_content = models.JSONField(help_text="Everything that was signed, as it stood.")
    signed_hash = models.CharField(max_length=64, help_text="SHA-256 of the canonical JSON of signed_content.")

    class Meta:
        abstract = True


class Acceptance(Signature):
    """A gate passed. Withdrawn, it stays on record beside its reason."""

    stage = models.ForeignKey(Stage, models.CASCADE, related_name="acceptances")
    remark = models.TextField(blank=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    withdrawn_reason = models.TextField(blank=True)

    class Meta:
        ordering = ["signed_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["stage"],
                condition=models.Q(withdrawn_at__isnull=True),
                name="acceptance_one_standing_per_stage",
            ),
            models.CheckConstraint(
                condition=models.Q(withdrawn_at__isnull=True) | ~models.Q(withdrawn_reason=""),
                name="acceptance_withdrawn_with_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.stage} accepted by {self.signed_name}"


class Concession(Signature):
    """A manager accepts what does not meet its limit, with a reason that the dossier prints (ISO 9000)."""

    line = models.ForeignKey(CheckLine, models.CASCADE, related_name="concessions")
    reading = models.ForeignKey(
        "commissioning.Reading", models.PROTECT, null=True, blank=True, related_name="concessions"
    )
    reason = models.TextField()
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_reason = models.TextField(blank=True)

    class Meta:
        ordering = ["signed_at"]
        constraints = [
            models.CheckConstraint(condition=~models.Q(reason=""), name="concession_has_reason"),
        ]

    def __str__(self) -> str:
        return f"concession on {self.line}"
