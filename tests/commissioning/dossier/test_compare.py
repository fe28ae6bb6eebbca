"""What changed between two revisions."""

from __future__ import annotations

import copy

from commissioning.dossier.compare import changes
from tests.commissioning.dossier import sample


def test_equal_contents_have_no_changes() -> None:
    content = sample.content(2)
    assert changes(content, copy.deepcopy(content)) == []


def test_what_every_revision_changes_is_not_listed() -> None:
    content = sample.content(1)
    later = {**content, "revision": "C", "issued_at": "2031-05-01T12:00:00+00:00", "previous": None}
    assert changes(content, later) == []


def test_a_changed_reading_is_named_by_system_record_and_field() -> None:
    before = sample.content(1)
    after = copy.deepcopy(before)
    after["systems"][0]["stages"][0]["check_records"][1]["readings"][0]["text"] = "123.00"
    old = before["systems"][0]["stages"][0]["check_records"][1]["readings"][0]
    place = f"+QPS00=BAT000, stages, mechanical_completion, check records, K-000-01, readings, {old['ref']}, text"
    assert changes(before, after) == [{"where": place, "kind": "changed", "before": old["text"], "after": "123.00"}]


def test_added_and_removed_rows_are_named() -> None:
    before = sample.content(2)
    after = copy.deepcopy(before)
    gone = after["systems"][0]["alarms"].pop(0)
    after["systems"][1]["photos"].append({**after["systems"][1]["photos"][0], "ref": "F-new", "caption": "New"})
    after["systems"].append({**sample.content(3)["systems"][2]})
    found = [(row["where"], row["kind"]) for row in changes(before, after)]
    assert found == [
        (f"+QPS00=BAT000, alarms, {gone['ref']}", "removed"),
        ("+QPS01=BAT001, photos, F-new", "added"),
        ("+QPS02=BAT002", "added"),
    ]


def test_order_of_systems_is_no_change() -> None:
    before = sample.content(3)
    after = {**before, "systems": list(reversed(before["systems"]))}
    assert changes(before, after) == []
