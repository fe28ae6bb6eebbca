"""The script with the calculations: one address for one content, kept for good, small."""

from __future__ import annotations

import gzip

from django.test import Client

from calcs.javascript import build
from commissioning import phone_formulas


def test_the_script_is_sent_to_anybody_and_may_be_kept_for_good():
    found = Client().get(phone_formulas.url())
    assert found.status_code == 200
    assert found["Content-Type"].startswith("text/javascript")
    assert found["Cache-Control"] == "public, max-age=31536000, immutable"
    assert found.content.decode() == build()


def test_a_browser_that_can_unpack_gets_it_packed():
    found = Client().get(phone_formulas.url(), headers={"accept-encoding": "gzip, br"})
    assert (found["Content-Encoding"], found["Vary"]) == ("gzip", "Accept-Encoding")
    assert gzip.decompress(found.content).decode() == build()
    # the page of a procedure has 200 kB for all of its script and style
    assert len(found.content) < 60_000


def test_another_content_has_another_address():
    assert Client().get("/phone/formulas.0123456789abcdef.js").status_code == 404
