"""What a file that somebody uploaded may contain before anything in it is read: no macros, bombs or path tricks."""

from __future__ import annotations

import stat
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import PurePosixPath
from typing import IO
from xml.parsers import expat

from commissioning.errors import ServiceError

#: Largest upload, and largest size of everything in it once unpacked.
UPLOAD_BYTES = 50 * 2**20
UNPACKED_BYTES = 200 * 2**20
#: One table of shared texts is held in memory by the reader.
SHARED_TEXT_BYTES = 64 * 2**20
MEMBERS = 2000
_OLD_FORMAT = b"\xd0\xcf\x11\xe0"
_XML_ENDINGS = (".xml", ".rels", ".vml")


class Unreadable(ServiceError):
    """The file as a whole cannot be taken; the words say what to do instead."""


def size_of(file: IO[bytes]) -> int:
    file.seek(0, 2)
    size = file.tell()
    file.seek(0)
    return size


def open_zip(file: IO[bytes]) -> zipfile.ZipFile | None:
    """The file as a zip archive whose members may be read, or None when it is no archive. Raises `Unreadable`."""
    if size_of(file) > UPLOAD_BYTES:
        raise Unreadable(f"The file is larger than {UPLOAD_BYTES >> 20} MB. Split it into several workbooks.")
    head = file.read(4)
    file.seek(0)
    if head == _OLD_FORMAT:
        raise Unreadable("This is an old .xls workbook or one with a password. Save it as .xlsx without a password.")
    if head[:2] != b"PK":
        return None
    try:
        archive = zipfile.ZipFile(file)
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, ValueError, OSError):
        raise Unreadable("The file is damaged: it cannot be unpacked. Save it again and upload it anew.") from None
    _check_members(archive.infolist())
    return archive


def _check_members(members: list[zipfile.ZipInfo]) -> None:
    # A member never unpacks to more than its directory says: the reader stops there and then misses its checksum.
    if len(members) > MEMBERS or sum(member.file_size for member in members) > UNPACKED_BYTES:
        raise Unreadable(f"Unpacked, the file is larger than {UNPACKED_BYTES >> 20} MB. Split it into several files.")
    for member in members:
        parts = PurePosixPath(member.filename.replace("\\", "/")).parts
        if ".." in parts or parts[:1] == ("/",) or ":" in member.filename or "\x00" in member.orig_filename:
            raise Unreadable(f"The file holds a path that leads outside it ({member.filename!r}). Pack it anew.")
        if stat.S_ISLNK(member.external_attr >> 16):
            raise Unreadable(f"The file holds a link instead of a file ({member.filename!r}). Pack it anew.")
        if member.flag_bits & 1:
            raise Unreadable("The file is packed with a password. Pack it without one.")
        if member.filename.endswith("sharedStrings.xml") and member.file_size > SHARED_TEXT_BYTES:
            raise Unreadable("The workbook holds too much text. Split it into several workbooks.")


def is_workbook(archive: zipfile.ZipFile) -> bool:
    """Whether the archive is an XLSX workbook; another kind of office document, or one with macros, is refused."""
    names = {name.casefold() for name in archive.namelist()}
    if "mimetype" in names and "content.xml" in names:
        raise Unreadable("This is an OpenDocument file. Save it as .xlsx.")
    if "[content_types].xml" not in names:
        return False
    types = archive.read(next(name for name in archive.namelist() if name.casefold() == "[content_types].xml"))
    if b"macroenabled" in types.lower() or any(name.endswith(("vbaproject.bin", "vbadata.xml")) for name in names):
        raise Unreadable("The workbook holds macros. Save it as .xlsx, which has none.")
    if any(name.endswith("workbook.bin") for name in names):
        raise Unreadable("This is a binary workbook (.xlsb). Save it as .xlsx.")
    if "xl/workbook.xml" not in names:
        raise Unreadable("This is not a workbook. Save the register as .xlsx.")
    for member in archive.infolist():
        if member.filename.casefold().endswith(_XML_ENDINGS):
            _refuse_document_type(archive, member)
    return True


class _RootReached(Exception):
    """The prolog is over."""


def _refuse_document_type(archive: zipfile.ZipFile, member: zipfile.ZipInfo) -> None:
    """ECMA-376 part 2 forbids document type declarations in a package, and every entity bomb needs one."""
    parser = expat.ParserCreate()

    def declared(*_: object) -> None:
        raise Unreadable("The workbook holds XML declarations that no spreadsheet writes. Save it anew as .xlsx.")

    def root(*_: object) -> None:
        raise _RootReached

    parser.StartDoctypeDeclHandler = declared
    parser.StartElementHandler = root
    try:
        with archive.open(member) as stream:
            while chunk := stream.read(4096):
                parser.Parse(chunk)
    except _RootReached:
        return
    except (expat.ExpatError, zipfile.BadZipFile, zlib.error, NotImplementedError, EOFError, OSError):
        raise Unreadable("The workbook is damaged. Open it in a spreadsheet and save it anew as .xlsx.") from None


def csv_members(archive: zipfile.ZipFile) -> Iterator[zipfile.ZipInfo]:
    """The CSV files of an archive, wherever they lie in it; what an operating system adds is passed over."""
    for member in archive.infolist():
        path = PurePosixPath(member.filename)
        hidden = any(part.startswith((".", "__MACOSX")) for part in path.parts)
        if not member.is_dir() and not hidden and path.suffix.casefold() in (".csv", ".tsv", ".txt"):
            yield member
