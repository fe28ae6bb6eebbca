"""An instrument on record is put right, taken out of use and brought back through its pages."""

from __future__ import annotations

import pytest

from commissioning.models import Instrument, VerificationRun
from commissioning.services.readings import record_reading
from tests.commissioning.views.reading import address, links, main_words, signed_in
from tests.commissioning.views.run_plant import meter, started, supply_line
from tests.support.world import World

pytestmark = pytest.mark.django_db


def url(world: World, *parts: object) -> str:
    return address(world.project.code, *parts)


def test_a_mistyped_serial_number_is_put_right(small_world: World) -> None:
    one = meter(small_world)
    meter(small_world, serial="TAKEN-1")
    path = url(small_world, "instruments", one.pk, "change")
    browser = signed_in(small_world.engineer)
    assert 'value="MM-4411"' in browser.get(path).content.decode()
    sent = {"serial_number": "TAKEN-1", "description": "Multimeter", "maker": "", "model": "<7>"}
    refused = browser.post(path, sent)
    assert refused.status_code == 422
    assert "TAKEN-1 is taken" in main_words(refused)
    assert "&lt;7&gt;" in refused.content.decode()
    assert browser.post(path, {**sent, "serial_number": "MM-4412"}).status_code == 302
    one.refresh_from_db()
    assert (one.serial_number, one.model) == ("MM-4412", "<7>")


def test_a_changed_accuracy_has_its_readings_verified_again(small_world: World) -> None:
    one = meter(small_world)
    record_reading(
        actor=small_world.engineer,
        line=supply_line(started(small_world)),
        typed={"measured": "230"},
        instruments={"": one},
    )
    row = one.ranges.get()
    path = url(small_world, "instrument-ranges", row.pk)
    browser = signed_in(small_world.engineer)
    assert path in links(browser.get(url(small_world, "instruments", one.pk)))
    assert 'value="0.05"' in browser.get(path).content.decode()
    as_it_is = {"percent_of_reading": "0.05", "counts": "5", "resolution": "0.01"}
    assert browser.post(path, as_it_is).status_code == 302
    assert not VerificationRun.objects.exists()
    wrong = browser.post(path, {**as_it_is, "counts": "some"})
    assert wrong.status_code == 422
    assert 'value="some"' in wrong.content.decode()
    assert "State the accuracy" in main_words(browser.post(path, {"counts": ""}))
    assert browser.post(path, {**as_it_is, "percent_of_reading": "2", "counts": ""}).status_code == 302
    row.refresh_from_db()
    assert (row.percent_of_reading, row.counts, row.resolution) == (2, 0, 0.01)
    assert VerificationRun.objects.get().scope == {"instrument": str(one.pk)}


def test_a_retired_instrument_is_not_offered_and_says_why(small_world: World) -> None:
    one, line = meter(small_world), supply_line(started(small_world))
    browser = signed_in(small_world.engineer)
    page, run = url(small_world, "instruments", one.pk), url(small_world, "lines", line.pk)
    assert str(one.pk) in browser.get(run).content.decode()
    refused = browser.post(f"{page}retire/", {"reason": " "})
    assert refused.status_code == 422
    assert "Say why it is no longer in use." in main_words(refused)
    assert browser.post(f"{page}retire/", {"reason": "fell <down>"}).status_code == 302
    assert "fell &lt;down&gt;" in browser.get(page).content.decode()
    assert str(one.pk) not in browser.get(run).content.decode()
    assert f"{page}bring-back/" in links(browser.get(page))
    assert browser.post(f"{page}retire/", {"reason": "again"}).status_code == 422
    assert browser.post(f"{page}bring-back/", {"reason": "repaired and calibrated"}).status_code == 302
    assert str(one.pk) in browser.get(run).content.decode()


def test_a_client_reads_why_there_is_nothing_to_change(small_world: World) -> None:
    one = meter(small_world)
    browser = signed_in(small_world.client)
    for part in ("change", "retire", "bring-back"):
        path = url(small_world, "instruments", one.pk, part)
        assert "Field engineers and managers look after instruments." in main_words(browser.get(path))
        sent = {"reason": "x", "serial_number": "X", "description": "x"}
        assert browser.post(path, sent).status_code == 422
    one.refresh_from_db()
    assert (one.serial_number, one.retired_at, Instrument.objects.count()) == ("MM-4411", None, 1)
