"""Whoever tampers with a dossier, in its file or in the database behind it, is caught and what they touched is named.

Each deed is tried through the page and through `manage.py dossier_check`.
"""

from __future__ import annotations

import tracemalloc
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from io import BytesIO, StringIO
from pathlib import Path

import pikepdf
import pytest
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile, TemporaryUploadedFile
from django.core.management import CommandError, call_command
from django.db import transaction

from commissioning.models import Acceptance, AuditEntry, Dossier, Job, Reading, StageState, SupplyPoint, System
from commissioning.services import readings
from commissioning.services.dossier_check import check_file
from commissioning.services.dossier_record import check_record
from commissioning.services.stages import withdraw_acceptance
from tests.commissioning.views.plant import accepted, energising, pass_lines
from tests.commissioning.views.reading import main_words, signed_in
from tests.commissioning.views.run_plant import meter, supply_line
from tests.support.dossiers import built, fresh, pdf_of
from tests.support.emptying import behind_the_back
from tests.support.world import World

pytestmark = pytest.mark.django_db
HOLDS = "Row, audit log and content file agree, and nothing that was printed was edited past the product."


def said_of(world: World, data: bytes, folder: Path) -> tuple[str, str]:
    """What the page and the command say of a file."""
    page = signed_in(world.manager).post("/check/", {"file": SimpleUploadedFile("d.pdf", data, "application/pdf")})
    path, out = folder / "claimed.pdf", StringIO()
    path.write_bytes(data)
    try:
        call_command("dossier_check", str(path), stdout=out)
    except CommandError as error:
        out.write(str(error))
    return main_words(page), " ".join(out.getvalue().split())


def measured(world: World) -> Reading:
    """A stage with a reading, so that there is something to edit."""
    stage = energising(world)
    pass_lines(list(stage.lines.all()), by=world.engineer)
    line = supply_line(stage, key="supply", order=11, title="Supply at the incomer")
    instruments = {"measured": meter(world)}
    return readings.record_reading(
        actor=world.engineer, line=line, typed={"measured": "231.4"}, instruments=instruments
    )


# The file ----------------------------------------------------------------------------------------------------------


def one_byte(data: bytes) -> bytes:
    with pikepdf.open(BytesIO(data)) as pdf:
        body = bytes(pdf.pages[4].obj.Contents[0].read_raw_bytes())
    at = data.index(body) + len(body) // 2
    return data[:at] + bytes([data[at] ^ 1]) + data[at + 1 :]


def swapped_page(data: bytes) -> bytes:
    with pikepdf.open(BytesIO(data)) as pdf:
        page = pdf.pages[5]
        del pdf.pages[5]
        pdf.pages.insert(4, page)
        pdf.save(out := BytesIO())
    return out.getvalue()


def appended_update(data: bytes) -> bytes:
    """An incremental update that shows page 5 smaller, written by hand."""
    with pikepdf.open(BytesIO(data)) as pdf:
        number, root = pdf.pages[4].obj.objgen[0], pdf.Root.objgen[0]
        pdf.pages[4].obj.MediaBox = [0, 0, 300, 300]
        body = pdf.pages[4].obj.unparse(resolved=True)
    previous = data[data.rindex(b"startxref") + 9 :].split()[0]
    update = b"%d 0 obj\n%b\nendobj\n" % (number, body)
    table = b"xref\n%d 1\n%010d 00000 n \n" % (number, len(data))
    trailer = b"trailer\n<< /Size 9999 /Root %d 0 R /Prev %b >>\n" % (root, previous)
    return data + update + table + trailer + b"startxref\n%d\n%%%%EOF\n" % (len(data) + len(update))


def removed_attachment(data: bytes) -> bytes:
    with pikepdf.open(BytesIO(data)) as pdf:
        del pdf.attachments["registers.xlsx"]
        pdf.save(out := BytesIO())
    return out.getvalue()


