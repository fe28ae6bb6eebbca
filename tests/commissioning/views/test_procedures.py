"""Procedures: copied, compared, edited, taken over line by line, laid out on systems."""

from __future__ import annotations

import pytest

from commissioning.models import AuditEntry, CheckLine, Procedure, ProcedureLine
from commissioning.services.procedures import copy_procedure
from tests.commissioning.views.reading import address, links, main_words, signed_in
from tests.support.world import World, make_project, make_system

pytestmark = pytest.mark.django_db

KEY = "dc_power_vrla"


@pytest.fixture
def copy(small_world: World) -> Procedure:
    """The project's copy of the first version of a procedure of which there is a second."""
    return copy_procedure(actor=small_world.manager, project=small_world.project, key=KEY, version=1)


def url(world: World, *parts: object) -> str:
    return address(world.project.code, *parts)


def line_of(copy: Procedure, key: str) -> ProcedureLine:
    return copy.lines.get(key=key)


def pages(world: World, copy: Procedure) -> list[str]:
    line = copy.lines.first()
    return [
        url(world, "procedures"),
        url(world, "procedures", copy.pk),
        url(world, "procedures", copy.pk, "compare"),
        url(world, "procedures", copy.pk, "systems"),
        url(world, "procedures", copy.pk, "lines", "new"),
        url(world, "procedure-lines", line.pk),
        url(world, "procedure-lines", line.pk, "leave-out"),
    ]


def test_each_role_reads_every_page_and_a_stranger_none(small_world: World, copy: Procedure) -> None:
    for person in ("manager", "engineer", "client"):
        browser = signed_in(getattr(small_world, person))
        assert {browser.get(path).status_code for path in pages(small_world, copy)} == {200}, person
    for stranger in (small_world.stranger, make_project().manager):
        browser = signed_in(stranger)
        assert {browser.get(path).status_code for path in pages(small_world, copy)} == {404}
        assert {browser.post(path).status_code for path in pages(small_world, copy)[1:]} == {404}


def test_another_projects_procedure_is_not_found_under_ones_own_code(small_world: World, copy: Procedure) -> None:
    other = make_project()
    browser = signed_in(other.manager)
    assert browser.get(url(other, "procedures", copy.pk)).status_code == 404
    assert browser.post(url(other, "procedure-lines", copy.lines.first().pk), {"title": "x"}).status_code == 404


def test_a_bundled_procedure_is_copied_by_a_manager(small_world: World) -> None:
    refused = signed_in(small_world.engineer).post(url(small_world, "procedures", "copy"), {"key": KEY})
    assert refused.status_code == 403
    browser = signed_in(small_world.manager)
    assert browser.post(url(small_world, "procedures", "copy"), {"key": "no such"}).status_code == 400
    assert browser.post(url(small_world, "procedures", "copy"), {"key": KEY}).status_code == 302
    made = Procedure.objects.get()
    assert url(small_world, "procedures", made.pk) in links(browser.get(url(small_world, "procedures")))


def test_a_newer_version_is_announced_with_what_it_changes(small_world: World, copy: Procedure) -> None:
    browser = signed_in(small_world.engineer)
    assert "version 2 is newer" in main_words(browser.get(url(small_world, "procedures")))
    words = main_words(browser.get(url(small_world, "procedures", copy.pk, "compare")))
    # independent: the data file of version 2 says that it adds bc-265 and moves bc-200 and bc-205
    assert "bc-265" in words
    assert "added" in words
    assert "bc-200" in words
    assert "moved" in words
    assert browser.get(url(small_world, "procedures", copy.pk, "compare"), {"version": "7"}).status_code == 404


def test_chosen_lines_are_taken_over_and_others_stay(small_world: World, copy: Procedure) -> None:
    compare = url(small_world, "procedures", copy.pk, "compare")
    browser = signed_in(small_world.manager)
    nothing = browser.post(compare, {"version": "2", "take": "chosen"})
    assert nothing.status_code == 422
    assert "Choose the lines to take over" in main_words(nothing)
    assert signed_in(small_world.engineer).post(compare, {"version": "2", "take": "all"}).status_code == 403
    assert browser.post(compare, {"version": "2", "take": "chosen", "line": "bc-265"}).status_code == 302
    copy.refresh_from_db()
    assert copy.source_version == 1
    assert copy.lines.filter(key="bc-265").exists()
    assert "bc-200" in main_words(browser.get(compare))
    assert browser.post(compare, {"version": "2", "take": "all"}).status_code == 302
    copy.refresh_from_db()
    assert copy.source_version == 2
    assert "Nothing differs" in main_words(browser.get(compare))


def typed(line: ProcedureLine, **changes: object) -> dict[str, object]:
    """The line's form as it stands, with something typed over."""
    plain = ("title", "how", "accept", "caution", "action", "work", "point", "party", "equipment_kind", "repeat")
    form: dict[str, object] = {name: getattr(line, name) for name in plain}
    form |= {name: "on" for name in ("injects_voltage", "required") if getattr(line, name)}
    form["timer_seconds"] = line.timer_seconds or ""
    for limit in line.limits:
        form |= {f"{side}_{limit['output']}": limit.get(side) or "" for side in ("lower", "upper", "source")}
    return {**form, **changes}


