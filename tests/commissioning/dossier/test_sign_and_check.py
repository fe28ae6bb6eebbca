"""The signature, seen by another program; and the check, which names what was tampered with."""

from __future__ import annotations

import asyncio
from dataclasses import replace
from io import BytesIO
from pathlib import Path
from tempfile import TemporaryDirectory

import pikepdf
import pytest

from commissioning.dossier.check import Finding, Known, Outcome, signature_state
from commissioning.dossier.check import check as check_path
from commissioning.dossier.sign import SELF_MADE, make_demo_certificate, sign
from tests.commissioning.dossier.conftest import AT, Issued
from tests.commissioning.dossier.reading import pages_of, run


def check(data: bytes, known: list[Known]) -> Finding:
    with TemporaryDirectory() as folder:
        path = Path(folder) / "claimed.pdf"
        path.write_bytes(data)
        return check_path(path, known)


def test_pdfsig_says_valid_and_total_document_signed(issued: Issued) -> None:
    said = run("pdfsig", "-nocert", issued.signed)
    assert "Signature Validation: Signature is Valid." in said
    assert "Total document signed" in said
    assert "Apr 01 2025 12:05:00" in said


def test_the_block_on_the_cover_says_who_when_and_that_the_certificate_is_self_signed(issued: Issued) -> None:
    cover = pages_of(issued.signed)[0]
    for words in ("Signed by Dov Marrick", "2025-04-01 12:05:00+00:00", SELF_MADE):
        assert words in cover


def test_signing_leaves_the_built_bytes_as_they_are(issued: Issued) -> None:
    assert issued.signed.read_bytes().startswith(issued.pdf.read_bytes())


def test_signing_with_a_key_that_is_not_a_key_is_refused(issued: Issued, tmp_path: Path) -> None:
    with pytest.raises(ValueError):
        sign(issued.pdf, tmp_path / "s.pdf", certificate=b"", key=b"none", name="A", reason="B", at=AT)
    assert not (tmp_path / "s.pdf").exists()


def test_signing_and_checking_work_where_an_event_loop_runs_already(issued: Issued, tmp_path: Path) -> None:
    certificate, key = make_demo_certificate(name="Dov Marrick", at=AT)
    out = tmp_path / "s.pdf"

    async def signed_and_checked() -> str:
        sign(issued.pdf, out, certificate=certificate, key=key, name="Dov Marrick", reason="Handover", at=AT)
        return signature_state(out)

    assert asyncio.run(signed_and_checked()) == "intact, covers the whole file"


def test_an_unchanged_dossier_is_ours_and_says_its_revision(issued: Issued) -> None:
    found = check(issued.signed.read_bytes(), [issued.known])
    assert found.outcome is Outcome.UNCHANGED
    assert (found.number, found.revision, found.superseded_by) == ("OMB-HD-0007", "B", "")
    assert found.signature == "intact, covers the whole file"
    assert "the latest revision" in found.words


def test_a_superseded_dossier_says_by_which(issued: Issued) -> None:
    found = check(issued.signed.read_bytes(), [replace(issued.known, superseded_by="C")])
    assert found.unchanged
    assert found.superseded_by == "C"
    assert "superseded by revision C" in found.words


def test_the_unsigned_original_is_known_as_such(issued: Issued) -> None:
    found = check(issued.pdf.read_bytes(), [issued.known])
    assert found.outcome is Outcome.UNSIGNED
    assert found.signature == "no signature"


def byte_flipped_in(issued: Issued, page: int) -> bytes:
    """The signed file with one byte of the page's own drawing flipped."""
    data = bytearray(issued.signed.read_bytes())
    with pikepdf.open(issued.pdf) as pdf:
        body = bytes(pdf.pages[page - 1].obj.Contents[0].read_raw_bytes())
    place = data.index(body) + len(body) // 2
    data[place] ^= 0x01
    return bytes(data)


def test_one_flipped_byte_is_named_by_its_page(issued: Issued) -> None:
    found = check(byte_flipped_in(issued, 6), [issued.known])
    assert found.outcome is Outcome.CHANGED
    assert found.parts == ("page 6",)
    assert found.signature.startswith(("broken", "unreadable"))


