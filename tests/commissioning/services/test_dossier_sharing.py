"""A large dossier shared by workers: each system is drawn by one of them, any may die, and one dossier results."""

from __future__ import annotations

import os
import signal
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.core.files.storage import InMemoryStorage, Storage, default_storage
from django.utils import timezone

from commissioning.dossier import content_file, units
from commissioning.dossier.render import build
from commissioning.models import AuditEntry, Dossier, DossierUnit, Job, JobState
from commissioning.services import dossier_build, dossier_files, dossier_units, job_runs, jobs
from commissioning.services.dossier_units import process_of
from tests.commissioning.views.plant import add_lines, add_systems
from tests.support.dossiers import ask, checked, fresh, pdf_of, run
from tests.support.product import worker
from tests.support.programs import wait_until
from tests.support.world import World, make_project

pytestmark = pytest.mark.django_db


class ObjectStore(Storage):
    """As a store in production: files have names and no paths."""

    def __init__(self) -> None:
        self.inner = InMemoryStorage()
        for name in ("_open", "_save", "exists", "delete", "size", "listdir"):
            setattr(self, name, getattr(self.inner, name))


@pytest.fixture
def shared(monkeypatch: pytest.MonkeyPatch) -> None:
    """Dossiers of any size are shared, not large ones alone."""
    monkeypatch.setattr(dossier_units, "SHARED_FROM_BYTES", 0)


def frozen(world: World, monkeypatch: pytest.MonkeyPatch, systems: int = 4) -> Dossier:
    """A dossier of some systems whose run ended, as if killed, just when the content was on record."""
    add_systems(world, systems)
    dossier = ask(world, scope="project")

    def killed(*args: object) -> None:
        raise jobs.LeaseLost("as if it had been killed")

    with monkeypatch.context() as patch:
        patch.setattr(dossier_build, "_shared", killed)
        job_runs.run(dossier.job_id)
    Job.objects.filter(pk=dossier.job_id).update(lease_until=timezone.now() - timedelta(seconds=1))
    return fresh(dossier)


def drawn(dossier: Dossier) -> int:
    return dossier.units.exclude(stored="").count()


def test_a_small_dossier_is_not_shared_out(small_world: World) -> None:
    dossier = run(ask(small_world))
    assert dossier.job.result["drawers"] == 1
    assert not DossierUnit.objects.exists()