def test_what_was_done_to_the_file_is_named_by_page_and_command(small_world: World, tmp_path: Path) -> None:
    accepted(small_world)
    data = pdf_of(built(small_world))
    page, command = said_of(small_world, data, tmp_path)
    assert "Ours, and not a byte differs" in page
    assert "What differs" not in page
    assert HOLDS in page
    assert "unchanged since it was signed" in command
    assert "row, audit log, content file and what was printed agree" in command
    for tamper, named in (
        (one_byte, ["page 5"]),
        (swapped_page, ["page 5 shows what was page 6", "page 6 shows what was page 5"]),
        (appended_update, ["appended update of", "page 5"]),
        (removed_attachment, ["attachment registers.xlsx was removed"]),
    ):
        page, command = said_of(small_world, tamper(data), tmp_path)
        for words in (*named, "It is not a dossier of ours, unchanged."):
            assert words in command, tamper.__name__
            assert words in page or words.startswith("It is"), tamper.__name__


# The database --------------------------------------------------------------------------------------------------------


def edit_row(dossier: Dossier) -> None:
    Dossier.objects.filter(pk=dossier.pk).update(pdf_sha256="0" * 64)


def edit_both_hashes(dossier: Dossier) -> None:
    Dossier.objects.filter(pk=dossier.pk).update(pdf_sha256="0" * 64, content_sha256="1" * 64, interim=False)


def edit_job(dossier: Dossier) -> None:
    Job.objects.filter(pk=dossier.job_id).update(result={**dossier.job.result, "unsigned_bytes": 7})


def edit_log(dossier: Dossier) -> None:
    entry = AuditEntry.objects.get(action="dossier_built")
    AuditEntry.objects.filter(pk=entry.pk).update(data={**entry.data, "interim": False})


def edit_older_entry(dossier: Dossier) -> None:
    AuditEntry.objects.filter(action="stage_accepted").update(words="Nobody accepted anything.")


def edit_reading(dossier: Dossier) -> None:
    reading = Reading.objects.get()
    outputs = {name: {**value, "value": 0.1} for name, value in reading.result["outputs"].items()}
    Reading.objects.update(result={**reading.result, "outputs": outputs}, inputs=[])


def edit_system(dossier: Dossier) -> None:
    System.objects.filter(pk=dossier.system_id).update(name="Another supply")


def edit_acceptance(dossier: Dossier) -> None:
    one = Acceptance.objects.earliest("signed_at")
    Acceptance.objects.filter(pk=one.pk).update(signed_content={**one.signed_content, "stage": "energisation"})


def edit_supply(dossier: Dossier) -> None:
    SupplyPoint.objects.filter(system=dossier.system_id).update(lock_number="L-999")


def edit_content_file(dossier: Dossier) -> None:
    path = Path(default_storage.path(dossier.content.name))
    path.write_bytes(path.read_bytes().replace(b"Telecom", b"Nonsens"))


EDITS: tuple[tuple[Callable[[Dossier], None], list[str]], ...] = (
    (edit_row, ["Row of the dossier: the SHA-256 of the PDF is 0000"]),
    (edit_both_hashes, ["the SHA-256 of the content is 1111", "whether it is interim is False there, but True"]),
    (edit_job, ["the length before signing is 7 there"]),
    (edit_log, ["says OMB", "was edited: its hash is not that of what it says"]),
    (edit_older_entry, ["(Nobody accepted anything.) is not the one that the dossier prints"]),
    (edit_reading, ["readings, GUB10-R001, value: printed '0.6", "edited past the product"]),
    (edit_system, ["GUB10, name: printed 'Telecom supply', now 'Another supply'", "edited past the product"]),
    (edit_acceptance, ["Acceptance of GUB10, Mechanical completion: its row is not what was signed"]),
    (edit_supply, ["lock number: printed 'L-204', now 'L-999'"]),
    (edit_content_file, ["Content file: its SHA-256 is not the one in the audit log"]),
)


