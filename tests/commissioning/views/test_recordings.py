"""Pages of test recordings: a log brought in, its columns confirmed, its result seen, its plot looked closer at."""

from __future__ import annotations

import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from commissioning.models import CheckLine, TestRecording
from tests.commissioning.views.reading import signed_in, words
from tests.support.log_lines import INPUTS, as_csv, as_xlsx, confirm, discharge_line, sound_test, upload
from tests.support.world import World, make_project

pytestmark = pytest.mark.django_db

LOG = as_csv(sound_test(weak={7: 0.2}).frame())


@pytest.fixture
def line(small_world: World) -> CheckLine:
    return discharge_line(small_world)


@pytest.fixture
def read(small_world: World, line: CheckLine) -> TestRecording:
    """A recording that was read and counts on its line."""
    return confirm(small_world, upload(small_world, LOG, line=line))


def page(name: str, world: World, *args: object) -> str:
    return reverse(name, args=[world.project.code, *args])


def sent(browser: Client, world: World, content: bytes, query: str, **fields: object) -> object:
    file = SimpleUploadedFile("test.csv", content)
    return browser.post(f"{page('recording-new', world)}?{query}", {"file": file, **fields})


def as_offered(html: str) -> dict[str, str]:
    """Fields of the page's form as they stand, as a browser would send them."""
    form = html[html.index('id="columns"') :]
    found = {}
    for name, options in re.findall(r'<select name="([^"]+)".*?>(.*?)</select>', form, re.S):
        chosen = re.search(r'value="([^"]*)" selected', options)
        found[name] = chosen[1] if chosen else ""
    return found


def test_a_log_is_brought_in_from_its_line_confirmed_and_read(small_world: World, line: CheckLine) -> None:
    browser = signed_in(small_world.engineer)
    answer = sent(browser, small_world, LOG, f"line={line.pk}")
    recording = TestRecording.objects.get()
    assert answer["Location"] == page("recording", small_world, recording.pk)
    shown = browser.get(answer["Location"]).content.decode()
    assert "24 cells: columns 4 to 27" in words(browser.get(answer["Location"]))
    fields = {**as_offered(shown), **INPUTS}
    answer = browser.post(page("recording-confirm", small_world, recording.pk), fields, follow=True)
    said = words(answer)
    assert "accept" in said
    assert "cell 7" in said
    assert "end voltage of 43.2 V reached" in said
    line.refresh_from_db()
    assert line.state == "passed"


def test_a_workbook_for_a_system_stands_by_itself(small_world: World) -> None:
    browser = signed_in(small_world.manager)
    content = as_xlsx(sound_test().frame())
    answer = sent(browser, small_world, content, f"system={small_world.system.pk}", kind="discharge")
    shown = browser.get(answer["Location"]).content.decode()
    recording = TestRecording.objects.get()
    fields = {**as_offered(shown), **INPUTS}
    said = words(browser.post(page("recording-confirm", small_world, recording.pk), fields, follow=True))
    assert "no check line is answered by it" in said


@pytest.mark.parametrize("content", [b"", b"no table here", b"PK\x03\x04broken", b"\xd0\xcf\x11\xe0old", b"\x00" * 50])
def test_what_is_no_log_is_refused_beside_the_field(small_world: World, content: bytes) -> None:
    answer = sent(
        signed_in(small_world.engineer), small_world, content, f"system={small_world.system.pk}", kind="float"
    )
    assert answer.status_code == 422
    assert 'class="errorlist"' in answer.content.decode()
    assert not TestRecording.objects.exists()


def test_columns_that_cannot_be_right_come_back_with_what_was_chosen(small_world: World, line: CheckLine) -> None:
    recording = upload(small_world, LOG, line=line)
    browser = signed_in(small_world.engineer)
    fields = {**as_offered(browser.get(page("recording", small_world, recording.pk)).content.decode()), **INPUTS}
    fields |= {"use_0": "", "unit_1": "kV", "temperature": "warm"}
    answer = browser.post(page("recording-confirm", small_world, recording.pk), fields)
    assert answer.status_code == 422
    assert "Say which column is the time" in words(answer)
    again = as_offered(answer.content.decode())
    assert (again["use_0"], again["unit_1"]) == ("", "kV")
    assert 'value="warm"' in answer.content.decode()


def test_a_log_that_cannot_be_read_says_why_and_asks_again(small_world: World, line: CheckLine) -> None:
    recording = upload(small_world, LOG, line=line)
    confirm(small_world, recording, time=1, voltage=0, units={})
    answer = signed_in(small_world.engineer).get(page("recording", small_world, recording.pk))
    assert "It could not be read" in words(answer)
    assert 'name="use_0"' in answer.content.decode()


