"""Changing by hand what is recorded: sites, systems, equipment, supply and signal points, and their nameplates."""

from __future__ import annotations

from html import unescape
from typing import Any

import pytest
from django.http import HttpResponse

from commissioning.models import AuditEntry, Equipment, Role, Site, VerificationRun
from commissioning.services.register import create_signal_point
from tests.commissioning.views.plant import add_equipment, add_supply
from tests.commissioning.views.reading import address, links, main_words, signed_in, words
from tests.commissioning.views.run_plant import meter, started, supply_line
from tests.support.world import World, make_member, make_project, make_system, make_user

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _no_broker(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("celery.current_app.send_task", lambda *args, **options: None)


@pytest.fixture
def battery(small_world: World) -> Equipment:
    return add_equipment(
        small_world.system, "GUB10-B1", kind="battery", maker="Accrel", nameplate={"cells": 54, "capacity_ah": 200}
    )


def _url(world: World, what: str, record: Any) -> str:
    return address(world.project.code, what, record.pk, "edit")


def _shown(answer: HttpResponse) -> dict[str, str]:
    """Everything that a browser would send back from the page, its hidden fields too."""
    form = answer.context["form"]
    found = {}
    for field in form:
        value = field.value()
        found[field.html_name] = "" if value is None else str(value)
        if field.field.show_hidden_initial:
            found[field.html_initial_name] = "" if field.initial is None else str(field.initial)
    return found


def _change(world: World, what: str, record: Any, *, who: str = "manager", **typed: str) -> HttpResponse:
    """Open the page, type, save."""
    browser = signed_in(getattr(world, who))
    shown = _shown(browser.get(_url(world, what, record)))
    return browser.post(_url(world, what, record), {**shown, **typed}, follow=True)


def test_each_record_is_changed_on_its_page_and_shown_again(small_world: World, battery: Equipment) -> None:
    supply = add_supply(small_world.system)
    point = create_signal_point(
        actor=small_world.manager, system=small_world.system, tag="K1", description="common alarm"
    )
    board = make_system(site=small_world.site, tag="BUC10", kind="dc_board")
    cases = [
        ("sites", small_world.site, {"time_zone": "Europe/Paris", "notes": "Gate code at the lodge."}),
        ("systems", board, {"name": "Board of the pump hall"}),
        ("tags", battery, {"serial_number": "NC-40117", "kind": "other"}),
        ("supplies", supply, {"description": "from LV board BFA10 way 6"}),
        ("signals", point, {"equipment": "gub10-b1", "order": "7", "far_end": "DI 3/1"}),
    ]
    for what, record, typed in cases:
        answer = _change(small_world, what, record, **typed)
        assert answer.redirect_chain == [(address(small_world.project.code, what, record.pk), 302)], what
        assert "Changed " in words(answer)
        record.refresh_from_db()
        for name, value in typed.items():
            found = getattr(record, name)
            assert str(getattr(found, "tag", found)).lower() == value.lower(), (what, name)
        assert _url(small_world, what, record) in links(answer)
    assert supply.state == "not_recorded"
    assert AuditEntry.objects.filter(action__endswith="_changed").count() == len(cases)


def test_a_new_tag_keeps_the_former_one(small_world: World, battery: Equipment) -> None:
    said = words(_change(small_world, "tags", battery, tag="GUB10-B2"))
    assert "The former tag GUB10-B1 is kept: an old label still leads here." in said
    code = small_world.project.code
    old_label = signed_in(small_world.client).get(address(code, "t", "GUB10-B1"))
    assert old_label["Location"] == address(code, "tags", battery.pk)


def test_a_nameplate_is_changed_emptied_and_added_to(small_world: World, battery: Equipment) -> None:
    typed = {"capacity_ah": "0,4 kAh", "cells": "", "add_key_1": "float_volts_per_cell", "add_value_1": "2.25"}
    said = words(_change(small_world, "tags", battery, **typed))
    battery.refresh_from_db()
    assert battery.nameplate == {"capacity_ah": 400, "float_volts_per_cell": 2.25}
    assert "number of cells in series in one string" in said
    assert "The system has no reading yet" in said
    assert not VerificationRun.objects.exists()


def test_a_changed_nameplate_says_that_readings_are_verified_again(small_world: World, battery: Equipment) -> None:
    meter(small_world)
    line = supply_line(started(small_world))
    browser = signed_in(small_world.engineer)
    browser.post(address(small_world.project.code, "lines", line.pk, "reading"), {"measured": "230"})
    assert line.readings.exists()
    said = words(_change(small_world, "tags", battery, description="battery, 54 cells"))
    assert "verified again" not in said
    said = words(_change(small_world, "tags", battery, who="engineer", capacity_ah="210"))
    assert "the readings of the system are being verified again" in said
    assert "capacity ah" in VerificationRun.objects.get().reason


def test_one_more_entry_keeps_what_was_typed_and_saves_nothing(small_world: World, battery: Equipment) -> None:
    typed = {"tag": "", "add_key_1": "strings", "add_value_1": "2", "another": "1"}
    answer = _change(small_world, "tags", battery, **typed)
    assert answer.status_code == 200
    form = answer.context["form"]
    assert [value.value() for _, value in form.additions] == ["2", None]
    assert "Not saved yet" not in words(answer)
    given = {**_shown(answer), "tag": "GUB10-B1", "add_key_2": "block_cells", "add_value_2": "6"}
    signed_in(small_world.manager).post(_url(small_world, "tags", battery), given)
    battery.refresh_from_db()
    assert battery.nameplate == {"cells": 54, "capacity_ah": 200, "strings": 2, "block_cells": 6}


@pytest.mark.parametrize(
    ("typed", "field", "said"),
    [
        ({"tag": "GUB10-T1"}, "tag", "GUB10-T1 is taken."),
        ({"tag": ""}, "tag", "Type the tag."),
        ({"parent": "NONE"}, "parent", "No equipment here carries the tag NONE"),
        ({"capacity_ah": "200 V"}, "capacity_ah", "Ah"),
        ({"cells": "0"}, "cells", "from 1 to 750"),
        ({"add_key_1": "strings", "add_value_1": "900"}, "add_value_1", "from 1 to 32"),
        ({"add_key_1": "strings"}, "add_value_1", "Type the value"),
        ({"add_value_1": "12"}, "add_key_1", "Choose what the value is."),
        ({"add_key_1": "cells", "add_value_1": "12"}, "add_key_1", "It is recorded already."),
    ],
)
def test_what_cannot_be_is_refused_beside_the_field_and_stays(
    small_world: World, battery: Equipment, typed: dict[str, str], field: str, said: str
) -> None:
    add_equipment(small_world.system, "GUB10-T1")
    answer = _change(small_world, "tags", battery, maker="Somebody else", **typed)
    assert answer.status_code == 422
    assert said in " ".join(answer.context["form"][field].errors)
    html = unescape(answer.content.decode())
    assert 'value="Somebody else"' in html
    for name, value in typed.items():
        assert answer.context["form"][name].value() == value
    battery.refresh_from_db()
    assert (battery.maker, battery.nameplate) == ("Accrel", {"cells": 54, "capacity_ah": 200})


def test_an_entry_is_not_added_twice(small_world: World, battery: Equipment) -> None:
    twice = {"add_key_1": "strings", "add_value_1": "1", "add_key_2": "strings", "add_value_2": "2"}
    answer = _change(small_world, "tags", battery, **twice)
    assert answer.status_code == 422
    assert "It is chosen twice." in words(answer)


def test_two_people_who_change_different_things_do_not_undo_each_other(small_world: World, battery: Equipment) -> None:
    url = _url(small_world, "tags", battery)
    first, second = signed_in(small_world.manager), signed_in(small_world.engineer)
    seen_first, seen_second = _shown(first.get(url)), _shown(second.get(url))
    first.post(url, {**seen_first, "maker": "Voltarn", "cells": "55"})
    second.post(url, {**seen_second, "serial_number": "S-1", "capacity_ah": "210"})
    battery.refresh_from_db()
    assert (battery.maker, battery.serial_number) == ("Voltarn", "S-1")
    assert battery.nameplate == {"cells": 55, "capacity_ah": 210}


def test_saving_what_is_recorded_already_changes_nothing(small_world: World, battery: Equipment) -> None:
    before = AuditEntry.objects.count()
    assert "Nothing was changed" in words(_change(small_world, "tags", battery, capacity_ah="200 Ah"))
    assert AuditEntry.objects.count() == before


def test_a_system_moves_to_another_site_of_the_person_only(small_world: World) -> None:
    elsewhere = Site.objects.create(project=small_world.project, code="VOF", name="Vexley Outfall")
    theirs = make_project(tag="GUC10")
    refused = _change(small_world, "systems", small_world.system, site=str(theirs.site.pk))
    assert refused.status_code == 422
    assert "Changed GUB10 Telecom supply: site." in words(
        _change(small_world, "systems", small_world.system, site=str(elsewhere.pk))
    )
    small_world.system.refresh_from_db()
    assert small_world.system.site_id == elsewhere.pk


def test_only_those_who_may_are_given_a_form_and_a_link(small_world: World, battery: Equipment) -> None:
    supply = add_supply(small_world.system)
    point = create_signal_point(
        actor=small_world.manager, system=small_world.system, tag="K1", description="common alarm"
    )
    workers = {"manager", "engineer"}
    allowed = [
        ("sites", small_world.site, {"manager"}),
        ("systems", small_world.system, {"manager"}),
        ("tags", battery, workers),
        ("supplies", supply, workers),
        ("signals", point, workers),
    ]
    visitor = make_user(username="visitor", name="Una Threlkeld")
    other = Site.objects.create(project=small_world.project, code="VOF", name="Vexley Outfall")
    make_member(project=small_world.project, user=visitor, role=Role.MANAGER, sites=[other])
    for what, record, people in allowed:
        for person in ("manager", "engineer", "client"):
            browser = signed_in(getattr(small_world, person))
            offered = _url(small_world, what, record) in links(
                browser.get(address(small_world.project.code, what, record.pk))
            )
            page = main_words(browser.get(_url(small_world, what, record)))
            assert (offered, "leave without saving" in page) == (person in people,) * 2, (what, person)
        for nobody in (visitor, small_world.stranger):
            assert signed_in(nobody).get(_url(small_world, what, record)).status_code == 404
            assert signed_in(nobody).post(_url(small_world, what, record), {"tag": "X"}).status_code == 404


def test_what_is_sent_by_those_who_may_not_changes_nothing(small_world: World, battery: Equipment) -> None:
    assert _change(small_world, "tags", battery, who="client", maker="Voltarn").status_code == 422
    assert _change(small_world, "systems", small_world.system, who="engineer", name="Mine").status_code == 422
    assert _change(small_world, "sites", small_world.site, who="engineer", name="Mine").status_code == 422
    battery.refresh_from_db()
    small_world.system.refresh_from_db()
    small_world.site.refresh_from_db()
    assert (battery.maker, small_world.system.name) == ("Accrel", "Telecom supply")
    assert small_world.site.name == "Quillmarsh Pumping Station"
