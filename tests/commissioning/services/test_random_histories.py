"""Random histories by several people: no stage is ever accepted past a standing blocker, no audit entry is ever lost.

The machine acts through services only, as the pages, the API, the import and the phone do. Most of what it tries is
refused; that is the point. After each step the gate's rules are asked again about every accepted stage, and the audit
chain is walked.
"""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule, run_state_machine_as_test

from commissioning.errors import ServiceError
from commissioning.models import (
    Acceptance,
    AlarmSighting,
    AuditEntry,
    CheckLine,
    PermissionToEnergise,
    SignalPoint,
    SignalProof,
    Stage,
    StageDependency,
    SupplyKind,
    SupplyPoint,
    System,
)
from commissioning.rules.gate import acceptance_blockers
from commissioning.selectors.counters_audit import differences
from commissioning.selectors.facts import load_facts
from commissioning.services import alarms, concessions, lines, readings, signals, stages, supplies
from commissioning.services.audit import first_broken_link
from commissioning.services.counters import recount
from commissioning.services.signing import signature_holds
from punchlist.models import PunchItem
from punchlist.services import items
from tests.support.counted import wrong_counters
from tests.support.world import PASSWORD, World, make_project, make_system

WHO = st.sampled_from(["manager", "engineer", "second_engineer", "client", "stranger"])
PLACE = st.integers(min_value=0, max_value=30)


def standing_rows(stage: Stage) -> list[str]:
    """What the rows themselves say against an accepted stage, read without the gate's own code."""
    system, found = stage.system, []
    for line in stage.lines.all():
        reading = line.readings.filter(superseded_at__isnull=True).first()
        conceded = line.concessions.filter(withdrawn_at__isnull=True, reading=reading).exists()
        if line.state == "open" or (line.state == "failed" and not conceded):
            found.append(f"line {line.key} {line.state}")
        measured = line.calculation and line.state != "not_applicable" and not conceded
        if measured and (reading is None or not reading.verdict.startswith("accept")):
            found.append(f"reading on {line.key}")
        if (
            line.point == "hold"
            and line.state != "not_applicable"
            and not line.witnessings.filter(role="client").exists()
        ):
            found.append(f"hold {line.key}")
    categories = ["A", "B"] if stage.order == 3 else ["A"]
    rows = system.punch_items.exclude(state="closed").filter(category__in=categories)
    found += [f"item {row.number}" for row in rows if row.category == "B" or row.stage.order <= stage.order]
    states = set(system.supplies.values_list("state", flat=True))
    found += [f"supply {state}" for state in states - ({"isolated"} if stage.order < 3 else {"isolated", "released"})]
    seen = system.alarms.filter(stage__order__lte=stage.order)
    found += [f"alarm {row.text}" for row in seen.filter(outcome="unexplained")]
    found += [f"alarm {row.text}" for row in seen.filter(outcome="genuine", punch_items__isnull=True)]
    due = seen.filter(outcome="expected", expected_until__order__lte=stage.order, cleared_at__isnull=True)
    found += [f"alarm due {row.text}" for row in due]
    for point in system.signals.filter(stage_kind=stage.kind):
        if not point.proofs.filter(
            superseded_at__isnull=True, seen_at__isnull=False, restored_at__isnull=False
        ).exists():
            found.append(f"signal {point.tag}")
    return found