def test_a_row_that_was_edited_in_the_database_is_named_by_page_and_command(small_world: World, tmp_path: Path) -> None:
    measured(small_world)
    dossier = built(small_world)
    data = pdf_of(dossier)
    assert check_record(dossier).holds
    for edit, named in EDITS:
        with edited(dossier, edit):
            page, command = said_of(small_world, data, tmp_path)
        for words in (*named, "does not hold together"):
            assert words in page, edit.__name__
        for words in (*named, "The file is unchanged, but the record here is not"):
            assert words in command, edit.__name__
        assert "Ours, and not a byte differs" in page
    assert check_record(dossier).holds


@contextmanager
def edited(dossier: Dossier, edit: Callable[[Dossier], None]) -> Iterator[None]:
    """The record after an edit, which is undone afterwards."""
    path = Path(default_storage.path(dossier.content.name))
    content, before = path.read_bytes(), transaction.savepoint()
    with behind_the_back():
        edit(dossier)
    try:
        yield
    finally:
        transaction.savepoint_rollback(before)
        path.write_bytes(content)


def test_what_was_changed_in_order_is_no_fault(small_world: World, tmp_path: Path) -> None:
    stage = accepted(small_world)
    dossier = built(small_world)
    withdraw_acceptance(actor=small_world.manager, stage=stage, reason="Gland plate was not looked at.")
    page, command = said_of(small_world, pdf_of(dossier), tmp_path)
    assert "Changed since, as the audit log tells" in page
    assert HOLDS in page
    assert "Gland plate was not looked at." in command
    assert "edited past the product" not in command
    stage.refresh_from_db()
    assert stage.state != StageState.ACCEPTED


def test_a_stranger_hears_of_the_file_but_nothing_of_the_record(small_world: World, tmp_path: Path) -> None:
    dossier = built(small_world)
    edit_system(dossier)
    sent = {"file": SimpleUploadedFile("d.pdf", pdf_of(dossier), "application/pdf")}
    said = main_words(signed_in(small_world.stranger).post("/check/", sent))
    assert "Ours, and not a byte differs" in said
    assert "The record here" not in said
    assert "Another supply" not in said


# Size ----------------------------------------------------------------------------------------------------------------


def test_a_huge_file_is_checked_a_block_at_a_time(small_world: World, tmp_path: Path) -> None:
    """120 MB behind a dossier, and 120 MB of nothing: neither is held in memory, both are told for what they are."""
    dossier = fresh(built(small_world))
    padded, nothing = tmp_path / "padded.pdf", tmp_path / "nothing.pdf"
    padded.write_bytes(pdf_of(dossier))
    for path in (padded, nothing):
        with path.open("ab") as file:
            file.truncate(path.stat().st_size + 120 * 2**20)
    tracemalloc.start()
    try:
        outcomes = [check_file(path).finding.outcome for path in (padded, nothing)]
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert outcomes == ["changed by an appended update", "not ours"]
    assert peak < 30 * 2**20, f"{peak / 2**20:.0f} MB"


def test_the_page_says_what_it_takes(small_world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("commissioning.views.dossier_check.LARGEST", 1000)
    sent = {"file": SimpleUploadedFile("d.pdf", b"x" * 1001, "application/pdf")}
    answer = signed_in(small_world.manager).post("/check/", sent)
    assert answer.status_code == 422
    assert "larger than 512 MB. Check it on the server: manage.py dossier_check FILE.pdf." in main_words(answer)


def test_a_large_upload_is_read_where_it_lies(small_world: World, settings: pytest.FixtureRequest) -> None:
    settings.FILE_UPLOAD_MAX_MEMORY_SIZE = 10  # type: ignore[attr-defined]
    dossier = built(small_world)
    seen = []
    usual = TemporaryUploadedFile.temporary_file_path

    def noted(file: TemporaryUploadedFile) -> str:
        seen.append(file.size)
        return usual(file)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(TemporaryUploadedFile, "temporary_file_path", noted)
        sent = {"file": SimpleUploadedFile("d.pdf", pdf_of(dossier), "application/pdf")}
        said = main_words(signed_in(small_world.manager).post("/check/", sent))
    assert "not a byte differs" in said
    assert seen == [dossier.pdf_bytes]
