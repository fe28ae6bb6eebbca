"""How much a phone has to fetch before it can work: all of the app's script and style, calculations with it."""

from __future__ import annotations

import re

import pytest
from django.test import Client

#: Over the air, packed.
ALLOWED_OCTETS = 200_000


@pytest.mark.django_db
def test_all_script_and_style_of_the_app_stays_under_200_kb_as_it_is_sent(client: Client) -> None:
    page = client.get("/phone/").content.decode()
    addresses = set(re.findall(r'"(/phone/[^"]+\.(?:js|css))"', page)) | set(
        re.findall(r'data-formulas="([^"]+)"', page)
    )
    answers = [client.get(address, headers={"Accept-Encoding": "gzip"}) for address in addresses]
    assert len(answers) > 40
    assert {answer["Content-Encoding"] for answer in answers} == {"gzip"}
    assert sum(len(answer.content) for answer in answers) < ALLOWED_OCTETS
