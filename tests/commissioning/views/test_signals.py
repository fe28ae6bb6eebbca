"""Signal points on their pages: the matrix, and two people with a phone each at the two ends of one."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from commissioning.models import Project, SignalPoint, SignalProof
from commissioning.services.register import create_signal_point
from commissioning.services.signals import fail_signal, force_signal, restore_signal, see_signal
from tests.commissioning.views.plant import energising
from tests.commissioning.views.reading import address, links, main_words, signed_in, words
from tests.support.world import World, make_project

pytestmark = pytest.mark.django_db

#: Session, person, project, membership, sites, how many, the page, its proofs, counts, what is asked, tags, projects.
BUDGET = 15


def _add(world: World, tag: str, description: str = "common alarm", **more: object) -> SignalPoint:
    return create_signal_point(
        actor=world.manager, system=world.system, tag=tag, description=description, far_end="DI 3/1", **more
    )


@pytest.fixture
def point(small_world: World) -> SignalPoint:
    """A point of a stage that is in hand."""
    energising(small_world)
    return _add(small_world, "K1")


def _url(world: World, point: SignalPoint, *more: str) -> str:
    return address(world.project.code, "signals", point.pk, *more)


def _proof_url(world: World, proof: SignalProof, deed: str) -> str:
    return address(world.project.code, "proofs", proof.pk, deed)


def _proved(world: World, point: SignalPoint) -> SignalProof:
    proof = force_signal(actor=world.engineer, point=point)
    see_signal(actor=world.second_engineer, proof=proof)
    return restore_signal(actor=world.engineer, proof=proof)


def _queries(world: World, query: str = "") -> int:
    browser = signed_in(world.manager)
    with CaptureQueriesContext(connection) as captured:
        assert browser.get(address(world.project.code, "signals") + query).status_code == 200
    return len(captured)


def test_the_number_of_queries_does_not_grow_with_the_points() -> None:
    few, many = make_project(), make_project()
    for world, count in ((few, 5), (many, 50)):
        energising(world)
        for number in range(count):
            one = _add(world, f"K{number:02d}")
            if number % 2:
                _proved(world, one)
    for query in ("", "?print=1", "?state=todo", "?state=left"):
        assert _queries(few, query) == _queries(many, query) <= BUDGET, query


def test_the_matrix_says_who_forced_saw_and_restored(small_world: World, point: SignalPoint) -> None:
    _proved(small_world, point)
    for query in ("", "?print=1"):
        said = main_words(signed_in(small_world.client).get(address(small_world.project.code, "signals") + query))
        for expected in ("K1", "common alarm", "relay output", "DI 3/1", "proved", "Tobin Ashgrove", "Wren Halloway"):
            assert expected in said, (query, expected)


def test_the_matrix_is_narrowed(small_world: World, point: SignalPoint) -> None:
    _add(small_world, "K2", "earth fault", direction="input")
    broken = _add(small_world, "K3", "fuse blown", stage_kind="energisation")
    _proved(small_world, point)
    fail_signal(
        actor=small_world.client, proof=force_signal(actor=small_world.engineer, point=broken), reason="Nothing seen."
    )
    expected = {
        "?state=proved": {"K1"},
        "?state=todo": {"K2", "K3"},
        "?state=not_forced": {"K2"},
        "?state=failed": {"K3"},
        "?state=left": {"K3"},
        "?state=forced": set(),
        "?direction=input": {"K2"},
        "?q=earth": {"K2"},
        "?stage=battery_connected": set(),
        f"?system={small_world.system.pk}": {"K1", "K2", "K3"},
        f"?site={small_world.site.pk}": {"K1", "K2", "K3"},
        "?state=nonsense": {"K1", "K2", "K3"},
    }
    browser = signed_in(small_world.engineer)
    for query, tags in expected.items():
        rows = browser.get(address(small_world.project.code, "signals") + query).context["rows"]
        assert {row["point"].tag for row in rows} == tags, query


def test_an_empty_matrix_says_what_belongs_there(small_world: World) -> None:
    said = main_words(signed_in(small_world.client).get(address(small_world.project.code, "signals")))
    assert "Every relay output and digital input" in said


def test_a_point_is_forced_seen_by_a_second_person_and_restored(small_world: World, point: SignalPoint) -> None:
    here, there = signed_in(small_world.engineer), signed_in(small_world.second_engineer)
    ready = here.get(_url(small_world, point))
    assert "Forcing a point can trip breakers" in words(ready)
    key = str(ready.context["force_form"]["client_uuid"].value())
    for _ in range(2):
        here.post(_url(small_world, point, "force"), {"client_uuid": key})
    proof = SignalProof.objects.get()
    asked = main_words(there.get(_url(small_world, point)))
    assert "Forced by Tobin Ashgrove at" in asked
    assert "Do you see it?" in asked
    own = main_words(here.get(_url(small_world, point)))
    assert "You forced it at" in own
    assert "Do you see it?" not in own
    seen = there.post(_proof_url(small_world, proof, "seen"), {"response_seconds": ""}, follow=True)
    assert "was seen at the far end" in words(seen)
    assert "It is still forced: restore it now." in main_words(here.get(_url(small_world, point)))
    done = here.post(_proof_url(small_world, proof, "restored"), follow=True)
    assert "K1 is proved end to end." in words(done)
    proof.refresh_from_db()
    assert (proof.seen_by, proof.restored_by) == (small_world.second_engineer, small_world.engineer)


def test_what_somebody_holds_forced_is_asked_of_the_others_on_the_list(small_world: World, point: SignalPoint) -> None:
    force_signal(actor=small_world.engineer, point=point)
    url = address(small_world.project.code, "signals")
    assert "Forced now: do you see it?" in words(signed_in(small_world.client).get(url))
    assert "Forced now" not in words(signed_in(small_world.engineer).get(url))


def test_whoever_forced_it_cannot_confirm_it_unless_the_project_says_so(small_world: World, point: SignalPoint) -> None:
    proof = force_signal(actor=small_world.engineer, point=point)
    browser = signed_in(small_world.engineer)
    refused = browser.post(_proof_url(small_world, proof, "seen"))
    assert refused.status_code == 422
    assert "Somebody else confirms it at the far end" in words(refused)
    Project.objects.update(far_end_by_second_person=False)
    assert "Do you see it?" in words(browser.get(_url(small_world, point)))
    browser.post(_proof_url(small_world, proof, "seen"), {"response_seconds": "2.5"})
    proof.refresh_from_db()
    assert proof.response_seconds == 2.5


def test_a_response_time_that_is_no_number_is_refused_and_stays(small_world: World, point: SignalPoint) -> None:
    proof = force_signal(actor=small_world.engineer, point=point)
    answer = signed_in(small_world.client).post(_proof_url(small_world, proof, "seen"), {"response_seconds": "fast"})
    assert answer.status_code == 422
    assert "Write the seconds as a number" in words(answer)
    assert 'value="fast"' in answer.content.decode()


def test_the_far_end_says_what_it_saw_instead(small_world: World, point: SignalPoint) -> None:
    proof = force_signal(actor=small_world.engineer, point=point)
    browser = signed_in(small_world.client)
    empty = browser.post(_proof_url(small_world, proof, "failed"), {"reason": ""})
    assert "Say what the far end saw instead." in words(empty)
    failed = browser.post(_proof_url(small_world, proof, "failed"), {"reason": "<b>K2</b> came up"}, follow=True)
    assert "&lt;b&gt;K2&lt;/b&gt; came up" in failed.content.decode()
    assert "<b>K2</b>" not in failed.content.decode()
    assert "It is still forced: restore it now." in main_words(
        signed_in(small_world.engineer).get(_url(small_world, point))
    )


def test_the_page_asks_again_while_a_proof_is_open_and_is_told_only_what_changed(
    small_world: World, point: SignalPoint
) -> None:
    proof = force_signal(actor=small_world.engineer, point=point)
    browser = signed_in(small_world.second_engineer)
    page = browser.get(_url(small_world, point))
    assert 'hx-trigger="every 2s"' in page.content.decode()
    poll = page.context["poll_url"]
    assert browser.get(poll).status_code == 204
    see_signal(actor=small_world.client, proof=proof)
    changed = browser.get(poll)
    assert changed.status_code == 200
    assert "Seen at the far end by Perpetua Lunn" in words(changed)
    assert "<html" not in changed.content.decode()
    restore_signal(actor=small_world.engineer, proof=proof)
    assert 'hx-trigger="every' not in browser.get(_url(small_world, point)).content.decode()


def test_an_answer_to_a_proof_that_was_begun_anew_is_refused(small_world: World, point: SignalPoint) -> None:
    old = force_signal(actor=small_world.engineer, point=point)
    force_signal(actor=small_world.engineer, point=point)
    answer = signed_in(small_world.client).post(_proof_url(small_world, old, "seen"))
    assert answer.status_code == 422
    assert "was forced again since" in words(answer)
    old.refresh_from_db()
    assert old.seen_at is None


def test_a_point_of_a_stage_that_is_not_in_hand_is_not_forced(small_world: World) -> None:
    one = _add(small_world, "K9")
    browser = signed_in(small_world.engineer)
    assert _url(small_world, one, "force") not in links(browser.get(_url(small_world, one)))
    answer = browser.post(_url(small_world, one, "force"))
    assert answer.status_code == 422
    assert "its signal points are proved while it is in hand" in words(answer)
    assert not SignalProof.objects.exists()


def test_the_client_confirms_but_does_not_force(small_world: World, point: SignalPoint) -> None:
    browser = signed_in(small_world.client)
    assert _url(small_world, point, "force") not in links(browser.get(_url(small_world, point)))
    assert "As client you cannot force a signal" in words(browser.post(_url(small_world, point, "force")))
    assert not SignalProof.objects.exists()


def test_a_stranger_finds_no_point(small_world: World, point: SignalPoint) -> None:
    proof = force_signal(actor=small_world.engineer, point=point)
    browser = signed_in(small_world.stranger)
    assert browser.get(_url(small_world, point)).status_code == 404
    assert browser.get(_url(small_world, point) + "?part=proof").status_code == 404
    assert browser.post(_url(small_world, point, "force")).status_code == 404
    for deed in ("seen", "failed", "restored"):
        assert browser.post(_proof_url(small_world, proof, deed)).status_code == 404


def test_every_proof_stays_on_the_page(small_world: World, point: SignalPoint) -> None:
    first = force_signal(actor=small_world.engineer, point=point)
    fail_signal(actor=small_world.client, proof=first, reason="Wrong way round.")
    _proved(small_world, point)
    said = main_words(signed_in(small_world.manager).get(_url(small_world, point)))
    assert "Wrong way round." in said
    assert "forced again since" in said


def test_markup_in_a_point_stays_text(small_world: World) -> None:
    one = _add(small_world, "K1<i>", "<script>alert(1)</script>")
    for url in (
        _url(small_world, one),
        address(small_world.project.code, "signals"),
        address(small_world.project.code, "signals") + "?print=1",
    ):
        html = signed_in(small_world.manager).get(url).content.decode()
        assert "&lt;script&gt;alert(1)&lt;/script&gt;" in html
        assert "<script>alert" not in html
        assert "K1<i>" not in html
