"""Pages of dossiers: who sees which, downloads that resume, and what the check page says of a file."""

from __future__ import annotations

import hashlib
import json
import re
from datetime import timedelta
from io import BytesIO
from typing import Any

import pikepdf
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.http import HttpResponse
from django.utils import timezone

from commissioning.errors import Conflict
from commissioning.models import Dossier, Job, JobState, Membership, Role, Site
from commissioning.services import jobs
from tests.commissioning.views.plant import accepted
from tests.commissioning.views.reading import address, links, main_words, signed_in
from tests.support.dossiers import ask, built, fresh, pdf_of, run
from tests.support.world import PASSWORD, World, make_member, make_project, make_user

pytestmark = pytest.mark.django_db


def page_of(dossier: Dossier, *parts: str) -> str:
    return address(dossier.project.code, "dossiers", dossier.pk, *parts)


def body(answer: Any) -> bytes:
    return b"".join(answer.streaming_content)


def uploaded(user: Any, data: bytes) -> HttpResponse:
    return signed_in(user).post("/check/", {"file": SimpleUploadedFile("d.pdf", data, "application/pdf")})


# Seeing ----------------------------------------------------------------------------------------------------------


def test_the_list_says_first_what_can_be_trusted(small_world: World) -> None:
    accepted(small_world)
    first = built(small_world)
    built(small_world, actor=small_world.client)
    said = main_words(signed_in(small_world.engineer).get(address(small_world.project.code, "dossiers")))
    label = first.label.rpartition(" ")[0]
    assert said.index(f"{label} 2") < said.index(f"{label} 1")
    assert said.count("interim") == 2
    assert said.count("superseded") == 1
    assert first.pdf_sha256[:16] in said
    assert "ask for a dossier" not in said


def test_a_client_hears_what_is_new_and_sees_only_what_is_built(small_world: World) -> None:
    ready = built(small_world)
    waiting = ask(small_world, up_to="energisation")
    browser = signed_in(small_world.client)
    url = address(small_world.project.code, "dossiers")
    assert "new since" not in main_words(browser.get(url))
    went_away = timezone.now() - timedelta(days=2)
    Membership.objects.filter(user=small_world.client).update(dossiers_looked_at=went_away)
    for _ in range(2):
        said = main_words(browser.get(url))
        assert "new since your last visit" in said
    Membership.objects.filter(user=small_world.client).update(dossiers_looked_at=timezone.now() - timedelta(hours=1))
    Dossier.objects.filter(pk=ready.pk).update(built_at=went_away)
    assert "new since" not in main_words(browser.get(url))
    assert waiting.label not in said
    assert browser.get(page_of(waiting)).status_code == 404
    assert signed_in(small_world.engineer).get(page_of(waiting)).status_code == 200
    own = ask(small_world, actor=small_world.client, up_to="pre_energisation")
    assert browser.get(page_of(own)).status_code == 200


def test_who_finds_a_dossier(small_world: World) -> None:
    elsewhere = Site.objects.create(project=small_world.project, code="VOF", name="Vexley Outfall")
    visitor = make_user(username="visitor", name="Una Threlkeld")
    make_member(project=small_world.project, user=visitor, role=Role.FIELD_ENGINEER, sites=[elsewhere])
    of_system, of_project = built(small_world), built(small_world, scope="project")
    for dossier in (of_system, of_project):
        for part in ((), ("read",), ("download",), ("content",)):
            url = page_of(dossier, *part)
            for person in (small_world.manager, small_world.engineer, small_world.client):
                assert signed_in(person).get(url).status_code == 200, url
            for person in (visitor, small_world.stranger, make_project().manager):
                assert signed_in(person).get(url).status_code == 404, url


def test_the_page_of_a_built_dossier_holds_what_proves_it(small_world: World) -> None:
    accepted(small_world)
    dossier = built(small_world)
    answer = signed_in(small_world.client).get(page_of(dossier))
    said = main_words(answer)
    assert dossier.pdf_sha256 in said
    assert dossier.content_sha256 in said
    assert "shows that nothing was changed since, not who signed" in said
    assert page_of(dossier, "download") in links(answer)
    assert page_of(dossier, "comments") in links(answer)


def test_the_essentials_are_read_from_what_was_frozen(small_world: World) -> None:
    accepted(small_world)
    dossier = built(small_world)
    small_world.system.name = "Renamed since"
    small_world.system.save()
    said = main_words(signed_in(small_world.client).get(page_of(dossier, "read")))
    assert "GUB10 Telecom supply" in said
    assert "Renamed since" not in said
    assert "Accepted by Perpetua Lunn, client" in said
    assert "Pre-energisation: Not started." in said


def test_a_dossier_is_asked_for_on_us_letter(small_world: World) -> None:
    browser = signed_in(small_world.manager)
    sent = {"covers": f"system:{small_world.system.pk}", "paper": "LETTER"}
    answer = browser.post(address(small_world.project.code, "dossiers", "new"), sent)
    dossier = Dossier.objects.get()
    assert answer["Location"] == page_of(dossier)
    with pytest.raises(Conflict, match="other paper"):
        ask(small_world)
    dossier = run(dossier)
    with pikepdf.open(BytesIO(pdf_of(dossier))) as pdf:
        assert {tuple(map(float, page.MediaBox)) for page in pdf.pages} == {(0, 0, 612, 792)}
        assert json.loads(pdf.attachments["content.json"].get_file().read_bytes())["paper"] == "LETTER"
    assert "paper=LETTER" in "".join(links(browser.get(page_of(dossier))))


