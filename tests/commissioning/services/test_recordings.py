"""Test recordings from upload to reading: what is read, what is refused, and that nothing is lost."""

from __future__ import annotations

import json
import zipfile
import zlib
from io import BytesIO
from pathlib import Path
from uuid import UUID

import pytest
from django.core.files.storage import default_storage
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from commissioning.dossier.content_schema import _check, schema
from commissioning.errors import Conflict, InvalidInput, NotAllowed, ServiceError
from commissioning.models import AuditEntry, ColumnMapping, Job, Reading, TestRecording, VerificationChange
from commissioning.services import job_runs, recording_files, recordings, verification
from tests.support.log_lines import INPUTS, as_csv, as_xlsx, confirm, discharge_line, sound_test, upload
from tests.support.world import World

pytestmark = pytest.mark.django_db


@pytest.fixture
def line(small_world: World):
    return discharge_line(small_world)


def test_a_log_with_decimal_commas_becomes_a_reading_on_its_line(small_world: World, line) -> None:
    content = as_csv(sound_test().frame(), delimiter=";", comma=True)
    recording = upload(small_world, content, name="C:\\logs\\Test 4.csv", line=line)
    assert (recording.state, recording.raw_name) == ("to_confirm", "Test 4.csv")
    assert len(recording.column_map["cells"]) == 24
    recording = confirm(small_world, recording)
    assert (recording.state, recording.error) == ("read", "")
    # independent: the synthetic string is made to pass 24 × 1.80 V after exactly 4 h at 50 A, so 240 min, 200 Ah, 100 %
    outputs = recording.reading.result["outputs"]
    assert outputs["time_to_end"]["value"] == pytest.approx(240, abs=0.05)
    assert outputs["removed"]["value"] == pytest.approx(200, rel=1e-3)
    assert outputs["capacity"]["value"] == pytest.approx(100, rel=1e-3)
    line.refresh_from_db()
    assert (line.state, line.done_by) == ("passed", small_world.engineer)
    entry = next(one for one in recording.reading.inputs if one["source"] == "recording")
    assert (entry["recording"], entry["typed"], entry["sha256"]) == (
        str(recording.pk), "Test 4.csv", recording.raw_sha256,
    )  # fmt: skip
    actions = set(AuditEntry.objects.filter(project=small_world.project).values_list("action", flat=True))
    assert {"recording_uploaded", "recording_confirmed", "recording_read", "reading_recorded"} <= actions


def test_the_raw_file_is_kept_byte_for_byte(small_world: World, line) -> None:
    content = as_csv(sound_test().frame())
    recording = confirm(small_world, upload(small_world, content, line=line))
    with recording.raw.open("rb") as file:
        assert file.read() == content


def test_a_workbook_gives_the_same_as_the_text_file(small_world: World) -> None:
    frame = sound_test(weak={7: 0.2}).frame()
    read = [
        confirm(small_world, upload(small_world, content, name=name))
        for content, name in ((as_csv(frame), "log.csv"), (as_xlsx(frame), "log.xlsx"))
    ]
    values = [{name: one["value"] for name, one in recording.summary["outputs"].items()} for recording in read]
    assert values[0]["weak_cells"] == [7]
    for name, value in values[0].items():
        assert values[1][name] == (pytest.approx(value, rel=1e-5) if isinstance(value, float) else value), name


def test_a_reversed_cell_fails_the_line(small_world: World, line) -> None:
    recording = confirm(small_world, upload(small_world, as_csv(sound_test(weak={7: 2.5}).frame()), line=line))
    line.refresh_from_db()
    assert (line.state, recording.reading.verdict) == ("failed", "reject")
    assert "reversed" in recording.summary["note"]


def test_a_weak_cell_is_named_in_words_and_on_the_plot(small_world: World, line) -> None:
    recording = confirm(small_world, upload(small_world, as_csv(sound_test(weak={7: 0.2}).frame()), line=line))
    cells = next(plot for plot in recording.plot["plots"] if plot["title"] == "Cells")
    assert [series["name"] for series in cells["series"] if series["weak"]] == ["cell 7"]
    assert "Cell 7" in recording.summary["note"]


