"""Instruments: which are due, what they can show, their certificates, what they measured; readings verified again."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test.utils import CaptureQueriesContext

from commissioning.models import Calibration, Instrument, InstrumentRange, Reading, VerificationRun
from commissioning.services.readings import record_reading
from tests.commissioning.views.reading import address, links, main_words, signed_in
from tests.commissioning.views.run_plant import changed_reading, key, meter, started, supply_line
from tests.support.world import World, make_project

pytestmark = pytest.mark.django_db

PDF = b"%PDF-1.4\n1 0 obj<<>>endobj\ntrailer<<>>\n%%EOF\n"


def url(world: World, *parts: object) -> str:
    return address(world.project.code, *parts)


def test_each_role_reads_every_page_and_a_stranger_none(small_world: World) -> None:
    one = meter(small_world)
    calibration = one.calibrations.get()
    paths = [
        url(small_world, "instruments"),
        url(small_world, "instruments", "new"),
        url(small_world, "instruments", one.pk),
        url(small_world, "calibrations", calibration.pk, "withdraw"),
        url(small_world, "verification"),
    ]
    for person in ("manager", "engineer", "client"):
        browser = signed_in(getattr(small_world, person))
        assert {browser.get(path).status_code for path in paths} == {200}, person
    posts = [
        *paths,
        url(small_world, "instruments", one.pk, "ranges"),
        url(small_world, "instruments", one.pk, "calibrations"),
    ]
    for stranger in (small_world.stranger, make_project().manager):
        browser = signed_in(stranger)
        assert {browser.get(path).status_code for path in paths} == {404}
        assert {browser.post(path).status_code for path in posts} == {404}


def test_the_most_urgent_comes_first(small_world: World) -> None:
    for serial, due_in in (("LATER-1", 200), ("OUT-1", -3), ("SOON-1", 12)):
        meter(small_world, serial=serial, due_in=due_in)
    Instrument.objects.create(project=small_world.project, serial_number="NONE-1", description="Thermometer")
    browser = signed_in(small_world.client)
    words = main_words(browser.get(url(small_world, "instruments")))
    places = [words.index(serial) for serial in ("NONE-1", "OUT-1", "SOON-1", "LATER-1")]
    assert places == sorted(places)
    for said in ("no calibration on record", "out of calibration", "due soon", "in calibration"):
        assert said in words
    only = main_words(browser.get(url(small_world, "instruments"), {"due": "out"}))
    assert "OUT-1" in only
    assert "LATER-1" not in only
    found = main_words(browser.get(url(small_world, "instruments"), {"q": "thermo"}))
    assert "NONE-1" in found
    assert "OUT-1" not in found


def test_the_list_takes_as_many_queries_for_forty_as_for_four(small_world: World) -> None:
    from django.db import connection

    browser = signed_in(small_world.engineer)
    counts = []
    for first, last in ((0, 4), (4, 40)):
        for number in range(first, last):
            meter(small_world, serial=f"N-{number}")
        with CaptureQueriesContext(connection) as queries:
            browser.get(url(small_world, "instruments"))
        counts.append(len(queries))
    assert counts[0] == counts[1]


def test_an_instrument_is_added_and_what_was_typed_stays(small_world: World) -> None:
    new = url(small_world, "instruments", "new")
    sent = {"serial_number": "MM-9", "description": "Multimeter <2>", "client_uuid": key()}
    assert signed_in(small_world.client).post(new, sent).status_code == 422
    browser = signed_in(small_world.engineer)
    refused = browser.post(new, {**sent, "serial_number": ""})
    assert refused.status_code == 422
    assert "Multimeter &lt;2&gt;" in refused.content.decode()
    assert browser.post(new, sent).status_code == 302
    assert browser.post(new, sent).status_code == 302
    assert Instrument.objects.count() == 1
    again = browser.post(new, {**sent, "client_uuid": key()})
    assert again.status_code == 422
    assert 'value="MM-9"' in again.content.decode()


def test_a_range_is_added_with_its_accuracy(small_world: World) -> None:
    one = meter(small_world)
    ranges = url(small_world, "instruments", one.pk, "ranges")
    browser = signed_in(small_world.engineer)
    wrong = browser.post(ranges, {"unit": "Ω", "upper": "many", "counts": "3"})
    assert wrong.status_code == 422
    assert 'value="many"' in wrong.content.decode()
    sent = {"unit": "Ω", "upper": "500", "percent_of_reading": "0.2", "counts": "3", "resolution": "0.1"}
    assert browser.post(ranges, sent).status_code == 302
    made = InstrumentRange.objects.get(unit="Ω")
    assert (made.upper, made.percent_of_reading, made.counts, made.resolution) == (500, 0.2, 3, 0.1)
    words = main_words(browser.get(url(small_world, "instruments", one.pk)))
    assert "±(0.2 % of reading + 3 counts of 0.1 Ω)" in words
    assert signed_in(small_world.client).post(ranges, {**sent, "upper": "900"}).status_code == 422


def test_a_certificate_is_kept_and_given_out_as_a_file_only(small_world: World) -> None:
    one = meter(small_world, serial='A/B"\r\nX: 1')
    browser = signed_in(small_world.engineer)
    sent = {
        "calibrated_on": "2026-01-10",
        "due_on": "2027-01-10",
        "certificate_number": "C-77",
        "certificate": SimpleUploadedFile("../../x.html", PDF, content_type="text/html"),
    }
    assert browser.post(url(small_world, "instruments", one.pk, "calibrations"), sent).status_code == 302
    calibration = Calibration.objects.get(certificate_number="C-77")
    path = url(small_world, "uploads", "certificates", calibration.pk)
    answer = signed_in(small_world.client).get(path)
    assert b"".join(answer.streaming_content) == PDF
    assert answer["Content-Type"] == "application/pdf"
    assert answer["Content-Disposition"] == 'attachment; filename="certificate-A-B-X-1-2026-01-10.pdf"'
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert "sandbox" in answer["Content-Security-Policy"]
    assert path in links(browser.get(url(small_world, "instruments", one.pk)))
    assert signed_in(small_world.stranger).get(path).status_code == 404
    bare = url(small_world, "uploads", "certificates", one.calibrations.exclude(pk=calibration.pk).get().pk)
    assert browser.get(bare).status_code == 404


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"certificate": SimpleUploadedFile("c.pdf", b"<html>", content_type="application/pdf")}, "This is not a PDF"),
        ({"due_on": "10.1.2027"}, "Write the date as 2026-03-31."),
        ({"due_on": "2025-01-10"}, "due after the day"),
    ],
)
def test_a_calibration_that_cannot_be_right_stays_typed(
    small_world: World, changes: dict[str, object], words: str
) -> None:
    one = meter(small_world)
    sent = {"calibrated_on": "2026-01-10", "due_on": "2027-01-10", "certificate_number": "C-<7>", **changes}
    answer = signed_in(small_world.engineer).post(url(small_world, "instruments", one.pk, "calibrations"), sent)
    assert answer.status_code == 422
    assert words in main_words(answer)
    assert "C-&lt;7&gt;" in answer.content.decode()
    assert str(sent["due_on"]) in answer.content.decode()
    assert Calibration.objects.count() == 1


def test_a_withdrawn_calibration_marks_what_was_measured(small_world: World) -> None:
    one = meter(small_world)
    line = supply_line(started(small_world))
    record_reading(actor=small_world.engineer, line=line, typed={"measured": "230"}, instruments={"": one})
    browser = signed_in(small_world.engineer)
    withdraw = url(small_world, "calibrations", one.calibrations.get().pk, "withdraw")
    assert signed_in(small_world.client).post(withdraw, {"reason": "dropped"}).status_code == 422
    assert browser.post(withdraw, {"reason": ""}).status_code == 422
    assert browser.post(withdraw, {"reason": "dropped from a ladder"}).status_code == 302
    assert not Reading.objects.get().in_calibration
    words = main_words(browser.get(url(small_world, "instruments", one.pk)))
    assert "dropped from a ladder" in words
    assert "out of calibration then" in words


def test_readings_at_other_sites_are_not_shown(small_world: World) -> None:
    from commissioning.models import Role, Site
    from tests.support.world import make_member, make_user

    one = meter(small_world)
    record_reading(
        actor=small_world.engineer,
        line=supply_line(started(small_world), title="Secret line"),
        typed={"measured": "230"},
        instruments={"": one},
    )
    other = Site.objects.create(project=small_world.project, code="VOF", name="Vexley Outfall")
    elsewhere = make_user(username="fenn", name="Osric Fenn")
    make_member(project=small_world.project, user=elsewhere, role=Role.FIELD_ENGINEER, sites=[other])
    page = url(small_world, "instruments", one.pk)
    assert "Secret line" in main_words(signed_in(small_world.engineer).get(page))
    assert "Secret line" not in main_words(signed_in(elsewhere).get(page))


# --- readings verified again ------------------------------------------------------------------------------------------


def test_a_run_is_asked_for_with_its_reason(small_world: World) -> None:
    one = meter(small_world)
    path = url(small_world, "verification")
    browser = signed_in(small_world.engineer)
    refused = browser.post(path, {"reason": "", "instrument": str(one.pk)})
    assert refused.status_code == 422
    assert f'<option value="{one.pk}" selected>' in refused.content.decode()
    assert signed_in(small_world.client).post(path, {"reason": "x"}).status_code == 422
    assert browser.post(path, {"reason": "Accuracy <was> 1 %", "instrument": str(one.pk)}).status_code == 302
    run = VerificationRun.objects.get()
    assert run.scope == {"instrument": str(one.pk)}
    page = browser.get(url(small_world, "verification", run.pk))
    assert "Accuracy &lt;was&gt; 1 %" in page.content.decode()
    assert "hx-get" in page.content.decode()
    assert "instrument Multimeter MM-4411" in main_words(page).lower().replace("mm-4411", "MM-4411").replace(
        "multimeter", "Multimeter"
    )


def test_a_changed_reading_is_shown_old_and_new_and_a_manager_decides(small_world: World) -> None:
    change = changed_reading(small_world)
    run = url(small_world, "verification", change.run_id)
    decide = url(small_world, "verification", "changes", change.pk)
    words = main_words(signed_in(small_world.engineer).get(run))
    # independent: 207.5 V is -9.783 % of 230 V, inside 10 % and outside 5 %
    assert words.index("accept") < words.index("→") < words.index("reject")
    assert "Turn: manager." in words
    assert signed_in(small_world.engineer).post(decide, {"decision": "confirm"}).status_code == 422
    browser = signed_in(small_world.manager)
    kept = browser.post(decide, {"decision": "keep", "remark": " "})
    assert kept.status_code == 422
    assert "Say why the old result is kept" in main_words(kept)
    assert browser.post(decide, {"remark": "so what"}).status_code == 422
    assert browser.post(decide, {"decision": "confirm", "remark": "agreed"}).status_code == 302
    assert list(Reading.objects.order_by("recorded_at").values_list("verdict", flat=True)) == ["accept", "reject"]
    assert "The new result was taken over" in main_words(browser.get(run))
    assert browser.post(decide, {"decision": "confirm"}).status_code == 422


def test_a_strangers_decision_finds_nothing(small_world: World) -> None:
    change = changed_reading(small_world)
    for person in (small_world.stranger, make_project().manager):
        browser = signed_in(person)
        assert browser.get(url(small_world, "verification", change.run_id)).status_code == 404
        assert browser.get(url(small_world, "verification", change.run_id, "progress")).status_code == 404
        assert browser.post(url(small_world, "verification", "changes", change.pk)).status_code == 404


def test_the_page_comes_anew_when_the_run_has_ended(small_world: World) -> None:
    change = changed_reading(small_world)
    answer = signed_in(small_world.client).get(url(small_world, "verification", change.run_id, "progress"))
    assert answer["HX-Refresh"] == "true"
    assert "hx-get" not in answer.content.decode()


def test_due_is_judged_by_the_day_of_the_project() -> None:
    from commissioning.selectors.instruments import due_words

    today = date(2026, 3, 31)
    assert due_words(today, today) == "due soon"  # the day itself is still covered
    assert due_words(today - timedelta(days=1), today) == "out of calibration"
    assert due_words(today + timedelta(days=31), today) == "in calibration"