def test_one_flipped_byte_of_a_photo_is_named_by_its_page(issued: Issued) -> None:
    data = bytearray(issued.signed.read_bytes())
    with pikepdf.open(issued.pdf) as pdf:
        page, image = next((n, i) for n, p in enumerate(pdf.pages, 1) for i in p.get_images().values())
        photo = bytes(image.read_raw_bytes())
    data[data.index(photo) + 5000] ^= 0x40
    assert check(bytes(data), [issued.known]).parts == (f"page {page}",)


def test_one_flipped_byte_of_an_attachment_is_named(issued: Issued) -> None:
    data = bytearray(issued.signed.read_bytes())
    with pikepdf.open(issued.pdf) as pdf:
        stream = bytes(pdf.attachments["registers.xlsx"].obj.EF.F.read_raw_bytes())
    data[data.index(stream) + 100] ^= 0x10
    assert check(bytes(data), [issued.known]).parts == ("attachment registers.xlsx",)


def test_one_flipped_byte_of_the_signature_is_named(issued: Issued) -> None:
    data = bytearray(issued.signed.read_bytes())
    place = data.index(b"/Contents <", issued.known.unsigned_length) + 400
    data[place] = ord("0") if data[place] != ord("0") else ord("1")
    found = check(bytes(data), [issued.known])
    assert found.outcome is Outcome.CHANGED
    assert found.parts == ("signature",)


def test_a_swapped_page_is_named(issued: Issued) -> None:
    with pikepdf.open(issued.signed) as pdf:
        page = pdf.pages[6]
        del pdf.pages[6]
        pdf.pages.insert(5, page)
        pdf.save(buffer := BytesIO())
    found = check(buffer.getvalue(), [issued.known])
    assert found.outcome is Outcome.CHANGED
    assert found.parts == ("page 6 shows what was page 7", "page 7 shows what was page 6")


def test_a_removed_page_is_named(issued: Issued) -> None:
    with pikepdf.open(issued.signed) as pdf:
        del pdf.pages[-1]
        pdf.save(buffer := BytesIO())
    pages = issued.report.pages
    assert f"{pages - 1} pages instead of {pages}" in check(buffer.getvalue(), [issued.known]).parts


def test_a_removed_attachment_is_named(issued: Issued) -> None:
    with pikepdf.open(issued.signed) as pdf:
        del pdf.attachments["manifest.json"]
        pdf.save(buffer := BytesIO())
    assert check(buffer.getvalue(), [issued.known]).parts == ("attachment manifest.json was removed",)


def appended(issued: Issued, page: int) -> bytes:
    """An incremental update of the signed file that shows one page smaller, written by hand."""
    data = issued.signed.read_bytes()
    with pikepdf.open(issued.signed) as pdf:
        number, root = pdf.pages[page - 1].obj.objgen[0], pdf.Root.objgen[0]
        pdf.pages[page - 1].obj.MediaBox = [0, 0, 300, 300]
        body = pdf.pages[page - 1].obj.unparse(resolved=True)
    previous = data[data.rindex(b"startxref") + 9 :].split()[0]
    update = b"%d 0 obj\n%b\nendobj\n" % (number, body)
    table = b"xref\n%d 1\n%010d 00000 n \n" % (number, len(data))
    trailer = b"trailer\n<< /Size 9999 /Root %d 0 R /Prev %b >>\n" % (root, previous)
    return update + table + trailer + b"startxref\n%d\n%%%%EOF\n" % (len(data) + len(update))


def test_an_appended_update_is_named_with_the_page_it_changes(issued: Issued) -> None:
    extra = appended(issued, 8)
    found = check(issued.signed.read_bytes() + extra, [issued.known])
    assert found.outcome is Outcome.UPDATED
    assert found.parts == (f"appended update of {len(extra)} bytes", "page 8")
    assert found.signature == "intact, but bytes were added after it"


def test_a_truncated_file_is_not_taken_for_whole(issued: Issued) -> None:
    found = check(issued.signed.read_bytes()[: issued.known.unsigned_length // 2], [issued.known])
    assert found.outcome in {Outcome.CHANGED, Outcome.NOT_OURS}
    assert not found.unchanged


def test_a_strangers_file_is_not_ours(issued: Issued) -> None:
    pdf = pikepdf.new()
    pdf.add_blank_page()
    pdf.save(buffer := BytesIO())
    assert check(buffer.getvalue(), [issued.known]).outcome is Outcome.NOT_OURS
    assert check(b"not a document", [issued.known]).outcome is Outcome.NOT_OURS
