"""Addresses of pages and records: there, or left out."""

from __future__ import annotations

from uuid import uuid4

from django.urls import resolve

from commissioning.views.base import navigation
from commissioning.views.links import page_url, record_url


def test_the_navigation_names_only_pages_that_are_there() -> None:
    addresses = [address for _, address, _ in navigation("OMB", "portfolio")]
    assert addresses[:2] == ["/p/OMB/", "/p/OMB/punch/"]
    assert all(resolve(address) for address in addresses)


def test_the_page_at_hand_is_marked_in_the_navigation() -> None:
    assert [label for label, _, current in navigation("OMB", "portfolio") if current] == ["Portfolio"]


def test_a_record_of_a_kind_without_pages_has_no_address() -> None:
    assert record_url(code="OMB", kind="weather", id=str(uuid4())) == ""


def test_a_page_that_is_not_there_is_an_empty_address() -> None:
    assert page_url("no-such-page", "OMB") == ""


def test_what_is_asked_of_a_page_is_escaped() -> None:
    assert page_url("portfolio", "OMB", q="a&b=c") == "/p/OMB/?q=a%26b%3Dc"
