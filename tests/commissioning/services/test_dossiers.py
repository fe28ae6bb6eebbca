"""Dossiers: asked for once, built whole or not at all, numbered, never changed; each says what it is missing."""

from __future__ import annotations

import errno
import hashlib
import threading
from datetime import timedelta
from pathlib import Path
from typing import Any
from uuid import uuid4

import pikepdf
import pytest
from django.core.files.storage import default_storage
from django.core.management import CommandError, call_command
from django.db import connection
from django.utils import timezone

from commissioning.errors import Conflict, InvalidInput, NotAllowed
from commissioning.models import AuditEntry, Dossier, Job, JobState, Role, Site, System
from commissioning.services import dossier_build, dossier_files, job_runs, jobs
from commissioning.services.audit import first_broken_link
from commissioning.services.dossiers import receive_dossier
from commissioning.services.stages import withdraw_acceptance
from punchlist.services.items import raise_item
from tests.commissioning.views.plant import accepted, add_systems
from tests.support import lifecycle
from tests.support.dossiers import ask, built, checked, fresh, pages_of, pdf_of, run
from tests.support.world import PASSWORD, World, make_member, make_project, make_system, make_user

pytestmark = pytest.mark.django_db


# Asking ----------------------------------------------------------------------------------------------------------


def test_asking_twice_while_one_waits_builds_one(small_world: World) -> None:
    first = ask(small_world)
    assert ask(small_world, actor=small_world.client, reason="Wanted as well") == first
    assert (Dossier.objects.count(), Job.objects.filter(kind="dossier").count()) == (1, 1)
    assert run(first).built_at
    assert job_runs.run(first.job_id) is None


def test_the_same_uuid_is_the_same_dossier_also_when_it_is_built(small_world: World) -> None:
    key = uuid4()
    first = built(small_world, id=key)
    assert ask(small_world, id=key) == first
    with pytest.raises(Conflict):
        ask(small_world, id=key, up_to="energisation")
    assert Dossier.objects.count() == 1


def test_numbers_are_given_once_in_a_project_and_revisions_keep_theirs(small_world: World) -> None:
    one = built(small_world)
    site = ask(small_world, scope="site", site=small_world.site)
    two = ask(small_world)
    dead = ask(small_world, up_to="pre_energisation")
    code = small_world.project.code
    assert [d.label for d in (one, site, two, dead)] == [
        f"{code}-D-0001 rev 1",
        f"{code}-D-0002 rev 1",
        f"{code}-D-0001 rev 2",
        f"{code}-D-0003 rev 1",
    ]
    other = make_project()
    assert ask(other).number == 1


def test_who_may_ask(small_world: World) -> None:
    elsewhere = Site.objects.create(project=small_world.project, code="VOF", name="Vexley Outfall")
    local = make_user(username="local", name="Una Threlkeld")
    make_member(project=small_world.project, user=local, role=Role.MANAGER, sites=[elsewhere])
    assert ask(small_world, actor=small_world.client)
    for person in (small_world.engineer, small_world.stranger, local):
        with pytest.raises(NotAllowed):
            ask(small_world, actor=person, up_to="energisation")
    with pytest.raises(NotAllowed, match="some sites"):
        ask(small_world, actor=local, scope="project")


@pytest.mark.parametrize(
    ("asked", "field"),
    [
        ({"scope": "site"}, "site"),
        ({"scope": "region"}, "scope"),
        ({"scope": "project", "up_to": "handover"}, "up_to"),
    ],
)
def test_a_scope_that_names_nothing_is_refused(small_world: World, asked: dict[str, Any], field: str) -> None:
    with pytest.raises(InvalidInput) as refused:
        ask(small_world, **asked)
    assert set(refused.value.fields) == {field}


def test_a_site_or_system_of_another_project_is_refused(small_world: World) -> None:
    other = make_project()
    with pytest.raises(InvalidInput):
        ask(small_world, scope="system", system=other.system)
    empty = Site.objects.create(project=small_world.project, code="VOF", name="Vexley Outfall")
    with pytest.raises(InvalidInput, match="no system"):
        ask(small_world, scope="site", site=empty)


