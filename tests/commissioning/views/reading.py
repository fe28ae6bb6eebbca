"""Reading a page as a person does: signed in, as words, without the markup."""

from __future__ import annotations

import re
from html import unescape
from typing import Any

from django.http import HttpResponse
from django.test import Client

from commissioning.models import User


def signed_in(user: User) -> Client:
    """A browser of its own in which the person is signed in."""
    browser = Client()
    browser.force_login(user)
    return browser


def words(answer: HttpResponse) -> str:
    """The page's words on one line."""
    text = answer.content.decode()
    body = text[text.index("<body") :] if "<body" in text else text
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", body)).split())


def main_words(answer: HttpResponse) -> str:
    """The words of the page itself, without its frame."""
    text = answer.content.decode()
    inner = text[text.index("<main") : text.index("<footer")]
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", inner)).split())


def links(answer: HttpResponse) -> list[str]:
    """Every address that the page links or posts to."""
    return [unescape(found) for found in re.findall(r'(?:href|action)="([^"]+)"', answer.content.decode())]


def address(code: str, *parts: Any) -> str:
    """`/p/<code>/<parts>/`."""
    return "/" + "/".join(["p", code, *(str(part) for part in parts)]) + "/"
