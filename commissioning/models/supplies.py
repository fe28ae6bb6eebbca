"""Every way energy gets in, what is recorded of it, and who permitted it."""

from django.conf import settings
from django.db import models

from .base import Record
from .register import System
from .stages import Signature, Stage


class SupplyKind(models.TextChoices):
    INCOMER = "incomer", "incomer"
    TEMPORARY = "temporary", "temporary supply"
    BATTERY = "battery", "battery"
    BACK_FEED = "back_feed", "back-feed"


class SupplyState(models.TextChoices):
    NOT_RECORDED = "not_recorded", "not recorded"
    ISOLATED = "isolated", "isolated"
    RELEASED = "released", "released"


class SupplyPoint(Record):
    """A place where energy can enter. What is stored is what was recorded, never what is so."""

    system = models.ForeignKey(System, models.CASCADE, related_name="supplies")
    tag = models.CharField(max_length=60)
    description = models.CharField(max_length=200, blank=True)
    kind = models.CharField(max_length=20, choices=SupplyKind.choices)
    state = models.CharField(max_length=16, choices=SupplyState.choices, default=SupplyState.NOT_RECORDED)
    lock_number = models.CharField(max_length=40, blank=True)
    changed_at = models.DateTimeField(null=True, blank=True)
    changed_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["tag"]
        constraints = [
            models.UniqueConstraint(fields=["system", "tag"], name="supply_tag_unique_in_system"),
            models.CheckConstraint(condition=models.Q(state__in=SupplyState.values), name="supply_state_known"),
            models.CheckConstraint(
                condition=~models.Q(state="isolated") | ~models.Q(lock_number=""), name="supply_isolated_has_lock"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.tag} {self.get_kind_display()}"


class PermissionToEnergise(Signature):
    """The authorised person's signed permission to release the supplies it names, until it lapses."""

    system = models.ForeignKey(System, models.CASCADE, related_name="permissions")
    stage = models.ForeignKey(Stage, models.CASCADE, related_name="permissions")
    supplies = models.ManyToManyField(SupplyPoint, related_name="permissions")
    valid_from = models.DateTimeField()
    valid_until = models.DateTimeField()
    precautions = models.TextField(blank=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    withdrawn_reason = models.TextField(blank=True)

    class Meta:
        ordering = ["signed_at"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(valid_until__gt=models.F("valid_from")), name="permission_ends_after_start"
            )
        ]

    def __str__(self) -> str:
        return f"permission to energise {self.system.tag} until {self.valid_until:%Y-%m-%d %H:%M}"


class SupplyChange(Record):
    """One isolation or release as it was recorded; the log that the dossier prints."""

    supply = models.ForeignKey(SupplyPoint, models.CASCADE, related_name="changes")
    state = models.CharField(max_length=16, choices=SupplyState.choices)
    lock_number = models.CharField(max_length=40, blank=True)
    permission = models.ForeignKey(PermissionToEnergise, models.PROTECT, null=True, blank=True, related_name="releases")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    recorded_at = models.DateTimeField(auto_now_add=True)
    remark = models.TextField(blank=True)

    class Meta:
        ordering = ["recorded_at"]

    def __str__(self) -> str:
        return f"{self.supply.tag} {self.get_state_display()}"