@pytest.mark.usefixtures("shared")
def test_each_system_is_had_by_one_worker_the_largest_first(
    small_world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    dossier = frozen(small_world, monkeypatch)
    names = ("one", "two", "one", "two", "one", "two")
    taken = [dossier_units.claim(dossier.pk, name) for name in names]
    held = [unit for unit in taken if unit]
    assert len(held) == dossier.units.count() == 5
    assert len({unit.number for unit in held}) == 5
    assert [unit.length for unit in held] == sorted((unit.length for unit in held), reverse=True)


@pytest.mark.usefixtures("shared")
def test_a_worker_that_falls_silent_loses_its_system_and_what_it_drew_is_not_kept(
    small_world: World, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    dossier = frozen(small_world, monkeypatch)
    silent = dossier_units.claim(dossier.pk, "silent")
    assert silent is not None
    silent_until = timezone.now() - timedelta(seconds=1)
    DossierUnit.objects.filter(pk=silent.pk).update(lease_until=silent_until)
    other = dossier_units.claim(dossier.pk, "another")
    assert other is not None
    assert (other.pk, other.lease_holder, other.attempts) == (silent.pk, "another", 2)
    with default_storage.open(dossier.content.name) as file:
        file.seek(other.start)
        text = file.read(other.length)
    prefix = dossier_files.shared_prefix(dossier)
    dossier_units.draw(other, text, size="A4", folder=tmp_path, prefix=prefix, told=None)
    with pytest.raises(dossier_units.UnitLost):
        dossier_units.draw(silent, text, size="A4", folder=tmp_path, prefix=prefix, told=None)
    assert len(default_storage.listdir(prefix)[1]) == drawn(dossier) == 1


@pytest.mark.usefixtures("shared")
def test_what_others_drew_is_taken_from_the_storage_and_gives_the_same_bytes(
    small_world: World, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, settings: Any
) -> None:
    """Workers on two machines: each has its own scratch, they share a storage that has no paths, as an object store."""
    memory = ObjectStore()
    monkeypatch.setattr(default_storage, "_wrapped", memory)
    dossier = frozen(small_world, monkeypatch)
    settings.DOSSIER_WORK_DIR = tmp_path / "other machine"
    assert dossier_units.help_out(dossier.pk) == 5
    assert list((tmp_path / "other machine").iterdir()) == []
    settings.DOSSIER_WORK_DIR = tmp_path / "this machine"
    monkeypatch.setattr(dossier_units.Sharing, "_draw", lambda *args: pytest.fail("drawn a second time"))
    dossier = run(dossier)
    result = dossier.job.result
    assert (result["drawers"], result["sections"]) == (1, 6)
    assert not DossierUnit.objects.exists()
    assert memory.listdir(dossier_files.shared_prefix(dossier))[1] == []
    with default_storage.open(dossier.content.name) as file:
        content = content_file.load(file, tmp_path / "content")
    alone = build(content, files=tmp_path.joinpath, workdir=tmp_path / "alone", out=tmp_path / "alone.pdf")
    assert alone.sha256 == result["unsigned_sha256"]
    assert checked(pdf_of(dossier)).unchanged


@pytest.mark.usefixtures("shared")
@pytest.mark.parametrize("spoilt", ["lost", "damaged", "of other tools"])
def test_what_is_lost_or_damaged_or_drawn_with_other_tools_is_drawn_again(
    small_world: World, monkeypatch: pytest.MonkeyPatch, spoilt: str
) -> None:
    dossier = frozen(small_world, monkeypatch, systems=2)
    dossier_units.help_out(dossier.pk)
    for unit in dossier.units.all():
        if spoilt == "of other tools":
            DossierUnit.objects.filter(pk=unit.pk).update(key="0" * 64)
            continue
        path = Path(default_storage.path(unit.stored))
        path.unlink() if spoilt == "lost" else path.write_bytes(path.read_bytes()[:-40])
    dossier = run(dossier)
    assert (dossier.job.result["sections"], checked(pdf_of(dossier)).unchanged) == (4, True)


@pytest.mark.usefixtures("shared")
def test_a_helper_that_cannot_draw_gives_the_system_back_and_the_job_says_what_is_wrong(
    small_world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    dossier = frozen(small_world, monkeypatch, systems=2)
    draw = units.draw

    def breaks(unit: units.Unit, folder: Path, **more: object) -> Path:
        if unit.number == 1:
            raise OSError(28, "No space left on device")
        return draw(unit, folder, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(units, "draw", breaks)
    for _ in range(dossier_units.ATTEMPTS + 1):
        dossier_units.help_out(dossier.pk)
    assert (drawn(dossier), dossier.units.get(number=1).attempts) == (2, dossier_units.ATTEMPTS)
    job_runs.run(dossier.job_id)
    failed = fresh(dossier)
    assert (failed.job.state, failed.built_at) == (JobState.WAITING, None)
    assert "no room left on the disk" in failed.job.words
    monkeypatch.undo()
    assert run(failed).job.result["drawers"] == 1


@pytest.mark.usefixtures("shared")
def test_a_cancelled_dossier_is_drawn_by_nobody_and_forgotten_after_a_week(
    small_world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    dossier = frozen(small_world, monkeypatch)
    unit = dossier_units.claim(dossier.pk, "one")
    dossier_units.give_back(unit)
    dossier_units.help_out(dossier.pk)
    jobs.cancel(job=dossier.job, actor=small_world.manager)
    assert dossier_units.claim(dossier.pk, "two") is None
    assert drawn(dossier) == 5
    dossier_units.clear_forgotten()
    assert drawn(dossier) == 5
    long_ago = timezone.now() - timedelta(days=8)
    Job.objects.filter(pk=dossier.job_id).update(finished_at=long_ago)
    dossier_units.clear_forgotten()
    assert drawn(dossier) == 0
    assert default_storage.listdir(dossier_files.shared_prefix(dossier))[1] == []


def test_two_workers_draw_one_dossier_and_either_may_be_killed(worker_folder: Path) -> None:
    """Two worker processes with scratch of their own; the one that has the job is killed in the middle of the drawing.

    The other goes on drawing, takes the job over when its lease has run out, and finishes the one dossier.
    """
    world = make_project()
    for system in add_systems(world, 20):
        add_lines(system.stages.last(), 600)  # enough pages that drawing them takes a second or two

    def job() -> Job:
        return Job.objects.get(pk=dossier.job_id)

    def drawers() -> set[str]:
        kept = dossier.units.exclude(stored="").values_list("lease_holder", flat=True)
        return set(map(process_of, kept))

    def scratch(name: str) -> dict[str, str]:
        return {"TRACKER_JOB_LEASE_SECONDS": "2", "TRACKER_TEST_WORK_DIR": str(worker_folder / name)}

    with worker(worker_folder, **scratch("a")) as one, worker(worker_folder, **scratch("b")) as two:
        dossier = ask(world, scope="project")
        wait_until(lambda: len(drawers()) == 2, what="both to have drawn a system")
        by = job().lease_holder
        first = one if pid_in(by) in children(one) else two
        os.killpg(first, signal.SIGKILL)
        assert job().state == JobState.RUNNING
        before = drawn(dossier)
        assert fresh(dossier).built_at is None
        wait_until(lambda: jobs.sweep() + 1 and job().state == JobState.DONE, what="the dossier")
    dossier = fresh(dossier)
    assert (job().attempts, dossier.revision) == (2, 1)
    assert dossier.job.result["drawers"] == 2
    assert dossier.job.result["sections"] == 22 > before >= 2
    assert AuditEntry.objects.filter(action="dossier_built").count() == 1
    folder = Path(default_storage.path(f"dossiers/{dossier.project_id}/{dossier.pk}"))
    assert len(list(folder.rglob("*.pdf"))) == 1
    assert checked(pdf_of(dossier)).unchanged


def pid_in(holder: str) -> int:
    return int(holder.split(":")[1])


def children(pid: int) -> set[int]:
    """A process and those that it started."""
    return {pid, *map(int, Path(f"/proc/{pid}/task/{pid}/children").read_text().split())}