def test_a_second_revision_shows_what_changed(small_world: World) -> None:
    first = built(small_world)
    accepted(small_world)
    second = built(small_world)
    said = main_words(signed_in(small_world.manager).get(page_of(second)))
    assert "What changed since revision 1" in said
    assert "state" in said
    said = main_words(signed_in(small_world.manager).get(page_of(first)))
    assert "superseded by revision 2" in said


# Asking and following --------------------------------------------------------------------------------------------


def test_what_is_missing_is_said_before_asking(small_world: World) -> None:
    browser, code = signed_in(small_world.manager), small_world.project.code
    url = address(code, "dossiers", "new")
    said = main_words(browser.get(url, {"covers": f"system:{small_world.system.pk}", "up_to": ""}))
    assert "It would be interim : 4 things missing" in said
    assert "Mechanical completion Not started." in said
    assert Dossier.objects.count() == 0
    accepted(small_world)
    said = main_words(browser.get(url, {"covers": "project", "up_to": "mechanical_completion"}))
    assert "It would be complete : nothing is missing" in said


def test_the_form_sent_twice_asks_once(small_world: World) -> None:
    browser, code = signed_in(small_world.client), small_world.project.code
    url = address(code, "dossiers", "new")
    key = re.search(r'name="client_uuid" value="([^"]+)"', browser.get(url).content.decode()).group(1)
    data = {"covers": f"system:{small_world.system.pk}", "up_to": "", "reason": "Asked", "client_uuid": key}
    first, second = browser.post(url, data), browser.post(url, data)
    assert first["Location"] == second["Location"] == address(code, "dossiers", key)
    assert Dossier.objects.get().job.arguments["reason"] == "Asked"


def test_a_form_that_names_nothing_keeps_what_was_typed(small_world: World) -> None:
    url = address(small_world.project.code, "dossiers", "new")
    answer = signed_in(small_world.manager).post(url, {"covers": "system:none", "reason": "Kept words"})
    assert answer.status_code == 422
    assert "Kept words" in answer.content.decode()


def test_a_field_engineer_is_told_who_asks(small_world: World) -> None:
    url = address(small_world.project.code, "dossiers", "new")
    browser = signed_in(small_world.engineer)
    assert "A manager or the client asks for a dossier" in main_words(browser.get(url))
    answer = browser.post(url, {"covers": "project"})
    assert (answer.status_code, Dossier.objects.count()) == (422, 0)


def test_progress_is_followed_until_it_ends(small_world: World) -> None:
    dossier, browser = ask(small_world), signed_in(small_world.manager)
    job = Job.objects.filter(pk=dossier.job_id)
    began = timezone.now() - timedelta(minutes=3)
    job.update(state="running", words="drawing section 3 of 9", done=3, total=12, started_at=began)
    answer = browser.get(page_of(dossier))
    assert f"{page_of(dossier)}?part=progress" in answer.content.decode()
    said = browser.get(page_of(dossier), {"part": "progress"}).content.decode()
    assert "drawing section 3 of 9" in said
    assert "About 9 minutes left" in said
    job.update(state="done")
    assert browser.get(page_of(dossier), {"part": "progress"})["HX-Refresh"] == "true"


def test_a_dossier_is_cancelled_and_asked_for_again(small_world: World) -> None:
    dossier = ask(small_world)
    assert signed_in(small_world.engineer).post(page_of(dossier, "cancel")).status_code == 403
    browser = signed_in(small_world.manager)
    assert browser.post(page_of(dossier, "cancel")).status_code == 302
    assert fresh(dossier).job.state == JobState.CANCELLED
    assert "ask again" in browser.get(page_of(dossier)).content.decode()
    browser.post(page_of(dossier, "again"))
    assert fresh(dossier).job.state == JobState.WAITING


def test_why_it_failed_stands_on_its_page(small_world: World) -> None:
    dossier = ask(small_world)
    jobs.fail(jobs.claim(dossier.job_id, "a worker"), "There is no room left on the disk.")
    assert "There is no room left on the disk." in main_words(signed_in(small_world.manager).get(page_of(dossier)))
    assert signed_in(small_world.manager).get(page_of(dossier, "download")).status_code == 404


# Downloading -----------------------------------------------------------------------------------------------------


def test_a_download_is_the_file_byte_for_byte(small_world: World) -> None:
    dossier = built(small_world)
    answer = signed_in(small_world.client).get(page_of(dossier, "download"))
    assert hashlib.sha256(body(answer)).hexdigest() == dossier.pdf_sha256
    assert answer["Content-Type"] == "application/pdf"
    assert answer["Content-Length"] == str(dossier.pdf_bytes)
    assert answer["Content-Disposition"] == f'attachment; filename="{dossier.file_name}"'
    assert answer["Accept-Ranges"] == "bytes"
    content = signed_in(small_world.client).get(page_of(dossier, "content"))
    assert hashlib.sha256(body(content)).hexdigest() == dossier.content_sha256


