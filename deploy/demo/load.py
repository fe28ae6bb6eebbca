"""Makes the demo project where there is none yet."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from django.db import transaction

from commissioning.models import Instrument, Project, User
from commissioning.register_import.apply import apply_plan, plan_import
from commissioning.selectors.access import access_or_404
from deploy.demo import story
from deploy.demo.handover import HANDED_OVER, build_dossier
from deploy.demo.logs import discharge_log
from deploy.demo.people import LOGINS, PROJECT_CODE, Login, make_people

REGISTER = Path(__file__).with_name("register")


def load_demo(say: Callable[[str], None] = lambda words: None) -> list[Login]:
    """Make the demo project if it is not there; the logins either way. `say` hears how far it is."""
    if not Project.objects.filter(code=PROJECT_CODE).exists():
        with transaction.atomic():
            _make(say)
        # Outside the transaction: the run that builds it reads what is committed and renews its lease beside the work.
        say("a handover dossier")
        build_dossier(tag=HANDED_OVER)
    return LOGINS


def _make(say: Callable[[str], None]) -> None:
    say("people and project")
    project, team = make_people()
    say("equipment register")
    import_register(manager=team.manager, project=project)
    story.calibrate(team, project)
    meters = tuple(Instrument.objects.filter(project=project).prefetch_related("ranges", "calibrations"))
    # The one that ran out is on the register, and nobody measures with it.
    used = tuple(one for one in meters if story.DUE_IN_DAYS[one.serial_number] > 0)
    team = replace(team, meters=used, logger=discharge_log)
    say("procedures")
    story.lay_out_procedures(team, project)
    say("what has been done so far")
    story.tell(team, project)


def import_register(*, manager: User, project: Project) -> None:
    """The folder of CSV files, through the product's own import."""
    access = access_or_404(user=manager, project=project)
    plan = plan_import(access=access, file=REGISTER, name=REGISTER.name)
    if plan.problems:
        raise RuntimeError("\n".join(problem.words for problem in plan.problems))
    apply_plan(access=access, plan=plan, name=REGISTER.name)