def test_a_manager_edits_a_line_and_the_page_shows_old_and_new(small_world: World, copy: Procedure) -> None:
    line = line_of(copy, "mc-100")
    before = line.accept
    edit = url(small_world, "procedure-lines", line.pk)
    assert signed_in(small_world.engineer).post(edit, typed(line, accept="other")).status_code == 422
    browser = signed_in(small_world.manager)
    assert browser.post(edit, typed(line, accept="As the <i>contract</i> says.")).status_code == 302
    line.refresh_from_db()
    assert line.accept == "As the <i>contract</i> says."
    page = browser.get(url(small_world, "procedures", copy.pk))
    assert "1 line changed in this project" in main_words(page)
    assert "As the &lt;i&gt;contract&lt;/i&gt; says." in page.content.decode()
    assert before.split(";")[0] in main_words(page)
    assert AuditEntry.objects.filter(action="procedure_edited").count() == 1


def test_a_line_without_a_title_stays_typed(small_world: World, copy: Procedure) -> None:
    line = line_of(copy, "mc-100")
    sent = typed(line, title=" ", how="hold it up to the light")
    answer = signed_in(small_world.manager).post(url(small_world, "procedure-lines", line.pk), sent)
    assert answer.status_code == 422
    assert "Say in a few words" in main_words(answer)
    assert "hold it up to the light" in answer.content.decode()


def test_nothing_changed_makes_no_edit(small_world: World, copy: Procedure) -> None:
    line = line_of(copy, "mc-150")
    browser = signed_in(small_world.manager)
    assert browser.post(url(small_world, "procedure-lines", line.pk), typed(line)).status_code == 302
    copy.refresh_from_db()
    assert copy.revision == 1


def test_a_limit_of_the_project_asks_who_says_so(small_world: World, copy: Procedure) -> None:
    line = line_of(copy, "pe-060")
    edit = url(small_world, "procedure-lines", line.pk)
    browser = signed_in(small_world.manager)
    nobody = browser.post(edit, typed(line, lower_corrected="5 MΩ"))
    assert nobody.status_code == 422
    assert "Say who set this limit" in main_words(nobody)
    assert 'value="5 MΩ"' in nobody.content.decode()
    wrong = browser.post(edit, typed(line, lower_corrected="5 V", source_corrected="spec 12"))
    assert wrong.status_code == 422
    assert 'value="5 V"' in wrong.content.decode()
    good = typed(line, lower_corrected="5 MΩ", source_corrected="specification 12, revision C")
    assert browser.post(edit, good).status_code == 302
    line.refresh_from_db()
    assert line.limits == [
        {"output": "corrected", "source": "specification 12, revision C", "lower": 5_000_000.0, "upper": None}
    ]


def test_a_line_of_the_projects_own_is_added_behind_another(small_world: World, copy: Procedure) -> None:
    add = url(small_world, "procedures", copy.pk, "lines", "new")
    sent = {
        "stage_kind": "mechanical_completion",
        "after": "mc-100",
        "title": "Check the nameplate of the client",
        "action": "inspect",
        "work": "dead",
        "point": "none",
        "required": "on",
    }
    assert signed_in(small_world.client).post(add, sent).status_code == 422
    browser = signed_in(small_world.manager)
    refused = browser.post(add, {**sent, "title": "", "how": "look at it"})
    assert refused.status_code == 422
    assert "look at it" in refused.content.decode()
    assert browser.post(add, sent).status_code == 302
    keys = list(copy.lines.order_by("order").values_list("key", flat=True))
    assert keys[keys.index("mc-100") + 1] == "own-001"


def test_a_line_is_left_out_with_a_reason(small_world: World, copy: Procedure) -> None:
    line = line_of(copy, "mc-120")
    out = url(small_world, "procedure-lines", line.pk, "leave-out")
    assert signed_in(small_world.engineer).post(out, {"reason": "no probe here"}).status_code == 422
    browser = signed_in(small_world.manager)
    assert browser.post(out, {"reason": " "}).status_code == 422
    assert browser.post(out, {"reason": "no probe here"}).status_code == 302
    assert not copy.lines.filter(key="mc-120").exists()


def test_it_is_laid_out_on_the_systems_chosen(small_world: World, copy: Procedure) -> None:
    other = make_system(site=small_world.site, tag="GUB20")
    board = make_system(site=small_world.site, tag="GUD10", kind="lv_board")
    systems = url(small_world, "procedures", copy.pk, "systems")
    page = signed_in(small_world.manager).get(systems).content.decode()
    assert other.tag in page
    assert board.tag not in page
    sent = {"systems": [str(small_world.system.pk)]}
    assert "403" in str(signed_in(small_world.engineer).post(systems, sent).status_code)
    browser = signed_in(small_world.manager)
    assert browser.post(systems, {"sent": "1"}).status_code == 422
    answer = browser.post(systems, sent, follow=True)
    assert "GUB10: check lines" in main_words(answer)
    assert CheckLine.objects.filter(stage__system=small_world.system).count() >= copy.lines.count()
    assert not CheckLine.objects.filter(stage__system=other).exists()
    assert browser.post(systems, {"systems": [str(board.pk)]}).status_code == 422
