"""The record: one module a part of the plant and its paperwork."""

from .access import Membership, Role, User
from .alarms import AlarmOutcome, AlarmSighting
from .audit import AuditChain, AuditEntry
from .counters import COUNTED, NO_DATE, StageCounters, SystemCounters
from .dossiers import Dossier, DossierScope, DossierUnit
from .entry import ApiToken, Invitation, TokenScope
from .finding import FindEntry, FindWord
from .instruments import Calibration, Instrument, InstrumentRange
from .jobs import Job, JobState
from .mails import Mail, PersonalClock
from .notices import DoneToday, Notice, NoticeKind, NoticeOff
from .outbox import OutboxFile, OutboxFilePart, OutboxItem, OutboxState
from .procedures import Action, Point, Procedure, ProcedureLine, StageKind, Work
from .readings import Reading, Verdict
from .recordings import ColumnMapping, RecordingKind, RecordingState, TestRecording
from .register import (
    DecisionRule,
    Equipment,
    EquipmentKind,
    Project,
    SecondFactorFor,
    Site,
    StageDependency,
    System,
    SystemKind,
)
from .signals import Direction, SignalPoint, SignalProof
from .stages import (
    Acceptance,
    AnswerKind,
    CheckLine,
    CheckResult,
    Concession,
    LineState,
    Outcome,
    ProofOfDead,
    Stage,
    StageState,
    WitnessAnswer,
    Witnessing,
    WitnessNotice,
)
from .supplies import PermissionToEnergise, SupplyChange, SupplyKind, SupplyPoint, SupplyState
from .verification import VerificationChange, VerificationRun

__all__ = [
    "Acceptance",
    "Action",
    "AlarmOutcome",
    "AlarmSighting",
    "AnswerKind",
    "ApiToken",
    "AuditChain",
    "AuditEntry",
    "Calibration",
    "CheckLine",
    "COUNTED",
    "ColumnMapping",
    "CheckResult",
    "Concession",
    "DecisionRule",
    "Direction",
    "DoneToday",
    "Dossier",
    "DossierScope",
    "DossierUnit",
    "Equipment",
    "EquipmentKind",
    "FindEntry",
    "FindWord",
    "Instrument",
    "InstrumentRange",
    "Invitation",
    "Job",
    "JobState",
    "LineState",
    "Mail",
    "Membership",
    "NO_DATE",
    "Notice",
    "NoticeKind",
    "NoticeOff",
    "Outcome",
    "OutboxFile",
    "OutboxFilePart",
    "OutboxItem",
    "OutboxState",
    "PermissionToEnergise",
    "PersonalClock",
    "Point",
    "Procedure",
    "ProcedureLine",
    "Project",
    "ProofOfDead",
    "Reading",
    "RecordingKind",
    "RecordingState",
    "Role",
    "SecondFactorFor",
    "SignalPoint",
    "SignalProof",
    "Site",
    "Stage",
    "StageCounters",
    "StageDependency",
    "StageKind",
    "StageState",
    "SupplyChange",
    "SupplyKind",
    "SupplyPoint",
    "SupplyState",
    "System",
    "SystemCounters",
    "SystemKind",
    "TestRecording",
    "TokenScope",
    "User",
    "Verdict",
    "VerificationChange",
    "VerificationRun",
    "WitnessAnswer",
    "WitnessNotice",
    "Witnessing",
    "Work",
]
