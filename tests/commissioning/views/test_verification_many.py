"""A run with many changes: narrowed, paged, decided together with one remark."""

from __future__ import annotations

import pytest

from commissioning.models import VerificationChange, VerificationRun
from commissioning.services import verification
from commissioning.services.readings import record_reading
from commissioning.views.verification import differences
from tests.commissioning.views.reading import address, links, main_words, signed_in
from tests.commissioning.views.run_plant import SUPPLY_INPUTS, started, supply_line
from tests.support.world import World

pytestmark = pytest.mark.django_db


@pytest.fixture
def run(small_world: World) -> VerificationRun:
    """Two readings that turn and one whose limits only moved, after the tolerance became 5 %."""
    stage = started(small_world)
    for volts in ("225", "207.5", "208"):
        line = supply_line(stage, title=f"Supply at {volts} V")
        record_reading(actor=small_world.engineer, line=line, typed={"measured": volts})
        line.inputs = {**SUPPLY_INPUTS, "tolerance": {"kind": "value", "value": 5}}
        line.save()
    made = verification.ask_verification(
        actor=small_world.engineer, project=small_world.project, reason="Tolerance is 5 %"
    )
    VerificationChange.objects.bulk_create(
        verification.changed_readings(run=made, readings=list(verification.readings_in_scope(made)))
    )
    made.job.state = "done"
    made.job.save()
    return made


def test_the_list_is_narrowed_and_those_that_turned_come_first(small_world: World, run: VerificationRun) -> None:
    page = address(small_world.project.code, "verification", run.pk)
    browser = signed_in(small_world.client)
    words = main_words(browser.get(page))
    assert "all 3 verdict changed 2 only numbers changed 1" in words
    assert words.index("Supply at 208 V") < words.index("Supply at 225 V") > words.index("Supply at 207.5 V")
    narrowed = main_words(browser.get(page, {"kind": "numbers"}))
    assert "Supply at 225 V" in narrowed
    assert "Supply at 208 V" not in narrowed
    assert "Supply at 208 V" in main_words(browser.get(page, {"kind": "nonsense"}))


def test_a_narrowed_list_keeps_its_filter_over_its_pages(
    small_world: World, run: VerificationRun, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("commissioning.views.verification.PAGE_SIZE", 1)
    answer = signed_in(small_world.client).get(
        address(small_world.project.code, "verification", run.pk), {"kind": "verdict"}
    )
    assert "1 to 1 of 2 changes" in main_words(answer)
    assert "?kind=verdict&page=2" in links(answer)


def test_those_ticked_are_decided_with_one_remark(small_world: World, run: VerificationRun) -> None:
    path = address(small_world.project.code, "verification", run.pk, "decide")
    chosen = [str(pk) for pk in run.changes.filter(verdict="reject").values_list("pk", flat=True)]
    browser = signed_in(small_world.manager)
    sent = {"change": chosen, "decision": "keep", "remark": ""}
    refused = browser.post(path, sent)
    assert refused.status_code == 422
    assert "Say why the old result is kept" in main_words(refused)
    assert refused.content.decode().count('form="many" checked') == 2
    assert browser.post(path, {**sent, "remark": "mistyped <5>"}).status_code == 302
    assert set(run.changes.filter(confirmed=False).values_list("remark", flat=True)) == {"mistyped <5>"}
    assert run.changes.filter(decided_at__isnull=True).count() == 1


def test_all_that_wait_are_decided_and_nothing_that_was_not_shown(small_world: World, run: VerificationRun) -> None:
    path = address(small_world.project.code, "verification", run.pk, "decide")
    browser = signed_in(small_world.manager)
    sent = {"everything": "1", "expected": "2", "decision": "confirm"}
    refused = browser.post(path, sent)
    assert refused.status_code == 422
    assert "3 wait now, and 2 were shown" in main_words(refused)
    answer = browser.post(path, {**sent, "expected": "2", "kind": "verdict"}, follow=True)
    assert "Decided on 2 readings: the new result stands now." in main_words(answer)
    assert [change.verdict for change in run.changes.filter(decided_at__isnull=True)] == ["accept"]


@pytest.mark.parametrize("sent", [{"decision": "confirm"}, {"decision": "confirm", "change": "no-key"}, {}])
def test_nothing_ticked_decides_nothing(small_world: World, run: VerificationRun, sent: dict[str, str]) -> None:
    path = address(small_world.project.code, "verification", run.pk, "decide")
    assert signed_in(small_world.manager).post(path, sent).status_code == 422
    assert signed_in(small_world.engineer).post(path, {**sent, "everything": "1"}).status_code == 422
    assert not run.changes.filter(decided_at__isnull=False).exists()


def test_a_change_in_a_far_digit_is_shown_too() -> None:
    old, new = ({"outputs": {"deviation": {"value": value, "unit": "%"}}} for value in (1.00001, 1.00002))
    (row,) = differences(old, {**new, "calculation": "ac_supply_tolerance"})
    assert (row["old"], row["new"]) == ("1.00001 %", "1.00002 %")
    assert differences(new, {**new, "calculation": "ac_supply_tolerance"}) == []
