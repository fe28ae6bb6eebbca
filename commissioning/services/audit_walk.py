"""Walking a long audit chain in the background: what it came to is kept with the job."""

from __future__ import annotations

from typing import Any

from commissioning.models import AuditChain, Job, Project, User
from commissioning.models.base import new_id
from commissioning.selectors.audit import chain_standing
from commissioning.services import jobs
from commissioning.services.permissions import MANAGERS, require

KIND = "verify_chain"
#: So many entries are walked while the page waits: about a second's work (25,000 entries a second were measured).
AT_ONCE = 20_000


def is_long(project: Project) -> bool:
    """Whether the walk takes longer than a page should wait."""
    return AuditChain.objects.filter(project=project, last_sequence__gt=AT_ONCE).exists()


def ask_walk(*, actor: User, project: Project) -> Job:
    """Have the project's chain walked in the background."""
    require(actor=actor, project=project, roles=MANAGERS, site=None, to="have the audit log verified")
    return jobs.ask(project=project, kind=KIND, key=f"{KIND}-{new_id()}", asked_by=actor, arguments={})


def run_walk(job: Job) -> dict[str, Any]:
    """Reads only, so it may be run any number of times."""
    jobs.heartbeat(job, "walking the audit log from its first entry to its last", 0, 0)
    found = chain_standing(job.project)
    return {
        "holds": found.holds,
        "entries": found.entries,
        "last_hash": found.last_hash,
        "broken_at": found.broken.sequence if found.broken else None,
        "cut_off": found.cut_off,
    }
