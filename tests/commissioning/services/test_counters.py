"""Counters: changed with the rows, named when they drift, counted anew, and right when many write at once."""

from __future__ import annotations

from datetime import timedelta
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone

from commissioning.models import CheckLine, Job, Stage, StageCounters, System, SystemCounters
from commissioning.rules.counting import NAMES_PLACE
from commissioning.selectors.counters_audit import differences
from commissioning.selectors.holds import MOVES, PHRASES, Move
from commissioning.services import alarms, dependencies, lines, projects, register_places, stages, supplies
from commissioning.services.counters import refresh_due
from commissioning.services.recounting import run_recount
from punchlist.services import items
from tests.commissioning.views.plant import accepted, ready_to_accept
from tests.support.counted import wrong_counters
from tests.support.world import World, make_system

pytestmark = pytest.mark.django_db


def counters(system: System) -> SystemCounters:
    return SystemCounters.objects.get(pk=system.pk)


def test_a_new_system_has_counters_at_once(small_world: World) -> None:
    kept = counters(small_world.system)
    assert (kept.tag, kept.site_code, kept.hand_kind) == ("GUB10", "QPS", "mechanical_completion")
    assert kept.move == MOVES.index(Move.START)
    assert StageCounters.objects.filter(system=small_world.system).count() == 4


def test_a_refused_change_leaves_them_as_they_were(small_world: World) -> None:
    before = counters(small_world.system)
    with pytest.raises(Exception, match="A, B or C"):
        items.raise_item(
            actor=small_world.manager, system=small_world.system, stage=small_world.stages[0], category="X", text="so"
        )
    assert counters(small_world.system).open_a == before.open_a == 0


def test_what_holds_another_system_moves_with_it(small_world: World) -> None:
    other = make_system(site=small_world.site, tag="BAT10")
    dependencies.add_dependency(
        actor=small_world.manager, stage=other.stages.get(order=1), requires=small_world.stages[0]
    )
    assert counters(other).move == MOVES.index(Move.WAITS)
    stage = accepted(small_world)
    assert counters(other).move == MOVES.index(Move.START)
    stages.withdraw_acceptance(actor=small_world.manager, stage=stage, reason="found wrong")
    assert counters(other).move == MOVES.index(Move.WAITS)
    assert wrong_counters([small_world.system, other]) == []


def test_names_that_lists_sort_by_follow_a_change(small_world: World) -> None:
    register_places.change_site(actor=small_world.manager, site=small_world.site, code="QP2")
    register_places.change_system(actor=small_world.manager, system=small_world.system, tag="GUB11")
    assert (counters(small_world.system).site_code, counters(small_world.system).tag) == ("QP2", "GUB11")


def test_a_tighter_rule_makes_every_system_due_and_the_job_counts_them(small_world: World) -> None:
    ready_to_accept(small_world)
    items.raise_item(
        actor=small_world.manager, system=small_world.system, stage=small_world.stages[0], category="B", text="loose"
    )
    projects.change_settings(actor=small_world.manager, project=small_world.project, changes={"b_blocks_stage": True})
    assert counters(small_world.system).recheck_at <= timezone.now()
    job = Job.objects.get(kind="recount")
    Job.objects.filter(pk=job.pk).update(state="running", lease_holder="here", attempts=1)
    job.refresh_from_db()
    assert run_recount(job) == {"systems": 1}
    assert wrong_counters([small_world.system]) == []


def test_what_changes_by_the_clock_is_asked_again_when_it_has_passed(
    small_world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    stage = ready_to_accept(small_world)
    line = stage.lines.last()
    line = lines.assign_party(actor=small_world.manager, line=line, point="witness", party="client")
    lines.give_notice(actor=small_world.engineer, line=line, planned_for=timezone.now() + timedelta(hours=2))
    assert counters(small_world.system).move == MOVES.index(Move.WAITS)
    assert refresh_due(project=small_world.project) == 0
    later = timezone.now() + timedelta(hours=3)
    monkeypatch.setattr(timezone, "now", lambda: later)
    assert refresh_due(project=small_world.project) == 1
    assert counters(small_world.system).move == MOVES.index(Move.ACCEPT)


def test_the_audit_names_what_drifted_and_rebuild_mends_it(small_world: World) -> None:
    out = StringIO()
    call_command("counters", "audit", stdout=out)
    assert "1 systems say what their rows say" in out.getvalue()
    SystemCounters.objects.update(open_a=7)
    CheckLine.objects.create(stage=small_world.stages[0], key="a", order=1, title="Went around the services")
    with pytest.raises(CommandError, match="counters are wrong"):
        call_command("counters", "audit", stdout=out)
    assert "GUB10: open_a is 7, counted 0" in out.getvalue()
    assert "GUB10 mechanical_completion: lines_total is 0, counted 1" in out.getvalue()
    call_command("counters", "rebuild", stdout=out)
    assert list(differences(System.objects.all())) == []


def test_energy_alarms_and_their_items_are_counted(small_world: World) -> None:
    stage = ready_to_accept(small_world)
    alarm = alarms.log_alarm(actor=small_world.engineer, stage=stage, text="fuse")
    assert counters(small_world.system).alarms_unexplained == 1
    items.raise_item(
        actor=small_world.engineer, system=small_world.system, stage=stage, category="A", text="fuse", alarm=alarm
    )
    supply = small_world.system.supplies.get()
    supplies.isolate_supply(actor=small_world.engineer, supply=supply, lock_number="L2")
    kept = counters(small_world.system)
    assert (kept.alarms_unexplained, kept.open_a, kept.supplies_total, kept.supplies_unknown) == (0, 1, 1, 0)
    assert wrong_counters([small_world.system]) == []


def test_the_place_is_kept_where_the_words_name_it() -> None:
    assert {code for code, phrases in PHRASES.items() if "{where}" in phrases[0]} == NAMES_PLACE


def test_raising_an_item_counts_one_system_in_a_few_queries(
    small_world: World, django_assert_max_num_queries: object
) -> None:
    stage: Stage = small_world.stages[0]
    with django_assert_max_num_queries(24):  # type: ignore[operator]
        items.raise_item(
            actor=small_world.manager, system=small_world.system, stage=stage, category="A", text="Strap missing"
        )