@pytest.mark.parametrize(
    ("asked", "first", "last"),
    [("bytes=0-99", 0, 99), ("bytes=1000-", 1000, None), ("bytes=-500", -500, None), ("bytes=10-99999999", 10, None)],
)
def test_a_download_that_broke_off_is_resumed(small_world: World, asked: str, first: int, last: int | None) -> None:
    """Published: RFC 9110, 14.1.2 (byte ranges) and 15.3.7 (partial content)."""
    dossier = built(small_world)
    whole, size = pdf_of(dossier), dossier.pdf_bytes
    answer = signed_in(small_world.engineer).get(page_of(dossier, "download"), headers={"Range": asked})
    begin, end = first % size if first < 0 else first, size - 1 if last is None else last
    assert (answer.status_code, answer["Content-Range"]) == (206, f"bytes {begin}-{end}/{size}")
    assert body(answer) == whole[begin : end + 1]
    assert answer["Content-Length"] == str(end + 1 - begin)


def test_parts_are_given_only_of_the_same_file(small_world: World) -> None:
    """Published: RFC 9110, 13.1.2, 13.1.5 and 15.5.17."""
    dossier = built(small_world)
    browser, url = signed_in(small_world.client), page_of(dossier, "download")
    tag = browser.get(url)["ETag"]

    def status(**headers: str) -> int:
        return browser.get(url, headers={name.replace("_", "-"): value for name, value in headers.items()}).status_code

    assert status(Range="bytes=0-9", If_Range=tag) == 206
    assert status(Range="bytes=0-9", If_Range='"another"') == 200
    assert status(Range=f"bytes={dossier.pdf_bytes}-") == 416
    assert status(Range="bytes=0-1,5-6") == 200
    assert status(Range="lines=0-1") == 200
    assert status(Range="bytes=9-2") == 200
    assert status(If_None_Match=tag) == 304
    head = browser.head(url)
    assert (head.status_code, head["Content-Length"], head.content) == (200, str(dossier.pdf_bytes), b"")


# Checking and receiving ------------------------------------------------------------------------------------------


def test_the_check_page_tells_our_own_file(small_world: World) -> None:
    first = built(small_world)
    data = pdf_of(first)
    answer = uploaded(small_world.engineer, data)
    assert "unchanged Ours, and not a byte differs" in main_words(answer)
    assert page_of(first) in links(answer)
    built(small_world)
    assert "superseded by revision 2" in main_words(uploaded(small_world.engineer, data))


def test_the_check_page_names_the_part_that_differs(small_world: World) -> None:
    data = pdf_of(built(small_world))
    at = data.index(b"stream", len(data) // 3) + 40
    answer = uploaded(small_world.client, data[:at] + bytes([data[at] ^ 1]) + data[at + 1 :])
    said = main_words(answer)
    assert "Ours once, and changed since" in said
    assert "What differs" in said
    assert "Not one of our dossiers" in main_words(uploaded(small_world.client, b"%PDF-1.4 of somebody else"))


def test_the_check_page_gives_a_stranger_no_way_in(small_world: World) -> None:
    dossier = built(small_world)
    answer = uploaded(small_world.stranger, pdf_of(dossier))
    assert "unchanged" in main_words(answer)
    assert page_of(dossier) not in links(answer)
    number = dossier.label.rpartition(" rev ")[0]
    assert f"no dossier {number}" in main_words(signed_in(small_world.stranger).get(f"/check/{number}/1/"))


def test_the_code_on_the_cover_leads_to_what_is_on_record(small_world: World) -> None:
    dossier = built(small_world)
    number = dossier.label.rpartition(" rev ")[0]
    answer = signed_in(small_world.client).get(f"/check/{number}/1/")
    assert dossier.pdf_sha256 in main_words(answer)
    assert "the latest revision" in main_words(answer)
    for strange in (f"/check/{number}/9/", "/check/NONE-D-0001/1/", "/check/words/1/"):
        assert "There is no dossier" in main_words(signed_in(small_world.client).get(strange))


def test_a_file_has_to_be_chosen(small_world: World) -> None:
    assert signed_in(small_world.client).post("/check/", {}).status_code == 422
    assert uploaded(small_world.client, b"").status_code == 422


def test_the_client_signs_the_receipt_on_the_page(small_world: World) -> None:
    dossier = built(small_world)
    browser, url = signed_in(small_world.client), page_of(dossier, "receive")
    wrong = browser.post(url, {"password": "not it", "remark": "Kept"})
    assert wrong.status_code == 422
    assert "Kept" in wrong.content.decode()
    assert browser.post(url, {"password": PASSWORD}).status_code == 302
    said = main_words(browser.get(page_of(dossier)))
    assert "Received by Perpetua Lunn , client" in said
    assert "sign the receipt" not in said
    assert "sign the receipt" not in main_words(signed_in(small_world.manager).get(page_of(dossier)))