def test_columns_that_were_confirmed_are_remembered_for_the_same_headings(small_world: World) -> None:
    frame = sound_test(cells=4).frame().rename({"String [V]": "Alpha [V]", "Current [A]": "Beta"})
    first = upload(small_world, as_csv(frame))
    assert first.column_map["current"] is None
    inputs = {**INPUTS, "cells": "4"}
    first = confirm(small_world, first, inputs=inputs, current=2, units={})
    assert first.state == "read"
    again = upload(small_world, as_csv(frame.head(100)), name="next.csv")
    assert again.column_map["current"] == 2
    assert again.column_map["confidence"] == 1.0
    assert str(small_world.engineer) in again.column_map["words"][0]
    assert ColumnMapping.objects.count() == 1


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"time": None}, "time"),
        ({"time": 99}, "time"),
        ({"time": "0"}, "time"),
        ({"voltage": None, "cells": []}, "voltage"),
        ({"cells": [1, 4, 5]}, "cells"),
        ({"current": None}, "current"),
        ({"units": {"1": "kg"}}, "units"),
        ({"units": {"2": "V"}}, "units"),
        ({"time_unit": "fortnight"}, "time_unit"),
        ({"time_kind": "sundial"}, "time_kind"),
        ({"current": [2, 3]}, "current"),
    ],
)
def test_columns_that_cannot_be_right_are_refused_beside_their_field(small_world: World, changes, field) -> None:
    recording = upload(small_world, as_csv(sound_test().frame()))
    with pytest.raises(InvalidInput) as caught:
        confirm(small_world, recording, **changes)
    assert set(caught.value.fields) == {field}
    assert not Job.objects.exists()


def test_what_was_typed_wrong_is_refused_before_the_log_is_read(small_world: World, line) -> None:
    recording = upload(small_world, as_csv(sound_test().frame()), line=line)
    with pytest.raises(InvalidInput) as caught:
        confirm(small_world, recording, inputs={**INPUTS, "temperature": "warm", "cells": ""})
    assert set(caught.value.fields) == {"temperature", "cells"}


def test_columns_that_lead_nowhere_fail_in_words_and_may_be_said_again(small_world: World, line) -> None:
    recording = upload(small_world, as_csv(sound_test().frame()), line=line)
    guess = dict(recording.column_map)
    recording = confirm(small_world, recording, time=1, voltage=0, units={})
    assert recording.state == "failed"
    assert recording.error
    recording = recordings.confirm_columns(
        actor=small_world.engineer, recording=recording, column_map=guess, inputs=INPUTS
    )
    recordings.read_now_if_small(recording)
    recording.refresh_from_db()
    assert (recording.state, recording.error) == ("read", "")
    assert Job.objects.filter(kind="read_recording").count() == 2


def test_gaps_and_faults_of_the_log_are_told(small_world: World) -> None:
    frame = sound_test().frame()
    rows = frame.head(60).vstack(frame.slice(59, 1)).vstack(frame.slice(90))
    recording = confirm(small_world, upload(small_world, as_csv(rows)))
    kinds = {one["kind"] for one in recording.findings}
    assert {"gap", "repeated_time"} <= kinds
    assert "charge in between is not counted" in recording.summary["note"]


def test_a_newer_recording_takes_the_place_of_the_one_before(small_world: World, line) -> None:
    old = confirm(small_world, upload(small_world, as_csv(sound_test(weak={7: 2.5}).frame()), line=line))
    new = upload(small_world, as_csv(sound_test().frame()), line=line, name="second.csv")
    old.refresh_from_db()
    assert old.superseded_at is None, "nothing is superseded by a file that was not read yet"
    new = confirm(small_world, new)
    old.refresh_from_db()
    line.refresh_from_db()
    assert old.superseded_at
    assert line.state == "passed"
    assert old.reading.superseded_by == new.reading
    assert default_storage.exists(old.raw.name)
    with pytest.raises(Conflict):
        confirm(small_world, old)