# Building --------------------------------------------------------------------------------------------------------


def test_a_dossier_is_whole_signed_and_on_the_record(small_world: World, tmp_path: Path) -> None:
    accepted(small_world)
    dossier = built(small_world)
    data = pdf_of(dossier)
    assert (hashlib.sha256(data).hexdigest(), len(data)) == (dossier.pdf_sha256, dossier.pdf_bytes)
    with default_storage.open(dossier.content.name) as file:
        assert hashlib.sha256(file.read()).hexdigest() == dossier.content_sha256
    (tmp_path / "d.pdf").write_bytes(data)
    with pikepdf.open(tmp_path / "d.pdf") as pdf:
        assert len(pdf.pages) == dossier.pages
    found = checked(data)
    assert (found.outcome, found.signature) == ("unchanged", "intact, covers the whole file")
    entry = AuditEntry.objects.get(action="dossier_built")
    assert entry.data["pdf_sha256"] == dossier.pdf_sha256
    assert first_broken_link(small_world.project) is None
    assert not list(dossier_files.work_root().glob(f"{dossier.pk}*"))


def test_an_interim_dossier_says_on_page_two_what_is_missing(small_world: World, tmp_path: Path) -> None:
    stage = accepted(small_world)
    raise_item(actor=small_world.client, system=small_world.system, stage=stage, category="B", text="Label missing")
    dossier = built(small_world)
    cover, second, *_ = pages_of(dossier, tmp_path)
    assert dossier.interim
    assert "INTERIM - not complete; see page 2" in cover
    assert "What is missing" in second
    assert "3 things" not in second
    assert "4 things are missing" in second
    assert "Pre-energisation Not started." in second
    assert "Battery-connected Not started." in second
    assert "category B, is open: Label missing" in second


def test_a_dossier_up_to_a_stage_asks_for_no_more_than_that(small_world: World, tmp_path: Path) -> None:
    accepted(small_world)
    dossier = built(small_world, up_to="mechanical_completion")
    assert not dossier.interim
    pages = pages_of(dossier, tmp_path)
    assert "Nothing is missing" in pages[1]
    assert "up to mechanical completion" in pages[0]
    assert not any("Pre-energisation" in page for page in pages[2:6])


def test_later_edits_change_nothing_of_a_built_dossier(small_world: World) -> None:
    stage = accepted(small_world)
    dossier = built(small_world)
    before = (pdf_of(dossier), {name: getattr(dossier, name) for name in ("pdf_sha256", "content_sha256", "pages")})
    withdraw_acceptance(actor=small_world.manager, stage=stage, reason="Gland plate was not looked at.")
    small_world.system.name = "Renamed supply"
    small_world.system.save()
    assert job_runs.run(dossier.job_id) is None
    dossier = fresh(dossier)
    assert (pdf_of(dossier), {name: getattr(dossier, name) for name in before[1]}) == before
    assert checked(pdf_of(dossier)).unchanged


def test_the_next_revision_cites_the_one_before_and_prints_what_changed(small_world: World, tmp_path: Path) -> None:
    stage = accepted(small_world)
    first = built(small_world)
    withdraw_acceptance(actor=small_world.manager, stage=stage, reason="Gland plate was not looked at.")
    second = built(small_world, reason="Gate withdrawn")
    assert (second.number, second.revision, second.supersedes) == (first.number, 2, first)
    text = " ".join(pages_of(second, tmp_path))
    assert "What changed since revision 1" in text
    assert first.content_sha256[:16] in text
    assert "Gate withdrawn" in text
    assert "withdrawn reason" in text
    assert "Gland plate was not looked at." in text
    found = checked(pdf_of(first))
    assert (found.outcome, found.superseded_by) == ("unchanged", "2")


def test_a_dossier_of_the_project_holds_every_system(small_world: World, tmp_path: Path) -> None:
    systems = add_systems(small_world, 4)
    dossier = built(small_world, scope="project")
    text = " ".join(pages_of(dossier, tmp_path))
    assert all(f"{system.tag} Station supply" in text for system in systems)
    assert "The whole project" in text


