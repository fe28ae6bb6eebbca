"""The temperature at the instrument: asked where it matters, refused beside its field, shown with the reading."""

from __future__ import annotations

import pytest

from commissioning.models import Instrument, Reading
from commissioning.services.reading_inputs import AMBIENT
from tests.commissioning.views.reading import address, main_words, signed_in
from tests.commissioning.views.run_plant import key, meter, started, supply_line
from tests.support.world import World

pytestmark = pytest.mark.django_db

FIELD = f'name="{AMBIENT}"'


@pytest.fixture
def cold_meter(small_world: World) -> Instrument:
    """A meter whose maker adds 0.1 % of reading per °C outside 18…28 °C."""
    one = meter(small_world)
    one.ranges.update(temperature_coefficient=0.1)
    return one


def test_it_is_asked_only_where_an_instrument_that_can_be_chosen_drifts(small_world: World) -> None:
    line = supply_line(started(small_world))
    one = meter(small_world)
    browser = signed_in(small_world.engineer)
    pages = [
        address(small_world.project.code, "lines", line.pk),
        address(small_world.project.code, "calculations", "ac_supply_tolerance"),
    ]
    assert [FIELD in browser.get(page).content.decode() for page in pages] == [False, False]
    one.ranges.update(temperature_coefficient=0.1)
    assert [FIELD in browser.get(page).content.decode() for page in pages] == [True, True]
    one.ranges.update(unit="Ω")
    assert [FIELD in browser.get(page).content.decode() for page in pages] == [False, False]


def test_it_widens_the_uncertainty_and_stands_with_the_reading(small_world: World, cold_meter: Instrument) -> None:
    line = supply_line(started(small_world))
    browser = signed_in(small_world.engineer)
    typed = {"measured": "230", "with_0": str(cold_meter.pk), AMBIENT: "3", "client_uuid": key()}
    answer = browser.post(address(small_world.project.code, "lines", line.pk, "reading"), typed, follow=True)
    kept = {entry["name"]: entry for entry in Reading.objects.get().inputs}
    # independent: a = 230·0.05 % + 5·0.01 + 230·0.1 %·15 °C = 3.615 V, U = 2·a/√3 = 4.174 V
    assert kept["measured"]["expanded_uncertainty"] == pytest.approx(4.1742, abs=5e-4)
    record = main_words(browser.get(address(small_world.project.code, "lines", line.pk, "record")))
    for words in (main_words(answer), record):
        assert "temperature at the instrument 3" in words.replace("\u202f", " ")


@pytest.mark.parametrize("typed", ["warm", "200", "3 V"])
def test_what_is_no_temperature_is_refused_beside_its_field(
    small_world: World, cold_meter: Instrument, typed: str
) -> None:
    line = supply_line(started(small_world))
    sent = {"measured": "230", "with_0": str(cold_meter.pk), AMBIENT: typed, "client_uuid": key()}
    answer = signed_in(small_world.engineer).post(address(small_world.project.code, "lines", line.pk, "reading"), sent)
    assert answer.status_code == 422
    text = answer.content.decode()
    field = text[text.index('for="id_ambient"') : text.index(FIELD)]
    assert "errorlist" in field
    assert f'value="{typed}"' in text
    assert not Reading.objects.exists()


def test_a_calculation_takes_it_as_it_is_typed(small_world: World, cold_meter: Instrument) -> None:
    path = address(small_world.project.code, "calculations", "ac_supply_tolerance", "try")
    sent = {"measured": "230", "nominal": "230", "with_0": str(cold_meter.pk)}
    browser = signed_in(small_world.engineer)
    inside, outside = (browser.post(path, {**sent, AMBIENT: degrees}).content.decode() for degrees in ("20", "3"))
    # independent: U/Un = 2·0.165/√3/230 = 0.083 %, against 4.174/230 = 1.8 %
    assert "± 0.083" in inside
    assert "± 1.8" in outside


def test_the_same_form_with_another_temperature_is_no_repeat(small_world: World, cold_meter: Instrument) -> None:
    line = supply_line(started(small_world))
    path = address(small_world.project.code, "lines", line.pk, "reading")
    browser, sent = signed_in(small_world.engineer), {"measured": "230", "client_uuid": key(), AMBIENT: "3"}
    assert [browser.post(path, sent).status_code for _ in range(2)] == [302, 302]
    assert browser.post(path, {**sent, AMBIENT: "5"}).status_code == 422
    assert Reading.objects.count() == 1


def test_the_coefficient_is_typed_with_the_range_and_shown(small_world: World) -> None:
    one = meter(small_world)
    browser = signed_in(small_world.engineer)
    ranges = address(small_world.project.code, "instruments", one.pk, "ranges")
    sent = {"unit": "A", "upper": "10", "percent_of_reading": "0.2", "temperature_coefficient": "0.01"}
    assert browser.post(ranges, sent).status_code == 302
    words = main_words(browser.get(address(small_world.project.code, "instruments", one.pk)))
    assert "±(0.2 % of reading), and 0.01 % of reading per °C outside 18…28 °C" in words
