"""A whole project goes out in open formats and comes back the same, proved by hashes and by programs not ours."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import subprocess
import zipfile
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.core.management import CommandError, call_command
from django.db import connection
from django.utils import timezone

from commissioning.models import (
    AuditEntry,
    Calibration,
    CheckLine,
    Dossier,
    Instrument,
    Project,
    Reading,
    User,
    WitnessNotice,
)
from commissioning.models.append_only import missing_triggers
from commissioning.project_export import tables as export_tables
from commissioning.project_export.registers import csv_lines
from commissioning.project_export.rows import line_of, plain, record_of
from commissioning.services.audit import first_broken_link
from commissioning.stored_files import top_folders
from tests.support.records import Records, one_of_each
from tests.support.world import make_project


def and_what_has_no_page(records: Records) -> None:
    """Rows of the tables that no page shows by themselves."""
    project, now, keys = records.world.project, timezone.now(), records.keys
    line, by = CheckLine.objects.get(pk=keys["line"]), records.world.engineer
    line.proofs_of_dead.create(
        point_of_work="way 3", detector="VD 12", proved_before=True, proved_after=True, by=by, at=now
    )
    line.notices.create(planned_for=now + timedelta(days=3), given_by=by, words="At the gate.")
    line.witnessings.create(by=records.world.client, role="client", at=now)
    Reading.objects.exclude(line=None).first().instruments.add(keys["instrument"])
    Dossier.objects.get(pk=keys["dossier"]).units.create(number=0, start=0, length=17)
    project.outbox_items.create(
        **{"by": by, "kind": "reading", "made_at": now, "device_at": now, "received_at": now, "state": "needs_you"},
        **{
            "skew_seconds": 0.1 + 0.2,
            "body": {"measured": "48,10 V"},
            "content_hash": "0" * 64,
            "refusal": {"a": None},
        },
    )
    half = project.outbox_files.create(by=by, sha256="1" * 64, size=512, have=256, touched_at=now)
    half.parts.create(offset=0, data=bytes(range(256)))
    project.memberships.first().notices_off.create(kind="gate")
    WitnessNotice.objects.get(pk=keys["witness_notice"]).answers.create(by=by, answer="accepted")
    project.done_today.create(what="overdue", day=date(2031, 3, 10))


def emptied() -> None:
    """The same installation with nothing in it."""
    call_command("flush", interactive=False, verbosity=0)
    for kind in top_folders():
        for path in sorted(Path(default_storage.path(kind)).rglob("*"), reverse=True):
            path.unlink() if path.is_file() else path.rmdir()


def export(code: str, path: Path) -> dict[str, object]:
    call_command("export_project", code, path)
    with zipfile.ZipFile(path) as archive:
        return json.loads(archive.read("manifest.json"))


def rewritten(path: Path, to: Path, change: Callable[[dict[str, bytes]], None]) -> Path:
    """A copy of an archive with something changed in it."""
    with zipfile.ZipFile(path) as archive:
        entries = {name: archive.read(name) for name in archive.namelist()}
    change(entries)
    with zipfile.ZipFile(to, "w") as archive:
        for name, content in entries.items():
            archive.writestr(name, content)
    return to


def forged(entries: dict[str, bytes], name: str, content: bytes) -> None:
    """Change an entry as somebody would who also knows how the hashes are made."""
    manifest = json.loads(entries["manifest.json"])
    entries[name] = content
    manifest["entries"][name] |= {"sha256": hashlib.sha256(content).hexdigest(), "bytes": len(content)}
    counted = {key: one for key, one in manifest["entries"].items() if key not in ("README.txt", "fields.json")}
    text = json.dumps(counted, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    manifest["content_sha256"] = hashlib.sha256(text.encode()).hexdigest()
    entries["manifest.json"] = json.dumps(manifest).encode()


@pytest.mark.django_db(transaction=True)
def test_a_project_with_something_of_everything_comes_back_the_same(tmp_path, settings):
    settings.MEDIA_ROOT = tmp_path / "store"
    make_project()  # another one, so that numbers do not begin at one
    world = make_project(name="Ombrefell – supplies, '=1+1'")
    and_what_has_no_page(one_of_each(world))
    code, project = world.project.code, str(world.project.pk)
    default_storage.save(f"imports/{project}/odd name (1).upload", ContentFile(b"beside the record"))
    first = export(code, tmp_path / "first.zip")
    empty_tables = [name for name, one in first["entries"].items() if name.startswith("tables/") and not one["rows"]]
    assert not empty_tables, f"nothing on record of these, so nothing is proved: {empty_tables}"
    assert {name.split("/")[1] for name in first["entries"] if name.startswith("files/")} >= {
        *("photos", "recordings", "certificates", "dossiers", "imports")
    }
    _reads_without_us(tmp_path / "first.zip", tmp_path / "unpacked", code)
    with pytest.raises(CommandError, match="is here already"):
        call_command("import_project", tmp_path / "first.zip")

    emptied()
    call_command("import_project", tmp_path / "first.zip")
    assert [project.code for project in Project.objects.all()] == [code]
    assert first_broken_link(Project.objects.get()) is None
    assert AuditEntry.objects.count() == first["audit"]["entries"]
    assert missing_triggers(connection) == set()
    assert not any(person.has_usable_password() or person.is_superuser for person in User.objects.all())
    again = export(code, tmp_path / "again.zip")
    assert {key: one for key, one in again.items() if key != "made_at"} == {
        key: one for key, one in first.items() if key != "made_at"
    }
    make_project()  # keys go on where they were


def _reads_without_us(path: Path, to: Path, code: str) -> None:
    """Unpacked and checked by coreutils; every line is JSON, every register CSV, every field described."""
    with zipfile.ZipFile(path) as archive:
        archive.extractall(to)
    subprocess.run(["sha256sum", "--check", "--strict", "--quiet", "SHA256SUMS"], cwd=to, check=True)
    fields = json.loads((to / "fields.json").read_text())
    for name, told in fields.items():
        for line in (to / "tables" / f"{name}.jsonl").read_text("utf-8").splitlines():
            assert set(json.loads(line)) == set(told["fields"]), name
    people = (to / "people.jsonl").read_text("utf-8")
    assert "Isolde Marrack" in people
    assert "password" not in people
    with (to / "registers/equipment.csv").open(newline="", encoding="utf-8-sig") as file:
        assert any("GUB10-T1" in row for row in csv.reader(file))
    with (to / "documents.csv").open(newline="", encoding="utf-8-sig") as file:
        (dossier,) = csv.DictReader(file)
    pdf = (to / dossier["file"]).read_bytes()
    assert dossier["number"].startswith(code)
    assert pdf.startswith(b"%PDF")
    assert hashlib.sha256(pdf).hexdigest() == dossier["sha256"]
    assert [path for path in (to / "files/photos").rglob("*.jpg") if path.read_bytes().startswith(b"\xff\xd8")]


@pytest.mark.django_db(transaction=True)
def test_what_cannot_be_trusted_is_not_taken_in_and_leaves_nothing(tmp_path, settings):
    settings.MEDIA_ROOT = tmp_path / "store"
    world = make_project()
    default_storage.save(f"photos/{world.project.pk}/one.jpg", ContentFile(b"\xff\xd8one"))
    code, path = world.project.code, tmp_path / "one.zip"
    export(code, path)
    emptied()

    def manifest(**other: object) -> Callable[[dict[str, bytes]], None]:
        def change(entries: dict[str, bytes]) -> None:
            entries["manifest.json"] = json.dumps(json.loads(entries["manifest.json"]) | other).encode()

        return change

    def chain(entries: dict[str, bytes]) -> None:
        name = "tables/commissioning.auditentry.jsonl"
        forged(entries, name, entries[name].replace(b"Isolde Marrack", b"Somebody Else.", 1))

    def loose(entries: dict[str, bytes]) -> None:
        forged(entries, "tables/commissioning.site.jsonl", b"")

    def shape(entries: dict[str, bytes]) -> None:
        forged(entries, "tables/commissioning.site.jsonl", b'{"id":"x","colour":"blue"}\n')

    photo = f"files/photos/{world.project.pk}/one.jpg"
    wrong: list[tuple[str, Callable[[dict[str, bytes]], object], str]] = [
        ("photo", lambda entries: entries.update({photo: b"\xff\xd8two"}), "is not what the manifest says"),
        ("gone", lambda entries: entries.pop(photo), "does not hold what its manifest says"),
        ("more", lambda entries: entries.update({"files/../../out": b"x"}), "does not hold what its manifest says"),
        ("no manifest", lambda entries: entries.pop("manifest.json"), "no export of a project"),
        ("format", manifest(format="of another kind"), "does not read"),
        ("version", manifest(migrations=["commissioning.9999_later"]), "same version"),
        ("hash", manifest(content_sha256="0" * 64), "was changed"),
        ("chain", chain, "does not hold from entry"),
        ("loose rows", loose, "do not hold together|would not be the same"),
        ("other fields", shape, "other fields than this version"),
    ]
    for name, change, words in wrong:
        bad = rewritten(path, tmp_path / f"{name}.zip", change)
        with pytest.raises(CommandError, match=words):
            call_command("import_project", bad)
        assert (Project.objects.count(), User.objects.count()) == (0, 0), name
        assert not list(Path(default_storage.path("")).rglob("*.jpg")), name
    (tmp_path / "no.zip").write_bytes(b"no archive at all")
    with pytest.raises(CommandError, match="cannot be read"):
        call_command("import_project", tmp_path / "no.zip")

    User.objects.create_user(id=world.manager.pk, username="somebody-else", name="Maud Ferrars")
    with pytest.raises(CommandError, match="belongs to somebody else"):
        call_command("import_project", path)
    User.objects.all().delete()
    call_command("import_project", path)
    assert Project.objects.get().code == code
    assert User.objects.create_user(username="new", name="New").pk > world.client.pk  # people get new numbers


@pytest.mark.django_db
def test_a_project_that_is_not_there_and_a_file_that_is_missing_are_said(small_world, tmp_path, settings):
    settings.MEDIA_ROOT = tmp_path / "store"
    with pytest.raises(CommandError, match="no project NONE"):
        call_command("export_project", "NONE")
    meter = Instrument.objects.create(project=small_world.project, serial_number="MM-1")
    Calibration.objects.create(
        instrument=meter, certificate="certificates/gone.pdf", calibrated_on="2026-01-01", due_on="2027-01-01"
    )
    with pytest.raises(CommandError, match=r"certificates/gone\.pdf, which the record names, is not in the store"):
        call_command("export_project", small_world.project.code, tmp_path / "x.zip")
    assert list(tmp_path.glob("x.zip*")) == []


def test_every_model_leads_to_a_project_or_says_why_it_is_left_out():
    found = {table.name for table in export_tables.tables()}
    assert {"commissioning.project", "commissioning.auditentry", "commissioning.reading_instruments"} <= found
    assert {"punchlist.punchitem", "punchlist.photo", "commissioning.checkresult"} <= found
    paths = {table.name: table.path for table in export_tables.tables()}
    assert paths["commissioning.checkresult"] == "line__stage__system__project"
    assert paths["commissioning.project"] == "pk"
    labels = {model._meta.label for model in export_tables._models()}
    assert set(export_tables.NOT_OF_A_PROJECT) <= labels, "a reason for a model that is not there"


def test_every_kind_of_value_survives_its_line():
    for table in export_tables.tables():
        for field in table.fields:
            assert field.get_internal_type() != "AutoField"
    table = next(table for table in export_tables.tables() if table.name == "commissioning.project")
    project = Project(code="OMB", name='a "quoted" – line\nbreak \u2028 and = sign', guard_factor=0.1 + 0.2)
    project.created_at = None
    row = json.loads(line_of({field.attname: plain(getattr(project, field.attname)) for field in table.fields}))
    back = record_of(Project, table.fields, row)
    assert all(getattr(back, field.attname) == getattr(project, field.attname) for field in table.fields)


def test_a_register_carries_no_formula_into_a_spreadsheet():
    rows = [["=1+1", "+1", "-1 V", "@x", "\ttab", -5, 1.5, "plain, with comma", 'a "quote"']]
    text = b"".join(csv_lines(["a"] * 9, rows)).decode("utf-8-sig")
    (_, found) = csv.reader(io.StringIO(text))
    assert found == ["'=1+1", "'+1", "'-1 V", "'@x", "'\ttab", "-5", "1.5", "plain, with comma", 'a "quote"']
