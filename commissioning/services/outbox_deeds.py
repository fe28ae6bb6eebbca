"""What comes from a phone: one deed with its times, and the kinds of deed that are taken.

The settings name the kinds by dotted path (OUTBOX_KINDS), because some belong to rooms above this one.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, field
from datetime import datetime, timedelta
from functools import lru_cache
from typing import TYPE_CHECKING, Any
from uuid import UUID

from django.conf import settings
from django.utils.module_loading import import_string

from commissioning.errors import Conflict, InvalidInput, NotAllowed, Refused, ServiceError
from commissioning.models import Reading
from commissioning.models.base import Record
from commissioning.services.audit import sha256_of

if TYPE_CHECKING:
    from commissioning.selectors.access import Access

#: A phone's clock that is off by no more than this is taken as right.
SKEW_TOLERANCE = timedelta(seconds=60)
ELSEWHERE = "the phone cannot know what happened elsewhere since"
#: Deeds that are never taken from a phone that was offline, each with the sentence why; a word in the kind decides.
NEVER = {
    "accept": f"A gate is accepted with signal only: {ELSEWHERE}. Open the stage's page and accept it there.",
    "release": f"A supply is released with signal only: {ELSEWHERE}. Open the supply's page and release it there.",
    "permi": f"A permission to energise is signed with signal only: {ELSEWHERE}. Sign it on the stage's page.",
}


@dataclass(frozen=True, slots=True)
class Clock:
    """How far the phone's clock is off, and what that makes of its times."""

    sent_at: datetime
    received_at: datetime

    @property
    def skew(self) -> timedelta:
        """What has to be added to a time of the phone; nothing within the tolerance."""
        off = self.received_at - self.sent_at
        return off if abs(off) > SKEW_TOLERANCE else timedelta()

    def corrected(self, at: datetime) -> datetime:
        """Never later than the moment at which it arrived."""
        try:
            return min(at + self.skew, self.received_at)
        except OverflowError:
            return self.received_at


@dataclass(frozen=True, slots=True)
class Deed:
    """One item as it was sent, its time corrected."""

    id: UUID
    kind: str
    system: UUID | None
    made_at: datetime
    device_at: datetime
    body: Mapping[str, Any]
    seen: Mapping[str, Any] = field(default_factory=dict)
    mends: UUID | None = None
    place: int = 0

    @property
    def content_hash(self) -> str:
        """What must agree when an id comes a second time; the clock's correction may differ between two sendings."""
        return sha256_of([self.kind, self.system, self.device_at.timestamp(), self.body])


class Fault(Conflict):
    """The server itself failed with an item: nothing of it was done."""


class Waits(Conflict):
    """What the item leans on is not there: it was refused or dropped."""

    def __init__(self, words: str, *, waits_for: UUID) -> None:
        super().__init__(words)
        self.waits_for = waits_for


#: Names of refusals, as the problems of the API have them.
REFUSALS: dict[type[ServiceError], str] = {
    Fault: "fault",
    NotAllowed: "not-allowed",
    Conflict: "conflict",
    InvalidInput: "invalid-input",
    Refused: "refused",
}


@dataclass(frozen=True, slots=True)
class Applied:
    """What a deed made, and what its person is told besides; `answer` is kept with the item."""

    record: Record
    sentences: tuple[str, ...] = ()
    answer: dict[str, Any] | None = None
    equipment: UUID | None = None


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of deed: how its body is read, and the service that does it.

    `read` raises InvalidInput; `apply` raises any refusal of the services. `leans_on` names the field of the body that
    holds the id of an earlier item without which this one makes no sense; `times` those that hold times. `would_be`
    says what the answer would have been of one that is refused because it came too late.
    """

    name: str
    words: str
    read: Callable[[Mapping[str, Any]], dict[str, Any]]
    apply: Callable[[Access, Deed, dict[str, Any]], Applied]
    times: tuple[str, ...] = ("at",)
    leans_on: str = ""
    would_be: Callable[[Access, Deed, dict[str, Any]], dict[str, Any]] | None = None


@lru_cache(maxsize=8)
def _kinds(paths: tuple[str, ...]) -> dict[str, Kind]:
    return {kind.name: kind for path in paths for kind in import_string(path)}


def kinds() -> dict[str, Kind]:
    """Every kind that the settings name, by its name."""
    if not settings.OUTBOX_KINDS:
        raise RuntimeError("OUTBOX_KINDS is empty: nothing is taken from phones.")
    return _kinds(tuple(settings.OUTBOX_KINDS))


def kind_words(name: str) -> str:
    """The words of a kind, also of one that is not taken."""
    kind = kinds().get(name)
    return kind.words if kind else name.replace("_", " ")


def why_never(kind: str) -> str:
    """Why a deed of a kind that is not among `kinds()` is refused."""
    known = next((words for part, words in NEVER.items() if part in kind.lower()), "")
    return known or f"'{kind}' is not recorded on a phone without signal: {ELSEWHERE}. Record it on its own page."


def refusal_of(error: ServiceError) -> dict[str, Any]:
    """A refusal as data, in the shape of the API's problem documents."""
    name = next(name for kind, name in REFUSALS.items() if isinstance(error, kind))
    found: dict[str, Any] = {"type": f"/problems/{name}", "detail": error.words}
    if isinstance(error, InvalidInput):
        found["fields"] = error.fields
    if isinstance(error, Refused):
        found["blockers"] = [{**asdict(one), "rule": int(one.rule)} for one in error.blockers]
    return found


def verdict_of(record: Record, answer: Mapping[str, Any] | None) -> dict[str, Any] | None:
    """The server's verdict with its working, where the record is a reading, and how the phone's compares with it."""
    if not isinstance(record, Reading):
        return None
    words = record.get_verdict_display()
    mine = {"id": str(record.pk), "verdict": record.verdict, "words": words, "result": record.result}
    return {**mine, **(answer or {})}
