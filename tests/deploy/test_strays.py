"""Files that nothing names are taken away after a day; what the record names, or finds beside a name, never is."""

from __future__ import annotations

import os
import time
from io import StringIO
from pathlib import Path

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.core.management import CommandError, call_command

from commissioning.models import Dossier, DossierUnit, User
from deploy.operations import health, page, state, strays
from deploy.tasks import sweep_strays
from punchlist.models import Photo
from punchlist.services.photos import add_photo
from tests.punchlist.making import make_item, picture
from tests.support.records import one_of_each

pytestmark = pytest.mark.django_db

HOUR = 3600


def put(name: str, *, hours: float = 48) -> str:
    kept = default_storage.save(name, ContentFile(b"left by a killed process"))
    age(kept, hours=hours)
    return kept


def age(*names: str, hours: float) -> None:
    for name in names:
        os.utime(default_storage.path(name), (0, time.time() - hours * HOUR))


def on_disk() -> set[str]:
    """Asked of the file system, not of the store."""
    root = Path(default_storage.path(""))
    return {path.relative_to(root).as_posix() for path in root.rglob("*") if path.is_file()}


def sweep_by_command(**options: object) -> str:
    out = StringIO()
    call_command("sweep_files", stdout=out, **options)
    return out.getvalue()


def test_every_file_of_a_record_stays_however_old_and_everything_still_opens(small_world):
    records = one_of_each(small_world)
    dossier = Dossier.objects.get(pk=records.keys["dossier"])
    drawn = put(f"dossiers/{dossier.project_id}/{dossier.pk}/units/00000-drawn")
    DossierUnit.objects.create(dossier=dossier, number=0, start=0, length=1, stored=drawn)
    there = on_disk()
    assert {name.partition("/")[0] for name in there} >= {"photos", "certificates", "dossiers", "imports"}
    assert sum(name.startswith("recordings/") for name in there) == 3  # as it came, its head, its columns
    age(*there, hours=24 * 365)
    stray = put("photos/of/nobody.jpg")
    assert [one.name for one in strays.sweep()] == [stray]
    assert on_disk() == there


def test_what_nothing_names_goes_after_a_day_and_not_before(small_world):
    old = {put(f"dossiers/p/d/1-killed/{name}") for name in ("content.json", "files.json", "D-1.pdf")}
    old |= {put("recordings/p/ab.head.json"), put("recordings/p/ab.0123.parquet"), put("health/gone")}
    young = put("photos/p/just-now.jpg", hours=23.9)
    assert {one.name for one in strays.sweep()} == old
    assert on_disk() == {young}
    assert state.last("strays").facts == {"files": 6, "bytes": 6 * len(b"left by a killed process")}


def test_a_folder_that_the_sweep_does_not_know_is_left_alone(small_world):
    name = put("of-a-later-version/one.bin")
    assert strays.sweep() == []
    assert on_disk() == {name}


def test_an_export_lies_for_a_week(small_world):
    project = small_world.project.pk
    week, eight_days = put(f"exports/{project}/a/a.zip", hours=6 * 24), put(f"exports/{project}/b/b.zip", hours=8 * 24)
    assert [one.name for one in strays.sweep()] == [eight_days]
    assert on_disk() == {week}


def test_a_dry_run_says_what_would_go_and_leaves_it(small_world):
    name = put("photos/p/old.jpg")
    assert sweep_by_command(dry_run=True).splitlines()[0].startswith(f"{name}, 24 bytes of ")
    assert on_disk() == {name}
    assert "1 files of 24 bytes were taken away" in sweep_by_command()
    assert on_disk() == set()


def test_a_store_that_is_mostly_strays_is_not_this_databases_and_is_left_alone(small_world, client, monkeypatch):
    names = {put(f"photos/of-another-database/{number}.jpg") for number in range(strays.FEW + 1)}
    with pytest.raises(CommandError, match=r"Nothing was taken away\. Nothing names 21 of 21 files"):
        sweep_by_command()
    sweep_strays()
    assert on_disk() == names
    operator = User.objects.create_superuser("operator", "operator@ombrefell.example", "a long password of hers")
    client.force_login(operator)
    monkeypatch.setattr(page, "prober", lambda: health.Prober({"files": health.files}))
    assert "Nothing names 21 of 21 files" in client.get("/operator/").content.decode()
    sweep_by_command(however_many=True)
    assert on_disk() == set()


def test_what_was_stored_anew_since_it_was_listed_stays(small_world, monkeypatch):
    name = put("photos/p/old.jpg")
    listed = strays.strays()
    age(name, hours=0)
    monkeypatch.setattr(strays, "strays", lambda **options: listed)
    assert strays.sweep() == []
    assert on_disk() == {name}


def test_a_photo_never_leans_on_a_file_that_may_be_swept_in_that_moment(small_world):
    item, second = make_item(small_world), make_item(small_world)
    first = add_photo(actor=small_world.engineer, item=item, file=picture())
    again = add_photo(actor=small_world.engineer, item=second, file=picture())
    assert (again.file.name, again.thumbnail.name) == (first.file.name, first.thumbnail.name)
    Photo.objects.all().delete()  # what a rolled back transaction leaves: files without a row
    age(*on_disk(), hours=48)
    listed = strays.strays()
    assert len(listed) == 2
    photo = add_photo(actor=small_world.engineer, item=item, file=picture())
    for one in listed:  # the sweep goes on with what it had listed
        default_storage.delete(one.name)
    assert on_disk() == {photo.file.name, photo.thumbnail.name}