def test_sent_twice_it_is_one_recording_and_other_content_is_a_conflict(small_world: World) -> None:
    content, key = as_csv(sound_test().frame()), UUID("0198c0de-0000-7000-8000-000000000001")
    first, second = (upload(small_world, content, id=key) for _ in range(2))
    assert first == second
    assert TestRecording.objects.count() == 1
    with pytest.raises(Conflict):
        upload(small_world, as_csv(sound_test(weak={3: 0.1}).frame()), id=key)


def test_a_job_that_runs_twice_gives_one_reading(small_world: World, line) -> None:
    recording = confirm(small_world, upload(small_world, as_csv(sound_test().frame()), line=line))
    job = recordings.last_job(recording)
    assert job_runs.run(job.pk) is None
    assert Reading.objects.count() == 1


def test_a_line_that_cannot_be_worked_on_keeps_the_result_and_says_why(small_world: World, line) -> None:
    line.work = "dead"
    line.save()
    recording = confirm(small_world, upload(small_world, as_csv(sound_test().frame()), line=line))
    assert (recording.state, recording.reading) == ("read", None)
    assert "does not count on the line yet" in recording.error
    assert recording.summary["outputs"]["capacity"]["value"]
    line.work = "either"
    line.save()
    assert confirm(small_world, recording).reading


def test_verifying_again_reads_the_raw_file_again(small_world: World, line) -> None:
    recording = confirm(small_world, upload(small_world, as_csv(sound_test().frame()), line=line))
    recording_files._opened.cache_clear()
    run_again(small_world)
    assert not VerificationChange.objects.exists()
    line.limits = [{"output": "capacity", "lower": 120, "upper": None, "unit": "%", "source": "order"}]
    line.save()
    run_again(small_world)
    assert VerificationChange.objects.get().verdict == "reject"
    Path(default_storage.path(recording.raw.name)).write_bytes(as_csv(sound_test(weak={7: 1.0}).frame()))
    recording_files._opened.cache_clear()
    run_again(small_world)
    change = VerificationChange.objects.exclude(verdict="reject").get()
    assert "its hash differs" in " ".join(change.result["cautions"])


def run_again(world: World) -> None:
    run = verification.ask_verification(actor=world.manager, project=world.project, reason="asked")
    job_runs.run(run.job.pk)
    run.job.refresh_from_db()
    assert run.job.state == "done"


def test_recharge_and_float_logs_need_no_inputs(small_world: World) -> None:
    for kind in ("recharge", "float"):
        recording = confirm(small_world, upload(small_world, as_csv(sound_test().frame()), kind=kind), inputs={})
        assert recording.state == "read", recording.error
        assert recording.summary["results"]


def test_what_is_kept_has_the_shape_that_dossiers_print(small_world: World) -> None:
    frame = sound_test(weak={7: 0.2}).frame()
    recording = confirm(small_world, upload(small_world, as_csv(frame)))
    rules = schema()["$defs"]
    for plot in recording.plot["plots"]:
        assert list(_check(plot, rules["plot"], "plot")) == []
    for row in recording.summary["results"]:
        assert list(_check(row, rules["recording"]["properties"]["results"]["items"], "result")) == []
    assert len(json.dumps(recording.plot)) < 300_000
    limited = [row for row in recording.summary["results"] if row.get("limit")]
    assert {row["verdict_words"] for row in limited} == {"accept", "as advised", "not as advised"}


def test_who_may_upload_and_confirm(small_world: World, line) -> None:
    content = as_csv(sound_test().frame())
    for somebody in (small_world.client, small_world.stranger):
        with pytest.raises(NotAllowed):
            upload(small_world, content, actor=somebody)
        with pytest.raises(NotAllowed):
            confirm(small_world, upload(small_world, content), actor=somebody)
    assert confirm(small_world, upload(small_world, content, actor=small_world.manager)).state == "read"


