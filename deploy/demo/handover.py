"""The demo's handover dossier: asked for by its manager and built in this process, before the worker runs."""

from __future__ import annotations

from commissioning.models import DossierScope, JobState, System, User
from commissioning.services import job_runs
from commissioning.services.dossiers import ask_dossier
from deploy.demo.people import LOGINS, PROJECT_CODE

#: The system whose gates are all accepted.
HANDED_OVER = "QPS-GUA10"


def build_dossier(*, tag: str) -> None:
    """Ask for the dossier of a system and build it; where that fails, its page says why."""
    manager = User.objects.get(username=LOGINS[0].username)
    system = System.objects.select_related("project").get(project__code=PROJECT_CODE, tag=tag)
    dossier = ask_dossier(
        actor=manager,
        project=system.project,
        scope=DossierScope.SYSTEM,
        system=system,
        reason="First issue, for handover",
    )
    job = job_runs.run(dossier.job_id)
    if job is None or job.state != JobState.DONE:
        raise RuntimeError(f"The dossier of the demo was not built: {job.error if job else 'its job was taken'}")