class Histories(RuleBasedStateMachine):
    """Two small systems, one waiting for the other, and five people who try everything."""

    world: World
    accepted = 0  # over all histories: a run that never accepts anything shows nothing

    @initialize(advanced=st.integers(min_value=0, max_value=2))
    def begin(self, advanced: int) -> None:
        """Some histories begin deep: with a stage or two accepted already."""
        self.world = make_project(kind="dc_board", tag="GUA10")
        self.other = make_system(site=self.world.site, tag="GUA20", kind="dc_board")
        self.systems = [self.world.system, self.other]
        for system in self.systems:
            SupplyPoint.objects.create(system=system, tag="Q1", kind=SupplyKind.INCOMER)
            SignalPoint.objects.create(system=system, tag="K1", description="common alarm")
            for stage in system.stages.all():
                CheckLine.objects.create(stage=stage, key="a", order=1, title="Inspect", work="dead")
                CheckLine.objects.create(
                    stage=stage,
                    key="b",
                    order=2,
                    title="Measure",
                    work="either",
                    calculation="ac_supply_tolerance",
                    inputs={"measured": {"kind": "measured", "unit": "V"}, "nominal": {"kind": "value", "value": 230}},
                )
                CheckLine.objects.create(
                    stage=stage, key="c", order=3, title="Hold", work="either", point="hold", party="client"
                )
        StageDependency.objects.create(stage=self.stage(1, 2), requires=self.stage(0, 0))
        recount([system.pk for system in self.systems])  # those rows went around the services
        self.acts = 0
        for place in range(advanced):
            self.do_a_whole_stage(0, place, "client")

    def stage(self, system: int, place: int) -> object:
        return list(self.systems[system % 2].stages.order_by("order"))[place % 3]

    def person(self, who: str) -> object:
        return getattr(self.world, who)

    def line(self, system: int, place: int) -> CheckLine:
        found = list(CheckLine.objects.filter(stage__system=self.systems[system % 2]).order_by("stage__order", "order"))
        return found[place % len(found)]

    def attempt(self, act: object, entries: int = 1) -> None:
        """Act; a refusal changes nothing at all, a success leaves at least `entries` in the audit."""
        before = AuditEntry.objects.filter(project=self.world.project).count()
        try:
            act()  # type: ignore[operator]
        except ServiceError:
            assert AuditEntry.objects.filter(project=self.world.project).count() == before
        else:
            self.acts += entries
            assert AuditEntry.objects.filter(project=self.world.project).count() >= before + entries

    @rule(who=WHO, system=PLACE, place=PLACE)
    def start(self, who: str, system: int, place: int) -> None:
        stage = self.stage(system, place)
        fresh = stage.state == "not_started"
        self.attempt(lambda: stages.start_stage(actor=self.person(who), stage=stage), entries=int(fresh))

    @rule(system=PLACE, place=PLACE, signer=st.sampled_from(["client", "manager", "engineer", "nobody"]))
    def whole_stage(self, system: int, place: int, signer: str) -> None:
        self.do_a_whole_stage(system, place, signer)

    def do_a_whole_stage(self, system: int, place: int, signer: str) -> None:
        """A bold step, so that histories reach deep states: everything that one stage needs, in order."""
        stage = self.stage(system, place)
        world = self.world
        supply = stage.system.supplies.get()
        if place % 3 < 2:
            self.attempt(lambda: supplies.isolate_supply(actor=world.engineer, supply=supply, lock_number="L1"))
        self.attempt(lambda: stages.start_stage(actor=world.engineer, stage=stage), entries=0)
        for line in stage.lines.order_by("order"):
            if line.calculation:
                typed = {"measured": "231"}
                self.attempt(
                    lambda line=line, typed=typed: readings.record_reading(actor=world.engineer, line=line, typed=typed)
                )
            else:
                self.attempt(lambda line=line: lines.record_result(actor=world.engineer, line=line, outcome="passed"))
            if line.point == "hold":
                self.attempt(lambda line=line: lines.witness_line(actor=world.client, line=line))
        if signer != "nobody":
            self.sign(signer, stage)

    @rule(who=WHO, system=PLACE, place=PLACE, outcome=st.sampled_from(["passed", "failed", "not_applicable"]))
    def result(self, who: str, system: int, place: int, outcome: str) -> None:
        line = self.line(system, place)
        self.attempt(lambda: lines.record_result(actor=self.person(who), line=line, outcome=outcome, remark="so found"))

    @rule(who=WHO, system=PLACE, place=PLACE, volts=st.sampled_from(["230", "206.9", "253", "nonsense"]))
    def reading(self, who: str, system: int, place: int, volts: str) -> None:
        line = self.line(system, place)
        self.attempt(lambda: readings.record_reading(actor=self.person(who), line=line, typed={"measured": volts}))

    @rule(who=WHO, system=PLACE, place=PLACE)
    def reopen(self, who: str, system: int, place: int) -> None:
        self.attempt(lambda: lines.reopen_line(actor=self.person(who), line=self.line(system, place), reason="again"))

    @rule(who=WHO, system=PLACE, place=PLACE)
    def concede(self, who: str, system: int, place: int) -> None:
        self.attempt(
            lambda: concessions.sign_concession(
                signed_by=self.person(who), line=self.line(system, place), reason="agreed", password=PASSWORD
            )
        )

    @rule(who=WHO, system=PLACE, place=PLACE)
    def witness(self, who: str, system: int, place: int) -> None:
        self.attempt(lambda: lines.witness_line(actor=self.person(who), line=self.line(system, place)))

    @rule(who=WHO, system=PLACE)
    def isolate(self, who: str, system: int) -> None:
        supply = self.systems[system % 2].supplies.get()
        self.attempt(lambda: supplies.isolate_supply(actor=self.person(who), supply=supply, lock_number="L1"))

    @rule(who=WHO, system=PLACE, hours=st.sampled_from([-1, 1]))
    def permit_and_release(self, who: str, system: int, hours: int) -> None:
        stage = self.stage(system, 2)
        supply = stage.system.supplies.get()
        self.attempt(
            lambda: supplies.sign_permission(
                signed_by=self.person(who),
                stage=stage,
                supplies=[supply],
                password=PASSWORD,
                valid_until=timezone.now() + timedelta(hours=hours),
            )
        )
        permission = PermissionToEnergise.objects.filter(system=stage.system).order_by("?").first()
        if permission:
            self.attempt(
                lambda: supplies.release_supply(actor=self.world.engineer, supply=supply, permission=permission)
            )

    @rule(who=WHO, system=PLACE, place=PLACE, category=st.sampled_from("ABC"))
    def snag(self, who: str, system: int, place: int, category: str) -> None:
        stage = self.stage(system, place)
        self.attempt(
            lambda: items.raise_item(
                actor=self.person(who), system=stage.system, stage=stage, category=category, text="label missing"
            )
        )

    @rule(who=WHO, place=PLACE, category=st.sampled_from("ABC"))
    def recategorise(self, who: str, place: int, category: str) -> None:
        found = list(PunchItem.objects.filter(project=self.world.project).order_by("number"))
        if found:
            item = found[place % len(found)]
            act = items.change_item
            self.attempt(lambda: act(actor=self.person(who), item=item, category=category, reason="seen"), entries=0)

    @rule(who=WHO, step=st.sampled_from(["rectify_item", "close_item"]), place=PLACE)
    def step_item(self, who: str, step: str, place: int) -> None:
        found = list(PunchItem.objects.filter(project=self.world.project).order_by("number"))
        if found:
            item = found[place % len(found)]
            self.attempt(lambda: getattr(items, step)(actor=self.person(who), item=item, remark="seen"))

    @rule(who=WHO, system=PLACE, place=PLACE)
    def alarm(self, who: str, system: int, place: int) -> None:
        self.attempt(lambda: alarms.log_alarm(actor=self.person(who), stage=self.stage(system, place), text="fuse"))

    @rule(who=WHO, place=PLACE, outcome=st.sampled_from(["explained", "expected", "genuine"]))
    def decide(self, who: str, place: int, outcome: str) -> None:
        found = list(AlarmSighting.objects.filter(system__in=self.systems).order_by("seen_at"))
        if found:
            alarm = found[place % len(found)]
            self.attempt(
                lambda: alarms.decide_alarm(
                    actor=self.person(who),
                    alarm=alarm,
                    outcome=outcome,
                    explanation="words",
                    expected_until=alarm.system.stages.order_by("order").last(),
                )
            )

    @rule(who=WHO, system=PLACE)
    def prove_signal(self, who: str, system: int) -> None:
        point = self.systems[system % 2].signals.get()
        self.attempt(lambda: signals.force_signal(actor=self.world.engineer, point=point))
        proof = SignalProof.objects.filter(point=point, superseded_at__isnull=True).first()
        if proof:
            done = bool(proof.seen_at)
            self.attempt(lambda: signals.see_signal(actor=self.person(who), proof=proof), entries=int(not done))
            self.attempt(lambda: signals.restore_signal(actor=self.world.engineer, proof=proof), entries=0)

    @rule(who=WHO, system=PLACE, place=PLACE)
    def accept(self, who: str, system: int, place: int) -> None:
        self.sign(who, self.stage(system, place))

    def sign(self, who: str, stage: object) -> None:
        def act() -> None:
            acceptance = stages.accept_stage(stage=stage, signed_by=self.person(who), password=PASSWORD)
            # Asked again at the moment of signing: nothing stood, and the signer recorded none of it.
            facts = load_facts(system_ids=[stage.system_id], now=acceptance.signed_at)[stage.pk]
            assert acceptance_blockers(facts) == ()
            assert standing_rows(stage) == []
            assert str(acceptance.signed_by_id) not in facts.workers
            assert acceptance.signed_by in (self.world.manager, self.world.client)
            Histories.accepted += 1

        self.attempt(act)

    @rule(who=WHO, system=PLACE, place=PLACE)
    def withdraw(self, who: str, system: int, place: int) -> None:
        stage = self.stage(system, place)
        self.attempt(lambda: stages.withdraw_acceptance(actor=self.person(who), stage=stage, reason="found wrong"))

    @invariant()
    def accepted_stages_rest_on_accepted_stages(self) -> None:
        if not hasattr(self, "systems"):
            return
        for facts in load_facts(system_ids=[system.pk for system in self.systems]).values():
            if facts.state == "accepted":
                assert facts.previous is None or facts.previous.accepted
                assert all(needed.accepted for needed in facts.dependencies)
                assert all(line.state != "open" for line in facts.lines)

    @invariant()
    def each_accepted_stage_has_one_signature_that_holds(self) -> None:
        if not hasattr(self, "systems"):
            return
        for system in self.systems:
            for stage in system.stages.all():
                standing = list(Acceptance.objects.filter(stage=stage, withdrawn_at__isnull=True))
                assert len(standing) == (1 if stage.state == "accepted" else 0)
                assert all(signature_holds(acceptance) for acceptance in standing)

    def teardown(self) -> None:
        """However the history went, the counters say what the rows and the gate say."""
        if hasattr(self, "systems"):
            assert wrong_counters(self.systems) == []
            assert list(differences(System.objects.filter(pk__in=[system.pk for system in self.systems]))) == []

    @invariant()
    def no_audit_entry_is_lost(self) -> None:
        if not hasattr(self, "systems"):
            return
        assert first_broken_link(self.world.project) is None
        assert AuditEntry.objects.filter(project=self.world.project).count() >= self.acts


@pytest.mark.django_db
def test_no_random_history_passes_a_standing_blocker_or_loses_an_audit_entry() -> None:
    Histories.accepted = 0
    run_state_machine_as_test(
        Histories,
        settings=settings(
            max_examples=12, stateful_step_count=30, deadline=None, suppress_health_check=list(HealthCheck)
        ),
    )
    assert Histories.accepted > 0
