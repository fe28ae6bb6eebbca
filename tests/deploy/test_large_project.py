"""A large project from a seed, here a small one: the same each time, and such as the services would have written it."""

from __future__ import annotations

from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from commissioning.finding import index
from commissioning.models import Acceptance, PermissionToEnergise, Project, Reading, Site, Stage, System
from commissioning.rules.gate import acceptance_blockers
from commissioning.selectors.counters_audit import differences
from commissioning.selectors.facts import load_facts
from commissioning.services.signing import signature_holds
from punchlist.models import PunchItem
from tests.support.counted import wrong_counters

pytestmark = pytest.mark.django_db

SIZE = ["--sites", "4", "--systems", "24", "--items", "300", "--readings", "700"]


def made(code: str, seed: int = 3) -> list[object]:
    call_command("large_project", "--code", code, "--seed", str(seed), *SIZE, stdout=StringIO())
    project = Project.objects.get(code=code)
    return [
        list(Site.objects.filter(project=project).values_list("name", flat=True)),
        list(System.objects.filter(project=project).values_list("tag", "kind")),
        list(Stage.objects.filter(system__project=project).values_list("system__tag", "order", "state")),
        list(PunchItem.objects.filter(project=project).order_by("number").values_list("category", "state", "text")),
        sorted(Reading.objects.filter(project=project).values_list("system__tag", "verdict", "inputs__0__typed")),
    ]


def test_one_seed_makes_one_project_and_its_record_holds_together() -> None:
    first = made("LGA")
    assert made("LGB") == first
    assert made("LGC", seed=4) != first
    systems = System.objects.filter(project__code="LGA")
    assert Stage.objects.filter(system__in=systems).count() == 96
    assert Reading.objects.filter(system__in=systems).count() == 700
    assert {"accept", "reject"} <= set(Reading.objects.filter(system__in=systems).values_list("verdict", flat=True))
    assert PunchItem.objects.filter(system__in=systems, state="closed").count() > 200
    assert list(differences(systems)) == []
    assert wrong_counters(systems) == []
    assert index.differences() == 0
    for signed in (*Acceptance.objects.all(), *PermissionToEnergise.objects.all()):
        assert signature_holds(signed)
    # Nothing stands against what is accepted but that it is accepted already, and energised since.
    for facts in load_facts(system_ids=list(systems.values_list("pk", flat=True))).values():
        if facts.state == "accepted":
            assert {blocker.code for blocker in acceptance_blockers(facts)} <= {
                "not_started",
                "already_accepted",
                "supply_not_isolated",
            }
    with pytest.raises(CommandError, match="LGA already"):
        call_command("large_project", "--code", "LGA", *SIZE)
