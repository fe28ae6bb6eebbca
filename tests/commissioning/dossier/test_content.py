"""From the record to frozen content: what is on record is in it, as it was written, in a fixed number of queries."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from io import BytesIO
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from commissioning.dossier import content, content_file
from commissioning.dossier.canonical import FrozenContent, canonical_chunks, content_hash
from commissioning.dossier.content_missing import missing_now
from commissioning.dossier.content_readings import judged
from commissioning.dossier.content_schema import faults
from commissioning.dossier.content_words import upto
from commissioning.models import Acceptance, CheckLine, Stage, System
from commissioning.services import alarms, concessions, lines, readings
from commissioning.services.instruments import add_calibration
from commissioning.services.stages import start_stage
from commissioning.services.supplies import isolate_supply
from punchlist.services.items import raise_item
from punchlist.services.photos import add_photo
from tests.commissioning.dossier import sample
from tests.commissioning.views.plant import accepted, add_equipment, add_lines, energising, pass_lines
from tests.commissioning.views.run_plant import meter, supply_line
from tests.punchlist.making import picture
from tests.support.emptying import behind_the_back
from tests.support.world import PASSWORD, World, make_system

pytestmark = pytest.mark.django_db

ZONE = ZoneInfo("Europe/London")


def freeze(world: World, folder: Path, *, up_to: str = "", systems: list[System] | None = None) -> content.Frozen:
    """Frozen content of some systems, with the least of a head."""
    now = timezone.now().astimezone(ZONE).isoformat(timespec="seconds")
    head: dict[str, Any] = {
        "number": "OMB-D-0001",
        "revision": "1",
        "title": "Telecom supply",
        "issued_at": now,
        "requested_by": {"name": "Isolde Marrack", "role": "manager"},
        "url": "https://tracker.example/check/OMB-D-0001/1/",
        "project": {"code": world.project.code, "name": world.project.name, "client": "Ombrefell Water"},
        "scope": {"kind": "system", "name": "Telecom supply", "words": "System GUB10"},
        "revisions": [
            {"revision": "1", "issued_at": now, "state": "interim", "by": "Isolde Marrack", "reason": "First"}
        ],
    }
    ids = [system.pk for system in systems or [world.system]]
    wanted = content.Wanted(world.project, ids, head, ZONE, up_to)
    return content.freeze(wanted, folder, at=timezone.now())


def energised(world: World) -> Stage:
    """Energisation in hand, its lines passed: what a test adds behind them can be answered."""
    stage = energising(world)
    pass_lines(list(stage.lines.all()), by=world.engineer)
    return stage


def stage_of(system: Mapping[str, Any], kind: str) -> Any:
    return next(stage for stage in system["stages"] if stage["kind"] == kind)


def records_of(stage: Mapping[str, Any]) -> dict[str, Any]:
    return {record["key"]: record for record in stage["check_records"]}


def test_an_acceptance_is_frozen_with_its_hash_and_the_proof_that_it_holds(small_world: World, tmp_path: Path) -> None:
    stage = accepted(small_world)
    signed = Acceptance.objects.get(stage=stage)
    (system,) = freeze(small_world, tmp_path).content["systems"]
    frozen = stage_of(system, "mechanical_completion")
    (one,) = frozen["acceptances"]
    assert frozen["state"] == "accepted"
    assert (one["hash"], one["name"], one["role"]) == (signed.signed_hash, "Perpetua Lunn", "client")
    assert one["at"] == signed.signed_at.astimezone(ZONE).isoformat(timespec="seconds")
    assert "it is the record that was signed" in frozen["statement"]
    assert "Remark: Seen and agreed." in frozen["statement"]


def test_an_acceptance_whose_record_was_tampered_with_makes_the_dossier_interim(
    small_world: World, tmp_path: Path
) -> None:
    stage = accepted(small_world)
    signed = Acceptance.objects.get(stage=stage)
    with behind_the_back():
        Acceptance.objects.filter(pk=signed.pk).update(
            signed_content={**signed.signed_content, "stage": "energisation"}
        )
    frozen = freeze(small_world, tmp_path, up_to="mechanical_completion").content
    assert frozen["state"] == "interim"
    assert "NOT the record that was signed" in frozen["missing"][0]["text"]
    assert "NOT the record that was signed" in frozen["systems"][0]["stages"][0]["statement"]


def test_readings_keep_what_was_typed_and_what_superseded_them(small_world: World, tmp_path: Path) -> None:
    stage = energised(small_world)
    instrument = meter(small_world)
    line = supply_line(stage, key="supply", order=11, title="Supply at the incomer")
    for typed in ("206.9", "231.40"):
        readings.record_reading(
            actor=small_world.engineer, line=line, typed={"measured": typed}, instruments={"measured": instrument}
        )
    frozen = freeze(small_world, tmp_path).content
    first, second = records_of(stage_of(frozen["systems"][0], "energisation"))["supply"]["readings"]
    assert [(one["name"].lower(), one["text"]) for one in second["inputs"] if one["text"] == "231.40"]
    assert (first["ref"], second["ref"]) == ("GUB10-R001", "GUB10-R002")
    assert first["superseded"] == {"by_ref": "GUB10-R002", "reason": "measured again"}
    assert "superseded" not in second
    # independent: 100·(231.40 − 230)/230 = 0.6087 %, limits ±10 %
    assert second["value"] == pytest.approx(0.6087, abs=5e-5)
    assert (second["limits"]["lower_text"], second["limits"]["upper_text"]) == ("−10", "10")
    assert (second["verdict"], second["unit"], second["instrument"]) == ("accept", "%", instrument.serial_number)
    assert second["working"][0]["substituted"]
    (used,) = frozen["instruments"]
    assert (used["serial"], used["in_calibration"]) == (instrument.serial_number, True)
    assert {one["calculation"] for one in frozen["sources"]} == {"ac_supply_tolerance"}


def test_concessions_proofs_values_and_earlier_results_stand_on_their_lines(small_world: World, tmp_path: Path) -> None:
    accepted(small_world)
    stage = small_world.stage("pre_energisation")
    dead = add_lines(stage, 1)[0]
    CheckLine.objects.filter(pk=dead.pk).update(injects_voltage=True, key="dead")
    start_stage(actor=small_world.engineer, stage=stage)
    dead.refresh_from_db()
    lines.prove_dead(
        actor=small_world.engineer,
        line=dead,
        point_of_work="rectifier input",
        detector="VD-07",
        proved_before=True,
        proved_after=True,
    )
    for outcome, remark in (("failed", "Screw loose."), ("passed", "Tightened.")):
        lines.record_result(actor=small_world.engineer, line=dead, outcome=outcome, remark=remark)
    failed = supply_line(stage, key="low", order=12, title="Supply at the board")
    readings.record_reading(actor=small_world.engineer, line=failed, typed={"measured": "200"})
    failed.refresh_from_db()
    concession = concessions.sign_concession(
        signed_by=small_world.manager, line=failed, reason="Under a test load.", password=PASSWORD
    )
    frozen = stage_of(freeze(small_world, tmp_path).content["systems"][0], "pre_energisation")
    record = records_of(frozen)["dead"]
    assert record["proof_of_dead"]["detector"] == "VD-07 (rectifier input)"
    assert record["result"] == "passed"
    assert record["reason"].startswith("Tightened. Earlier, ")
    assert record["reason"].endswith("Tobin Ashgrove: failed, Screw loose.")
    (given,) = frozen["concessions"]
    assert (given["hash"], given["reason"]) == (concession.signed_hash, "Under a test load.")
    assert given["what"] == "Supply at the board, reading GUB10-R001"


def test_alarms_punch_items_and_photos_are_frozen(small_world: World, tmp_path: Path) -> None:
    stage = energising(small_world)
    alarm = alarms.log_alarm(actor=small_world.engineer, stage=stage, text="EARTH FAULT")
    alarms.decide_alarm(
        actor=small_world.engineer, alarm=alarm, outcome="explained", explanation="The monitor was off."
    )
    item = raise_item(
        actor=small_world.client, system=small_world.system, stage=stage, category="C", text="Lid missing"
    )
    photo = add_photo(actor=small_world.client, item=item, file=picture(), caption="No lid")
    frozen = freeze(small_world, tmp_path)
    (system,) = frozen.content["systems"]
    (seen,) = system["alarms"]
    assert (seen["alarm"], seen["state"]) == ("EARTH FAULT", "explained")
    assert seen["ending"].startswith("The monitor was off.")
    (shown,) = system["photos"]
    assert (shown["sha256"], shown["caption"]) == (photo.sha256, "No lid")
    assert frozen.files == {photo.sha256: photo.file.name}
    texts = [row["text"] for group in system["sections"]["punch_list"]["groups"] for row in group["rows"]]
    assert texts == ["Lid missing"]


def test_supplies_are_told_in_the_words_of_the_product(small_world: World, tmp_path: Path) -> None:
    accepted(small_world)
    (system,) = freeze(small_world, tmp_path).content["systems"]
    assert system["supply_state"] == "recorded isolated - prove dead at the point of work"
    (supply,) = system["supplies"]
    assert (supply["state"], supply["lock_number"]) == ("recorded isolated", "L-204")
    (entry,) = system["supply_log"]
    assert (entry["what"], entry["by"]) == ("recorded isolated", "Tobin Ashgrove")
    bare = make_system(site=small_world.site, tag="BUA10")
    (other,) = freeze(small_world, tmp_path / "bare", systems=[bare]).content["systems"]
    assert other["supply_state"] == "not recorded - treat as LIVE"


def test_what_is_missing_is_what_the_gates_say(small_world: World, tmp_path: Path) -> None:
    stage = energising(small_world)
    frozen = freeze(small_world, tmp_path).content
    rows = [(row["where"], row["text"]) for row in frozen["missing"]]
    assert rows == [
        (row["where"], row["text"]) for row in missing_now([small_world.system.pk], upto(""), timezone.now(), ZONE)
    ]
    assert ("Battery-connected", "Not started.") in rows
    assert any(where == "Energisation" and "Terminals tight, row 1" in text for where, text in rows)
    assert frozen["state"] == "interim"
    dead = freeze(small_world, tmp_path / "dead", up_to="pre_energisation").content
    assert (dead["state"], dead["missing"]) == ("complete", [])
    assert [one["kind"] for one in dead["systems"][0]["stages"]] == ["mechanical_completion", "pre_energisation"]
    assert stage.kind == "energisation"


def test_a_certificate_that_cannot_be_opened_is_named_and_left_out(small_world: World, tmp_path: Path) -> None:
    stage = energised(small_world)
    instrument = meter(small_world)
    sound, broken = sample.certificate("MM-1"), b"%PDF-1.4 broken"
    today = timezone.now().date()
    for number, data in (("C-1", sound), ("C-2", broken)):
        add_calibration(
            actor=small_world.manager, instrument=instrument, calibrated_on=today, due_on=today,
            certificate_number=number, certificate=data,
        )  # fmt: skip
    line = supply_line(stage, key="supply", order=11, title="Supply")
    readings.record_reading(
        actor=small_world.engineer, line=line, typed={"measured": "230"}, instruments={"measured": instrument}
    )
    frozen = freeze(small_world, tmp_path)
    (used,) = frozen.content["instruments"]
    assert [one["sha256"] for one in used["certificates"]] == [hashlib.sha256(sound).hexdigest()]
    assert "cannot be opened" in used["certificate_number"]
    assert set(frozen.files) == {hashlib.sha256(sound).hexdigest()}
    assert not [row for row in frozen.content["missing"] if row["where"].startswith("Instrument")]


def test_use_that_no_certificate_covers_is_missing_and_makes_the_dossier_interim(
    small_world: World, tmp_path: Path
) -> None:
    stage, instrument = energised(small_world), meter(small_world)
    line = supply_line(stage, key="supply", order=11, title="Supply")
    measure = {"line": line, "typed": {"measured": "230"}, "instruments": {"measured": instrument}}
    readings.record_reading(actor=small_world.engineer, **measure)
    today = timezone.now().date()
    gap = {
        "system": str(small_world.system.pk),
        "tag": "GUB10",
        "where": f"Instrument {instrument.serial_number}",
        "text": f"No calibration certificate that can be opened covers its use on {today.isoformat()}.",
    }

    def gaps(name: str, up_to: str = "") -> list[Any]:
        frozen = freeze(small_world, tmp_path / name, up_to=up_to).content
        now = missing_now([small_world.system.pk], upto(up_to), timezone.now(), ZONE)
        assert frozen["missing"] == list(now)
        assert (frozen["state"] == "interim") == bool(frozen["missing"])
        return [row for row in frozen["missing"] if row["where"].startswith("Instrument")]

    assert gaps("bare") == [gap]
    assert gaps("dead", up_to="pre_energisation") == []
    for data in (b"%PDF-1.4 broken", sample.certificate("MM-1")):
        add_calibration(
            actor=small_world.manager, instrument=instrument, calibrated_on=today, due_on=today, certificate=data
        )
        assert gaps(data[:8].hex()) == ([gap] if b"broken" in data else [])


def test_a_dossier_up_to_a_stage_leaves_out_what_belongs_to_later_ones(small_world: World, tmp_path: Path) -> None:
    later = energising(small_world)
    supply = small_world.system.supplies.get()
    isolate_supply(actor=small_world.engineer, supply=supply, lock_number="L-2")
    raised = {"actor": small_world.engineer, "system": small_world.system, "category": "C"}
    early = small_world.stage("pre_energisation")
    items = [raise_item(**raised, stage=early, text="Label on way 7 faded")]
    items.append(raise_item(**raised, stage=later, text="Fan rattles"))
    for item, colour in zip(items, ("red", "blue"), strict=True):
        add_photo(actor=small_world.engineer, item=item, file=picture(colour=colour))

    def told(up_to: str) -> tuple[list[str], list[str], int, int]:
        (system,) = freeze(small_world, tmp_path / f"to {up_to}", up_to=up_to).content["systems"]
        rows = [row for group in system["sections"]["punch_list"]["groups"] for row in group["rows"]]
        log = [row["lock_number"] for row in system["supply_log"] if row["lock_number"]]
        return log, [row["text"] for row in rows], len(system["photos"]), len(system["supplies"])

    assert told("pre_energisation") == (["L-204"], ["Label on way 7 faded"], 1, 1)
    assert told("") == (["L-204", "L-2"], ["Label on way 7 faded", "Fan rattles"], 2, 1)


def test_queries_do_not_grow_with_what_is_on_record(small_world: World, tmp_path: Path) -> None:
    stage = energised(small_world)
    add_equipment(small_world.system, "GUB10-T1", nameplate={"rated_current_a": 40})

    def counted(systems: list[System], name: str) -> int:
        with CaptureQueriesContext(
            connection,
        ) as queries:
            freeze(small_world, tmp_path / name, systems=systems)
        return len(queries)

    supply_line(stage, key="first", order=20, title="Supply")
    readings.record_reading(
        actor=small_world.engineer, line=CheckLine.objects.get(key="first"), typed={"measured": "230"}
    )
    one = counted([small_world.system], "one")
    others = [make_system(site=small_world.site, tag=f"BUA{n}") for n in range(10, 16)]
    for place, system in enumerate(others):
        line = supply_line(system.stages.first(), key=f"more{place}", order=1, title="Supply")
        assert line
    more = counted([small_world.system, *others], "more")
    assert more <= one
    assert one < 60


def test_the_frozen_content_of_everything_follows_the_published_schema(small_world: World, tmp_path: Path) -> None:
    energising(small_world)
    assert faults(freeze(small_world, tmp_path).content) == []


def test_the_judged_value_is_the_one_that_gave_the_verdict() -> None:
    result: dict[str, Any] = {
        "outputs": {"a": {"value": 5.0}, "b": {"value": 9.0}},
        "limits": [{"output": "a", "lower": 0, "upper": 10}, {"output": "b", "lower": 0, "upper": 8}],
    }
    assert judged(result, 1.0)[0] == "b"
    assert judged({**result, "verdict": "accept"}, 1.0)[0] == "a"
    assert judged({"outputs": {"words": {"value": "x"}, "n": {"value": 3}}}, 1.0)[0] == "n"
    assert judged({}, 1.0) == ("", {}, {})


TEXT = st.text(max_size=40).filter(lambda text: text.isprintable())
VALUES = st.recursive(
    st.none() | st.booleans() | st.integers(-(10**6), 10**6) | st.floats(allow_nan=False, allow_infinity=False) | TEXT,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(TEXT, inner, max_size=4),
    max_leaves=20,
)


@given(st.dictionaries(TEXT.filter(lambda key: key not in ("systems", "__systems__")), VALUES, max_size=5),
       st.lists(VALUES, max_size=4), st.integers(1, 40))  # fmt: skip
def test_a_content_file_is_read_back_whatever_its_blocks(
    tmp_path_factory: pytest.TempPathFactory, head: dict[str, Any], systems: list[Any], block: int
) -> None:
    folder = tmp_path_factory.mktemp("content")
    stored = FrozenContent.store(folder / "one", head, iter(systems))
    data = b"".join(canonical_chunks(stored))
    usual, content_file.BLOCK = content_file.BLOCK, block
    try:
        again = content_file.load(BytesIO(data), folder / "two")
    finally:
        content_file.BLOCK = usual
    assert content_hash(again) == hashlib.sha256(data).hexdigest()
    assert list(again["systems"]) == list(stored["systems"])


def test_a_file_that_ends_early_is_refused(tmp_path: Path) -> None:
    data = b"".join(canonical_chunks(sample.content(1)))
    for end in (1, 40, len(data) // 2, len(data) - 1):
        with pytest.raises(content_file.NotCanonical):
            content_file.load(BytesIO(data[:end]), tmp_path / str(end))
