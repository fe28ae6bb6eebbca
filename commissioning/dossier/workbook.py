"""Registers as an XLSX workbook, written row by row with fixed dates: the same rows give the same bytes."""

from __future__ import annotations

import re
import struct
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import IO, Any
from xml.sax.saxutils import escape, quoteattr
from zlib import crc32

from commissioning.dossier.packing import Packer

HEAD = b'<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
RELATIONS = "http://schemas.openxmlformats.org/package/2006/relationships"
OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
NOT_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")


class Workbook:
    """Sheets that grow by a row at a time on the disk and are packed at the end."""

    def __init__(self, folder: Path) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self.folder = folder
        self.sheets: dict[str, IO[bytes]] = {}

    def sheet(self, name: str, head: Sequence[str]) -> None:
        """Start a sheet with its row of heads, unless it was started."""
        if name in self.sheets:
            return
        file = self.sheets[name] = (self.folder / f"sheet{len(self.sheets) + 1}.xml").open("wb")
        panes = '<pane ySplit="1" topLeftCell="A2" activePane="bottomLeft" state="frozen"/>'
        file.write(HEAD + f'<worksheet xmlns="{MAIN}"><sheetViews><sheetView workbookViewId="0">{panes}'.encode())
        file.write(b"</sheetView></sheetViews><sheetData>")
        self.rows(name, [head])

    def rows(self, name: str, rows: Iterable[Sequence[Any]]) -> None:
        """Add rows to a sheet."""
        file = self.sheets[name]
        for row in rows:
            file.write(f"<row>{''.join(map(_cell, row))}</row>".encode())

    def save(self, path: Path) -> None:
        """Pack the workbook."""
        names = list(self.sheets)
        with path.open("wb") as file:
            pack = _Package(file)
            for member, text in _frame(names).items():
                pack.add(member, [HEAD, text.encode()])
            for number, name in enumerate(names, 1):
                self.sheets[name].write(b"</sheetData></worksheet>")
                self.sheets[name].close()
                pack.add(f"xl/worksheets/sheet{number}.xml", _blocks(self.folder / f"sheet{number}.xml"))
            pack.close()


class _Package:
    """The zip archive around a workbook's parts, packed by our own packer: `zipfile` would take the system's zlib."""

    DATE = (1980 - 1980) << 9 | 1 << 5 | 1
    VERSION, DEFLATED, WITH_UTF8_NAMES = 20, 8, 0x800

    def __init__(self, file: IO[bytes]) -> None:
        self.file = file
        self.entries: list[bytes] = []

    def add(self, member: str, blocks: Iterable[bytes]) -> None:
        """A part; its length and checksum are put before it when they are known."""
        name, at, packer, checksum, length = member.encode(), self.file.tell(), Packer(bare=True), 0, 0
        self.file.write(b"\0" * (30 + len(name)))
        for block in blocks:
            checksum, length = crc32(block, checksum), length + len(block)
            self.file.writelines(packer.add(block))
        self.file.write(packer.end())
        end = self.file.tell()
        size = end - at - 30 - len(name)
        common = struct.pack(
            "<5H3L2H", self.VERSION, self.WITH_UTF8_NAMES, self.DEFLATED, 0, self.DATE, checksum, size, length,
            len(name), 0,
        )  # fmt: skip
        self.file.seek(at)
        self.file.write(b"PK\x03\x04" + common + name)
        self.file.seek(end)
        self.entries.append(
            b"PK\x01\x02" + struct.pack("<H", self.VERSION) + common + struct.pack("<3H2L", 0, 0, 0, 0, at) + name
        )

    def close(self) -> None:
        """The list of the parts."""
        at, count, size = self.file.tell(), len(self.entries), sum(map(len, self.entries))
        self.file.writelines(self.entries)
        self.file.write(b"PK\x05\x06" + struct.pack("<4H2LH", 0, 0, count, count, size, at, 0))


def _blocks(path: Path) -> Iterable[bytes]:
    with path.open("rb") as file:
        while block := file.read(1 << 20):
            yield block


def _cell(value: Any) -> str:
    if value is None or value == "":
        return "<c/>"
    if isinstance(value, bool):
        return f'<c t="b"><v>{int(value)}</v></c>'
    if isinstance(value, int | float):
        return f"<c><v>{value!r}</v></c>"
    text = escape(NOT_XML.sub("", str(value)))
    return f'<c t="inlineStr"><is><t xml:space="preserve">{text}</t></is></c>'


def _frame(names: Sequence[str]) -> Mapping[str, str]:
    """The parts of the package beside its sheets."""
    numbers = range(1, len(names) + 1)
    sheet_type = "application/vnd.openxmlformats-officedocument.spreadsheetml"
    overrides = "".join(
        f'<Override PartName="/xl/worksheets/sheet{n}.xml" ContentType="{sheet_type}.worksheet+xml"/>' for n in numbers
    )
    sheets = "".join(
        f'<sheet name={quoteattr(name)} sheetId="{n}" r:id="rId{n}"/>' for n, name in zip(numbers, names, strict=True)
    )
    links = "".join(
        f'<Relationship Id="rId{n}" Type="{OFFICE}/worksheet" Target="worksheets/sheet{n}.xml"/>' for n in numbers
    )
    return {
        "[Content_Types].xml": (
            '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
            '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
            f'<Override PartName="/xl/workbook.xml" ContentType="{sheet_type}.sheet.main+xml"/>{overrides}</Types>'
        ),
        "_rels/.rels": (
            f'<Relationships xmlns="{RELATIONS}"><Relationship Id="rId1" '
            f'Type="{OFFICE}/officeDocument" Target="xl/workbook.xml"/></Relationships>'
        ),
        "xl/workbook.xml": f'<workbook xmlns="{MAIN}" xmlns:r="{OFFICE}"><sheets>{sheets}</sheets></workbook>',
        "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{RELATIONS}">{links}</Relationships>',
    }