def test_html_in_a_heading_and_in_a_name_stays_text(small_world: World) -> None:
    frame = sound_test(cells=4).frame().rename({"Cell 2 [V]": "<img src=x onerror=alert(1)>2"})
    recording = upload(small_world, as_csv(frame), name="<script>alert(2)</script>.csv")
    browser = signed_in(small_world.engineer)
    before = browser.get(page("recording", small_world, recording.pk)).content.decode()
    guess = {**recording.column_map, "cells": [3, 4, 5, 6], "units": {}}
    confirm(small_world, recording, inputs={**INPUTS, "cells": "4"}, **guess)
    after = browser.get(page("recording", small_world, recording.pk)).content.decode()
    for html in (before, after):
        assert "<img" not in html
        assert "<script>" not in html
    assert "&lt;img" in before


def test_the_page_of_a_read_log_draws_it_and_names_what_was_kept_out(small_world: World) -> None:
    frame = sound_test(weak={7: 0.2}).frame()
    recording = confirm(small_world, upload(small_world, as_csv(frame.head(60).vstack(frame.slice(90)))))
    answer = signed_in(small_world.client).get(page("recording", small_world, recording.pk))
    html = answer.content.decode()
    assert html.count('<svg class="drawing"') >= 4
    assert "charge in between is not counted" in words(answer)
    assert recording.raw_sha256 in html
    assert "?again=1" not in html, "a client changes nothing"


def test_a_window_of_the_plot_is_finer_and_every_answer_is_small(small_world: World, read: TestRecording) -> None:
    browser = signed_in(small_world.client)
    address = page("recording-plot", small_world, read.pk)
    whole = browser.get(address)
    window = browser.get(f"{address}?from=100&to=130")
    assert max(len(answer.content) for answer in (whole, window)) < 300_000
    times = window.json()["plots"][0]["times"]
    assert 100 <= times[0] <= times[-1] <= 130
    assert [plot["title"] for plot in whole.json()["plots"]][:3] == ["String voltage", "Current", "Cells"]
    drawn = browser.get(f"{page('recording-figures', small_world, read.pk)}?from=100&to=130")
    assert 'data-low="100.0"' in drawn.content.decode()
    assert len(drawn.content) < 300_000


@pytest.mark.parametrize("query", ["from=x", "from=9&to=3", "from=nan", "from=1e9&to=2e9", "to=-5"])
def test_a_window_that_cannot_be_is_told(small_world: World, read: TestRecording, query: str) -> None:
    browser = signed_in(small_world.engineer)
    answer = browser.get(f"{page('recording', small_world, read.pk)}?{query}")
    assert answer.status_code == 200
    assert "errorlist" in answer.content.decode()
    assert browser.get(f"{page('recording-plot', small_world, read.pk)}?{query}").status_code == 400


def test_the_raw_file_is_saved_and_never_shown(small_world: World, read: TestRecording) -> None:
    answer = signed_in(small_world.client).get(page("recording-raw", small_world, read.pk))
    assert b"".join(answer.streaming_content) == LOG
    assert answer["Content-Disposition"] == 'attachment; filename="log.csv"'
    assert answer["Content-Type"] == "application/octet-stream"
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert "sandbox" in answer["Content-Security-Policy"]


def test_the_list_is_narrowed_and_shows_what_came_of_each(small_world: World, read: TestRecording) -> None:
    upload(small_world, as_csv(sound_test().frame()), name="second.csv", kind="float")
    browser = signed_in(small_world.client)
    address = page("recordings", small_world)
    everything = words(browser.get(address))
    assert "accept" in everything
    assert "columns to confirm" in everything
    for query, found in (("kind=float", "second.csv"), ("state=read", "log.csv"), ("q=second", "second.csv")):
        html = browser.get(f"{address}?{query}").content.decode()
        assert re.findall(r'recordings/[0-9a-f-]{36}/">([^<]+)', html) == [found], query


def test_strangers_and_other_projects_find_nothing(small_world: World, read: TestRecording) -> None:
    other = make_project()
    names = ("recording", "recording-raw", "recording-plot", "recording-figures", "recording-progress")
    for name in names:
        assert signed_in(small_world.stranger).get(page(name, small_world, read.pk)).status_code == 404
        assert signed_in(other.manager).get(page(name, other, read.pk)).status_code == 404, name
        assert signed_in(small_world.client).get(page(name, small_world, read.pk)).status_code == 200, name
    assert signed_in(small_world.stranger).get(page("recordings", small_world)).status_code == 404


def test_a_client_neither_uploads_nor_confirms(small_world: World, line: CheckLine) -> None:
    browser = signed_in(small_world.client)
    assert 'type="file"' not in browser.get(f"{page('recording-new', small_world)}?line={line.pk}").content.decode()
    assert sent(browser, small_world, LOG, f"line={line.pk}").status_code == 422
    recording = upload(small_world, LOG, line=line)
    answer = browser.post(page("recording-confirm", small_world, recording.pk), {"use_0": "time"})
    assert answer.status_code == 422
    recording.refresh_from_db()
    assert recording.state == "to_confirm"


def test_the_line_leads_to_bringing_a_recording_in(small_world: World, line: CheckLine) -> None:
    html = signed_in(small_world.engineer).get(page("run-line", small_world, line.pk)).content.decode()
    assert f"{page('recording-new', small_world)}?line={line.pk}" in html
