"""Annexes of the whole dossier: sources of calculations, audit extract; the instruments have a module of their own."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from commissioning.dossier.content_readings import definition_of
from commissioning.dossier.content_words import moment
from commissioning.models import AuditChain, AuditEntry, Project

TO_VERIFY = " - typical value, verify"
#: Deeds that somebody answers for; each single answer on a line stands in the check records.
AUDITED = (
    "stage_started",
    "stage_accepted",
    "acceptance_withdrawn",
    "concession_signed",
    "concession_withdrawn",
    "permission_signed",
    "permission_withdrawn",
    "verification_decided",
    "procedure_applied",
    "dossier_built",
    "dossier_received",
)


def source_entries(calculations: Collection[tuple[str, str]]) -> list[dict[str, str]]:
    """Where each calculation that was used comes from."""
    return list(_sources(sorted(calculations)))


def _sources(calculations: Iterable[tuple[str, str]]) -> Iterator[dict[str, str]]:
    for name, edition in calculations:
        definition = definition_of(name)
        if definition is None:
            words = "not in this version of the product; its working stands with each reading"
            yield {"calculation": name, "edition": edition, "title": "", "source": words, "kind": ""}
            continue
        for source in definition.sources:
            kind = "typical value, verify" if source.endswith(TO_VERIFY) else "published"
            text = source.removesuffix(TO_VERIFY)
            yield {"calculation": name, "edition": edition, "title": definition.title, "source": text, "kind": kind}


def audit_entry(project: Project, systems: Collection[UUID], zone: ZoneInfo) -> dict[str, Any]:
    """Signed and decisive deeds on these systems, and the head of the project's chain that binds them."""
    chain = AuditChain.objects.filter(project=project).first()
    rows = AuditEntry.objects.filter(project=project, action__in=AUDITED).order_by("sequence").values(
        "sequence", "at", "actor_name", "action", "words", "hash", "system_id"
    )  # fmt: skip
    wanted = set(systems)
    return {
        "head_hash": chain.last_hash if chain else "",
        "entries": [_audit(row, zone) for row in rows.iterator() if row["system_id"] in wanted],
    }


def _audit(row: Mapping[str, Any], zone: ZoneInfo) -> dict[str, Any]:
    return {
        "seq": row["sequence"],
        "at": moment(row["at"], zone),
        "by": row["actor_name"],
        "action": row["action"].replace("_", " "),
        "object": row["words"],
        "hash": row["hash"],
    }
