"""The pages of a golden dossier look as they did; a change of one digit, one word or one line of it is seen."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy
import pytest
from PIL import Image

from tests.commissioning.dossier import golden_pages


@pytest.fixture(scope="module")
def now(tmp_path_factory: pytest.TempPathFactory) -> list[Image.Image]:
    return golden_pages.drawn(golden_pages.content(), tmp_path_factory.mktemp("golden"))


def test_every_page_looks_as_its_golden_picture(now: list[Image.Image], tmp_path: Path) -> None:
    found = golden_pages.differences(golden_pages.kept(), now)
    new = golden_pages.keep_apart(now, tmp_path / "now") if found else ""
    assert not found, f"{'; '.join(found)}. New pictures: {new}; golden: {golden_pages.FOLDER}. {golden_pages.RENEW}"


def a_digit(content: dict[str, Any]) -> None:
    reading = next(r for s in content["systems"][0]["stages"] for c in s["check_records"] for r in c["readings"])
    assert reading["text"] != "122.76"
    reading["text"] = "122.76"


def a_letter(content: dict[str, Any]) -> None:
    alarm = content["systems"][0]["alarms"][0]
    alarm["ending"] = alarm["ending"].replace("removed", "renewed")


def a_point_of_a_plot(content: dict[str, Any]) -> None:
    content["systems"][0]["recordings"][0]["plots"][0]["series"][0]["values"][30] -= 2


def a_verdict(content: dict[str, Any]) -> None:
    reading = next(r for s in content["systems"][0]["stages"] for c in s["check_records"] for r in c["readings"])
    reading["verdict"] = "reject"


@pytest.mark.parametrize("change", [a_digit, a_letter, a_point_of_a_plot, a_verdict])
def test_a_small_change_is_seen_and_its_page_named(
    change: Callable[[dict[str, Any]], None], now: list[Image.Image], tmp_path: Path
) -> None:
    content = golden_pages.content()
    change(content)
    found = golden_pages.differences(now, golden_pages.drawn(content, tmp_path))
    assert any("mm from the top" in words for words in found), found


def test_other_smoothing_of_edges_is_no_difference(now: list[Image.Image]) -> None:
    """Another gamma of the smoothing moves greys and leaves black and white, as another renderer does."""
    softer = [picture.point([round(255 * (level / 255) ** 0.8) for level in range(256)]) for picture in now]
    assert any(numpy.asarray(a).tobytes() != numpy.asarray(b).tobytes() for a, b in zip(now, softer, strict=True))
    assert golden_pages.differences(now, softer) == []


def test_a_page_that_is_gone_or_of_another_size_is_said(now: list[Image.Image]) -> None:
    assert golden_pages.differences(now, now[:-1]) == [f"{len(now) - 1} pages instead of {len(now)}"]
    turned = [now[0].rotate(90, expand=True), *now[1:]]
    assert golden_pages.differences(now, turned)[0].startswith("page 1 is ")
