"""The equipment register: project, sites, systems, equipment, and which stage waits for which."""

from django.core.validators import MinValueValidator
from django.db import models

from .base import Record


class DecisionRule(models.TextChoices):
    SIMPLE = "simple", "simple acceptance: inside the limit accepts"
    GUARDED = "guarded", "guarded acceptance: inside the limit by the guard band accepts"


class SecondFactorFor(models.TextChoices):
    """Whom a project asks for more than a password at sign-in."""

    NOBODY = "nobody", "nobody has to"
    MANAGERS = "managers", "managers have to"
    EVERYONE = "everyone", "everyone has to"


class Project(Record):
    """A contract under which systems at one or more sites are commissioned and handed over."""

    code = models.CharField(max_length=20, unique=True, help_text="Short code, printed in numbers: OMB")
    name = models.CharField(max_length=200)
    client_name = models.CharField(max_length=200, blank=True)
    contractor_name = models.CharField(max_length=200, blank=True)
    time_zone = models.CharField(max_length=64, default="UTC")
    decision_rule = models.CharField(max_length=10, choices=DecisionRule.choices, default=DecisionRule.SIMPLE)
    guard_factor = models.FloatField(
        default=1.0,
        validators=[MinValueValidator(0)],
        help_text="Guard band as a multiple of the expanded uncertainty (ILAC-G8).",
    )
    b_blocks_stage = models.BooleanField(
        default=False, help_text="Tighter: a B item blocks the stage it was raised in."
    )
    c_blocks_handover = models.BooleanField(default=False, help_text="Tighter: C items must be closed before handover.")
    far_end_by_second_person = models.BooleanField(
        default=True, help_text="A signal is seen at the far end by somebody other than who forced it."
    )
    keep_photo_position = models.BooleanField(default=False)
    second_factor = models.CharField(
        max_length=10,
        choices=SecondFactorFor.choices,
        default=SecondFactorFor.NOBODY,
        help_text="Who signs in with a second factor.",
    )
    escalate_after_days = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="Days overdue after which managers are told of a punch item; empty: never."
    )
    stage_plans = models.JSONField(default=dict, blank=True, help_text="Stages by system kind, where they differ.")
    punch_count = models.PositiveIntegerField(default=0, help_text="Last punch item number given.")
    dossier_count = models.PositiveIntegerField(default=0, help_text="Last dossier number given.")
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return f"{self.code} {self.name}"


class Site(Record):
    """A place with its own gate, time zone and people."""

    project = models.ForeignKey(Project, models.CASCADE, related_name="sites")
    code = models.CharField(max_length=20)
    name = models.CharField(max_length=200)
    time_zone = models.CharField(max_length=64, blank=True, help_text="Empty: the project's.")
    notes = models.TextField(blank=True, help_text="Access, local rules, emergency contact on site.")

    class Meta:
        ordering = ["code"]
        constraints = [models.UniqueConstraint(fields=["project", "code"], name="site_code_unique_in_project")]

    def __str__(self) -> str:
        return f"{self.code} {self.name}"


class SystemKind(models.TextChoices):
    DC_POWER_VENTED = "dc_power_vented", "DC power system, vented lead-acid battery"
    DC_POWER_VRLA = "dc_power_vrla", "DC power system, VRLA battery"
    DC_POWER_NICD = "dc_power_nicd", "DC power system, NiCd battery"
    DC_BOARD = "dc_board", "DC distribution board"
    UPS = "ups", "UPS"
    LV_BOARD = "lv_board", "LV switchboard"


class System(Record):
    """What is commissioned and handed over as one: a DC power system, a board, a UPS."""

    project = models.ForeignKey(Project, models.CASCADE, related_name="systems")
    site = models.ForeignKey(Site, models.CASCADE, related_name="systems")
    tag = models.CharField(max_length=60)
    name = models.CharField(max_length=200)
    kind = models.CharField(max_length=30, choices=SystemKind.choices)
    nameplate = models.JSONField(default=dict, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["tag"]
        constraints = [
            models.UniqueConstraint(fields=["project", "tag"], name="system_tag_unique_in_project"),
            models.CheckConstraint(condition=models.Q(kind__in=SystemKind.values), name="system_kind_known"),
        ]
        indexes = [models.Index(fields=["site", "tag"], name="system_site_tag")]

    def __str__(self) -> str:
        return f"{self.tag} {self.name}"


class EquipmentKind(models.TextChoices):
    RECTIFIER = "rectifier", "rectifier or charger"
    RECTIFIER_MODULE = "rectifier_module", "rectifier module"
    BATTERY = "battery", "battery"
    DC_BOARD = "dc_board", "DC distribution board"
    UPS = "ups", "UPS"
    LV_BOARD = "lv_board", "LV switchboard"
    EARTH_FAULT_MONITOR = "earth_fault_monitor", "earth-fault monitor"
    MONITOR_UNIT = "monitor_unit", "monitoring unit"
    FUSE_DETECTOR = "fuse_detector", "fuse detector"
    PROTECTIVE_DEVICE = "protective_device", "protective device"
    CABLE = "cable", "cable"
    RELAY = "relay", "relay"
    OTHER = "other", "other"


class Equipment(Record):
    """A tagged thing: it has a place, perhaps a parent, a serial number and a nameplate."""

    project = models.ForeignKey(Project, models.CASCADE, related_name="equipment")
    system = models.ForeignKey(System, models.CASCADE, related_name="equipment")
    parent = models.ForeignKey("self", models.SET_NULL, null=True, blank=True, related_name="children")
    tag = models.CharField(max_length=60)
    description = models.CharField(max_length=200, blank=True)
    kind = models.CharField(max_length=30, choices=EquipmentKind.choices, default=EquipmentKind.OTHER)
    serial_number = models.CharField(max_length=80, blank=True)
    maker = models.CharField(max_length=120, blank=True)
    model = models.CharField(max_length=120, blank=True)
    nameplate = models.JSONField(default=dict, blank=True)
    former_tags = models.JSONField(
        default=list, blank=True, help_text="Tags it had before, so that an old label leads here."
    )

    class Meta:
        ordering = ["tag"]
        constraints = [
            models.UniqueConstraint(fields=["project", "tag"], name="equipment_tag_unique_in_project"),
            models.CheckConstraint(condition=~models.Q(parent=models.F("id")), name="equipment_not_its_own_parent"),
        ]
        indexes = [models.Index(fields=["system", "tag"], name="equipment_system_tag")]

    def __str__(self) -> str:
        return f"{self.tag} {self.description}".strip()


class StageDependency(Record):
    """`stage` cannot be started or accepted until `requires`, a stage of another system, is accepted."""

    stage = models.ForeignKey("commissioning.Stage", models.CASCADE, related_name="dependencies")
    requires = models.ForeignKey("commissioning.Stage", models.CASCADE, related_name="dependents")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["stage", "requires"], name="dependency_once"),
            models.CheckConstraint(condition=~models.Q(stage=models.F("requires")), name="dependency_not_on_itself"),
        ]

    def __str__(self) -> str:
        return f"{self.stage} needs {self.requires}"
