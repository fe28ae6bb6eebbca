"""Files in an S3-compatible store: every path that a file of the record takes, against a store of its own process.

moto's server speaks the protocol of S3; what lies in the bucket is asked of it by boto3 alone, not by the product.
"""

from __future__ import annotations

import hashlib
import sys
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from io import StringIO
from pathlib import Path
from typing import Any

import boto3
import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.core.management import call_command
from django.test import Client
from django.urls import reverse

from commissioning import stored_files
from commissioning.dossier.check import Outcome
from commissioning.models import AuditEntry, Dossier, Project
from commissioning.services.audit import first_broken_link
from deploy.operations import health, strays
from deploy.operations.backup import making
from deploy.settings.files import s3_options
from punchlist.models import Photo
from tests.punchlist.making import make_item, picture
from tests.support import programs
from tests.support.dossiers import built, checked
from tests.support.world import make_project

pytestmark = pytest.mark.django_db(transaction=True)

KEYS = {"aws_access_key_id": "only-for-tests", "aws_secret_access_key": "only-for-tests"}


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The address of a store in a process of its own."""
    port = programs.free_port()
    command = [str(Path(sys.executable).with_name("moto_server")), "-H", "127.0.0.1", "-p", str(port)]
    with programs.running(command, tmp_path_factory.mktemp("store") / "store.log"):
        programs.wait_until(lambda: programs.answers(port), what="the store")
        yield f"http://127.0.0.1:{port}"


@pytest.fixture
def bucket(store, settings, monkeypatch, request) -> Any:
    """A new bucket, made by the product's own command; the product's files go there, and boto3 looks into it."""
    name = f"tracker-{abs(hash(request.node.nodeid))}"
    for variable, value in (("ENDPOINT", store), ("KEY_ID", "only-for-tests"), ("SECRET", "only-for-tests")):
        monkeypatch.setenv(f"TRACKER_S3_{variable}", value)
    default = {"BACKEND": "storages.backends.s3.S3Storage", "OPTIONS": s3_options(name)}
    settings.STORAGES = {**settings.STORAGES, "default": default}
    said = [told(call_command, "make_bucket") for _ in range(2)]
    assert said == [f"The bucket {name} is made.\n", f"The bucket {name} is there.\n"]
    return boto3.resource("s3", endpoint_url=store, region_name="us-east-1", **KEYS).Bucket(name)


def told(command: Any, *args: Any, **options: Any) -> str:
    out = StringIO()
    command(*args, stdout=out, **options)
    return out.getvalue()


def lying_in(bucket: Any) -> dict[str, str]:
    """SHA-256 of everything in the bucket by its name."""
    return {one.key: hashlib.sha256(one.get()["Body"].read()).hexdigest() for one in bucket.objects.all()}


def signed_in(user: Any) -> Client:
    browser = Client()
    browser.force_login(user)
    return browser


def bytes_of(answer: Any) -> bytes:
    return b"".join(answer.streaming_content) if answer.streaming else answer.content


def test_a_photo_goes_up_and_comes_down_and_the_store_is_never_named_to_a_browser(bucket):
    world = make_project()
    item, browser = make_item(world), signed_in(world.engineer)
    address = reverse("punch-photos", args=[world.project.code, item.number])
    assert browser.post(address, {"photos": picture(), "caption": "Way 7"}).status_code in (200, 302)
    photo = Photo.objects.get()
    there = lying_in(bucket)
    assert there[photo.file.name] == photo.sha256
    assert set(there) == {photo.file.name, photo.thumbnail.name}
    page = browser.get(reverse("punch-item", args=[world.project.code, item.number])).content.decode()
    own = reverse("punch-photo", args=[world.project.code, photo.pk])
    assert own in page or own.removesuffix("/") in page
    assert bucket.name not in page
    answer = browser.get(own)
    assert (answer.status_code, hashlib.sha256(bytes_of(answer)).hexdigest()) == (200, photo.sha256)
    # Nobody else gets it: files have no address but the product's, which asks who is there each time.
    assert signed_in(world.stranger).get(own).status_code == 404


def test_a_dossier_is_built_into_the_store_and_any_part_of_it_is_fetched_alone(bucket):
    world = make_project()
    dossier = built(world)
    assert lying_in(bucket)[dossier.pdf.name] == dossier.pdf_sha256
    whole = bucket.Object(dossier.pdf.name).get()["Body"].read()
    assert checked(whole).outcome == Outcome.UNCHANGED

    fetched: list[int] = []
    events = default_storage.bucket.meta.client.meta.events
    events.register("after-call.s3.GetObject", lambda parsed, **more: fetched.append(parsed.get("ContentLength", 0)))
    browser = signed_in(world.client)
    address = reverse("dossier-download", args=[world.project.code, dossier.pk])
    answer = browser.get(address, headers={"Range": "bytes=1000-1999"})
    assert (answer.status_code, bytes_of(answer)) == (206, whole[1000:2000])
    answer = browser.get(address, headers={"Range": "bytes=-10"})
    assert (answer.status_code, bytes_of(answer)) == (206, whole[-10:])
    assert fetched == [1000, 10], "the rest stayed in the store"
    answer = browser.get(address)
    assert (answer.status_code, bytes_of(answer)) == (200, whole)
    bucket.Object(dossier.pdf.name).delete()
    assert browser.get(address).status_code == 404


def test_a_backup_brings_back_every_file_of_the_store(bucket, tmp_path):
    call_command("migrate", interactive=False, verbosity=0)
    world = make_project()
    dossier = built(world)
    there = lying_in(bucket)
    call_command("backup", to=tmp_path / "backups", stdout=StringIO())
    (made,) = making.complete(tmp_path / "backups")
    kept = {path.relative_to(made / "files").as_posix(): path for path in (made / "files").rglob("*") if path.is_file()}
    assert {name: hashlib.sha256(path.read_bytes()).hexdigest() for name, path in kept.items()} == there

    bucket.Object(dossier.pdf.name).delete()
    bucket.put_object(Key=str(dossier.content.name), Body=b"spoilt")
    bucket.put_object(Key="photos/later.jpg", Body=b"later")
    Project.objects.update(name="spoilt")
    call_command("restore", made, replace=True, stdout=StringIO())
    assert lying_in(bucket) == there
    assert Dossier.objects.get().pdf_sha256 == there[dossier.pdf.name]


def test_a_whole_project_goes_out_of_the_store_and_into_an_empty_one(bucket, tmp_path):
    world = make_project()
    dossier, path = built(world), tmp_path / "out.zip"
    there, entries = lying_in(bucket), AuditEntry.objects.count()
    call_command("export_project", world.project.code, path, stdout=StringIO())
    bucket.objects.all().delete()
    call_command("flush", interactive=False, verbosity=0)
    call_command("import_project", path, stdout=StringIO())
    assert lying_in(bucket) == there
    assert (Dossier.objects.get().pk, AuditEntry.objects.count()) == (dossier.pk, entries)
    assert first_broken_link(Project.objects.get()) is None


def test_what_nothing_names_and_what_was_half_sent_goes_after_a_day(bucket, monkeypatch):
    world = make_project()
    dossier = built(world)
    named = set(lying_in(bucket))
    default_storage.save("dossiers/killed/1/content.json", ContentFile(b"{}"))
    half = bucket.Object("photos/half.jpg").initiate_multipart_upload()
    half.Part(1).upload(Body=b"x" * 100)
    assert strays.sweep() == []
    # This store says of every upload that it began in 2010, so that a young one has to be told by another measure.
    monkeypatch.setattr(stored_files, "HALF_KEPT", timedelta(days=36_500))
    stored_files.clear_half_written()
    assert [one.id for one in bucket.multipart_uploads.all()] == [half.id]

    tomorrow = datetime.now(tz=UTC) + timedelta(hours=25)
    monkeypatch.setattr("django.utils.timezone.now", lambda: tomorrow)
    monkeypatch.setattr(stored_files, "HALF_KEPT", timedelta(days=1))
    assert [one.name for one in strays.sweep()] == ["dossiers/killed/1/content.json"]
    stored_files.clear_half_written()
    assert list(bucket.multipart_uploads.all()) == []
    assert set(lying_in(bucket)) == named
    assert dossier.pdf.name in named


def test_readiness_says_whether_the_store_takes_and_gives_back(bucket):
    prober = health.Prober({"files": health.files})
    assert prober.ask() == {"files": True}
    assert lying_in(bucket) == {}
    bucket.delete()
    assert prober.ask() == {"files": False}