# Stopping and going on -------------------------------------------------------------------------------------------


def test_a_cancelled_build_leaves_no_file_and_goes_on_from_its_sections(
    small_world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    add_systems(small_world, 3)
    dossier = ask(small_world, scope="project")
    heartbeat = jobs.heartbeat

    def cancelled_at_the_end(job: Job, words: str, done: int, total: int) -> None:
        if words == "signing and storing":
            jobs.cancel(job=Job.objects.get(pk=job.pk), actor=small_world.manager)
        heartbeat(job, words, done, total)

    monkeypatch.setattr(dossier_build.jobs, "heartbeat", cancelled_at_the_end)
    job_runs.run(dossier.job_id)
    monkeypatch.undo()
    dossier = fresh(dossier)
    assert (dossier.job.state, dossier.built_at, dossier.pdf.name) == (JobState.CANCELLED, None, "")
    frozen = dossier.content_sha256
    small_world.system.name = "Renamed since"
    small_world.system.save()
    jobs.ask_again(job=dossier.job, actor=small_world.manager)
    dossier = run(dossier)
    assert dossier.content_sha256 == frozen
    assert dossier.job.result["reused"] == dossier.job.result["sections"]


def test_asking_anew_after_a_failure_builds_the_same_revision(small_world: World) -> None:
    dossier = ask(small_world)
    jobs.cancel(job=dossier.job, actor=small_world.manager)
    assert ask(small_world) == dossier
    assert fresh(dossier).job.state == JobState.WAITING
    jobs.cancel(job=dossier.job, actor=small_world.manager)
    later = built(small_world, actor=small_world.client)
    assert later.revision == 2
    jobs.ask_again(job=fresh(dossier).job, actor=small_world.manager)
    job_runs.run(dossier.job_id)
    assert "A later revision" in fresh(dossier).job.error


def test_a_run_that_lost_its_job_writes_nothing(small_world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two workers never make two dossiers: the second takes the job over while the first is about to store."""
    dossier = ask(small_world)
    keep = dossier_files.keep
    begun, taken = [], []

    def overtaken(path: Path, name: str) -> str:
        stored = keep(path, name)
        if name.endswith(".pdf") and not begun:
            begun.append(name)
            Job.objects.filter(pk=dossier.job_id).update(lease_until=timezone.now() - timedelta(seconds=1))
            taken.append(job_runs.run(dossier.job_id))
        return stored

    monkeypatch.setattr(dossier_files, "keep", overtaken)
    job_runs.run(dossier.job_id)
    dossier = fresh(dossier)
    assert [job.state for job in taken] == [JobState.DONE]
    assert AuditEntry.objects.filter(action="dossier_built").count() == 1
    assert hashlib.sha256(pdf_of(dossier)).hexdigest() == dossier.pdf_sha256
    folder = Path(default_storage.path(f"dossiers/{dossier.project_id}/{dossier.pk}"))
    assert len(list(folder.rglob("*.pdf"))) == 1


def test_a_full_disk_is_said_in_words_and_shows_no_half_file(
    small_world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    dossier = ask(small_world)

    def full(self: object, name: str, content: object) -> str:
        if not name.endswith(".pdf"):
            return saved(name, content)
        raise OSError(errno.ENOSPC, "No space left on device")

    saved = default_storage._save
    monkeypatch.setattr(type(default_storage._wrapped), "_save", full)
    job_runs.run(dossier.job_id)
    dossier = fresh(dossier)
    assert (dossier.job.state, dossier.built_at, dossier.pdf.name) == (JobState.WAITING, None, "")
    assert "no room left on the disk" in dossier.job.words
    monkeypatch.undo()  # somebody made room: nobody has to ask again
    job_runs.run(dossier.job_id)
    assert fresh(dossier).job.state == JobState.DONE


# Checking and receiving ------------------------------------------------------------------------------------------


def test_a_changed_file_is_known_and_the_page_is_named(small_world: World) -> None:
    accepted(small_world)
    data = pdf_of(built(small_world))
    at = data.index(b"stream", len(data) // 3) + 40
    found = checked(data[:at] + bytes([data[at] ^ 1]) + data[at + 1 :])
    assert found.outcome == "changed"
    assert found.parts
    assert found.signature.startswith(("broken", "unreadable"))
    appended = checked(data + b"\n% something more\n")
    assert appended.outcome == "changed by an appended update"
    assert checked(b"%PDF-1.4 something else").outcome == "not ours"


def test_the_client_signs_for_a_dossier_once(small_world: World) -> None:
    dossier = built(small_world)
    with pytest.raises(NotAllowed):
        receive_dossier(actor=small_world.manager, dossier=dossier, password=PASSWORD)
    with pytest.raises(InvalidInput):
        receive_dossier(actor=small_world.client, dossier=dossier, password="wrong")
    entry = receive_dossier(actor=small_world.client, dossier=dossier, password=PASSWORD, remark="With thanks.")
    assert entry.data["pdf_sha256"] == dossier.pdf_sha256
    with pytest.raises(Conflict):
        receive_dossier(actor=small_world.client, dossier=dossier, password=PASSWORD)
    assert first_broken_link(small_world.project) is None


# Commands --------------------------------------------------------------------------------------------------------


def test_the_shell_builds_and_checks(small_world: World, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    make_system(site=small_world.site, tag="BUA10")
    code, out = small_world.project.code, tmp_path / "d.pdf"
    call_command("dossier_build", code, "--system", "BUA10", "--up-to", "energisation", "--out", str(out))
    assert f"{code}-D-0001 rev 1: interim" in capsys.readouterr().out
    call_command("dossier_check", str(out))
    said = capsys.readouterr().out
    assert "unchanged since it was signed" in said
    assert "Signature: intact, covers the whole file." in said
    out.write_bytes(out.read_bytes()[:-200])
    with pytest.raises(CommandError):
        call_command("dossier_check", str(out))
    with pytest.raises(CommandError, match="no system"):
        call_command("dossier_build", code, "--system", "NO-1")


def test_a_complete_dossier_prints_the_whole_way_of_a_system(small_world: World, tmp_path: Path) -> None:
    lifecycle.equip(small_world)
    lifecycle.isolate_all(small_world)
    signed = []
    for kind in ("mechanical_completion", "pre_energisation", "energisation", "battery_connected"):
        lifecycle.do_stage(small_world, kind)
        signed.append(lifecycle.accept(small_world, kind))
    dossier = built(small_world)
    assert not dossier.interim
    text = " ".join(pages_of(dossier, tmp_path, order="-raw"))
    assert all(one.signed_hash in text for one in signed)
    assert "released under PTE-1" in text
    assert "Proved dead at the point of work by Tobin Ashgrove" in text
    assert "Witnessed: Perpetua Lunn, client" in text
    assert "it is the record that was signed" in text


def test_the_record_stands_still_while_it_is_read_and_nobody_waits_for_it(transactional_db: None) -> None:
    """Somebody renames the last system while the first is being read: the dossier shows one moment, not two."""
    world = make_project()
    systems = [make_system(site=world.site, tag=f"ZZ{number:02d}") for number in range(25)]
    dossier = ask(world, scope="project")
    renamed: list[int] = []

    def rename() -> None:
        try:
            renamed.append(System.objects.filter(pk=systems[-1].pk).update(name="Renamed meanwhile"))
        finally:
            connection.close()

    reads = dossier_build._reads

    def reads_slowly(job: Job) -> Any:
        step = reads(job)

        def slowly(done: int, total: int) -> None:
            step(done, total)
            if done == 1:
                writer = threading.Thread(target=rename)
                writer.start()
                writer.join(15)

        return slowly

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(dossier_build, "_reads", reads_slowly)
        dossier = run(dossier)
    assert renamed == [1]
    with default_storage.open(dossier.content.name) as file:
        assert b"Renamed meanwhile" not in file.read()
    assert System.objects.get(pk=systems[-1].pk).name == "Renamed meanwhile"