def test_a_line_that_wants_no_recording_is_refused(small_world: World, line) -> None:
    line.calculation = "float_voltage"
    with pytest.raises(InvalidInput) as caught:
        upload(small_world, as_csv(sound_test().frame()), line=line)
    assert set(caught.value.fields) == {"line"}


def packed(**sheets: bytes) -> bytes:
    """A workbook whose parts are given."""
    found = BytesIO()
    with zipfile.ZipFile(found, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("[Content_Types].xml", "<Types/>")
        archive.writestr("xl/workbook.xml", "<workbook/>")
        for name, content in sheets.items():
            archive.writestr(f"xl/worksheets/{name}.xml", content)
    return found.getvalue()


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (packed(sheet1=b'<c r="A1"/><c r="XFD1048576"/>'), "spans more cells"),
        (packed(sheet1=b" " * (recording_files.CHUNK - 9) + b'<c r="XFD1048576"/>'), "spans more cells"),
        (as_xlsx(sound_test(cells=3).frame().head(9)).replace(b"xl/workbook.xml", b"xl/notabook.xml"), "workbook"),
    ],
)
def test_workbooks_that_would_fill_the_memory_are_refused_before_they_are_opened(
    small_world: World, content: bytes, words: str
) -> None:
    with pytest.raises(InvalidInput) as caught:
        upload(small_world, content)
    assert words in caught.value.fields["file"]


def test_what_unpacks_to_more_than_it_says_is_counted_by_what_comes_out(
    small_world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    sheet = b"<worksheet>" + b" " * 3_000_000 + b"</worksheet>"
    content = packed(sheet1=sheet)
    monkeypatch.setattr(recording_files, "UNPACKED_BYTES", 2_000_000)
    lies = ((len(sheet), 1_000), (zlib.crc32(sheet), zlib.crc32(sheet[:1_000])))
    lying = content
    for true, told in lies:
        assert true.to_bytes(4, "little") in lying
        lying = lying.replace(true.to_bytes(4, "little"), told.to_bytes(4, "little"))
    for one in (content, lying):
        with pytest.raises(InvalidInput) as caught:
            upload(small_world, one)
        assert "Unpacked" in caught.value.fields["file"]


def test_too_large_a_file_is_refused_while_it_comes_in(small_world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(recording_files, "LARGEST_FILE", 1_000)
    with pytest.raises(InvalidInput) as caught:
        upload(small_world, as_csv(sound_test().frame()))
    assert set(caught.value.fields) == {"file"}


SOUND = as_csv(sound_test(cells=3).frame())
BOOK = as_xlsx(sound_test(cells=3).frame().head(20))


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    content=st.one_of(
        st.binary(max_size=400),
        st.text(alphabet=";,\t 0123456789.:-\nab\"'\x00", max_size=400).map(str.encode),
        st.tuples(st.integers(0, len(SOUND)), st.binary(max_size=40)).map(
            lambda cut: SOUND[: cut[0]] + cut[1] + SOUND[cut[0] + len(cut[1]) :]
        ),
        st.tuples(st.integers(0, len(BOOK)), st.binary(max_size=40)).map(
            lambda cut: BOOK[: cut[0]] + cut[1] + BOOK[cut[0] + len(cut[1]) :]
        ),
        st.integers(0, len(BOOK)).map(lambda end: BOOK[:end]),
    )
)
def test_a_damaged_file_is_read_or_refused_in_words(small_world: World, content: bytes) -> None:
    refused = refusal_of(small_world, content)
    recording = TestRecording.objects.order_by("-uploaded_at").first()
    if refused is not None:
        assert refused.endswith(".")
    elif recording.state == "failed":
        assert recording.error.endswith(".")
        assert recordings.last_job(recording).error == recording.error, "an error that nobody foresaw"
    else:
        assert recording.state == "read"


def refusal_of(world: World, content: bytes) -> str | None:
    """Upload and read it; the words when that was refused."""
    try:
        confirm(world, upload(world, content), inputs={**INPUTS, "cells": "3", "current": "50"})
    except ServiceError as refusal:
        return refusal.words
    return None
