"""What travels inside the document: the content as data, the registers as a workbook, and a manifest of hashes."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from commissioning.dossier import registers
from commissioning.dossier.assemble import Attachment, chunks_of
from commissioning.dossier.canonical import deflate, dumps, text_of
from commissioning.dossier.images import FileDiffers
from commissioning.dossier.packing import Packer
from commissioning.dossier.workbook import Workbook

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


class Twin:
    """Reads the content once, a system at a time, and writes its machine-readable twin on the way."""

    def __init__(self, content: Mapping[str, Any], workdir: Path) -> None:
        self.content, self.folder = content, workdir / "attachments"
        self.folder.mkdir(parents=True, exist_ok=True)
        self.packer, self.digest, self.length = Packer(), hashlib.sha256(), 0
        self.file = (self.folder / "content.json.z").open("wb")
        self.book = Workbook(self.folder / "sheets")
        self.files: dict[str, dict[str, Any]] = {}
        self.overview: list[dict[str, Any]] = []
        self.content_sha256 = ""
        self.inside: list[Attachment] = []

    def _put(self, data: bytes) -> None:
        self.digest.update(data)
        self.length += len(data)
        self.file.writelines(self.packer.add(data))

    def systems(self) -> Iterator[tuple[int, Mapping[str, Any], bytes]]:
        """Every system with its number and text; the canonical text goes to the twin around them."""
        registers.start(self.book, self.content)
        lead = "{"
        for key in sorted(self.content):
            self._put(f"{lead}{json.dumps(key, ensure_ascii=False)}:".encode())
            lead = ","
            if key == "systems":
                yield from self._systems(self.content["systems"])
            else:
                self._put(dumps(self.content[key]).encode())
        self._put(b"}")
        self.file.write(self.packer.end())
        self.file.close()
        self.content_sha256 = self.digest.hexdigest()

    def _systems(self, systems: Any) -> Iterator[tuple[int, Mapping[str, Any], bytes]]:
        self._put(b"[")
        for number in range(len(systems)):
            text = text_of(systems, number)
            system = json.loads(text)
            self._put(b"," if number else b"")
            self._put(text)
            registers.add_system(self.book, system)
            self.overview.append(_overview(system))
            for photo in system.get("photos", []):
                self.files[photo["sha256"]] = {"kind": "photo", "system": system["tag"], "ref": photo["ref"]}
            yield number, system, text
        self._put(b"]")

    def finish(self) -> None:
        """Pack the attachments; each is stored compressed in the work folder."""
        found = [
            Attachment(
                "content.json", "The frozen content that this dossier prints", "application/json",
                self.folder / "content.json.z", self.content_sha256, self.length,
            )
        ]  # fmt: skip
        self.book.save(self.folder / "registers.xlsx")
        found.append(
            self._pack("registers.xlsx", "The registers as a workbook", XLSX, chunks_of(self.folder / "registers.xlsx"))
        )
        for instrument in self.content.get("instruments", []):
            for certificate in instrument.get("certificates", []):
                self.files[certificate["sha256"]] = {"kind": "certificate", "instrument": instrument["serial"]}
        manifest = {
            "attachments": {one.name: one.sha256 for one in found},
            "content_sha256": self.content_sha256,
            "files": self.files,
        }
        what = "SHA-256 of every photo and file"
        found.append(self._pack("manifest.json", what, "application/json", iter([dumps(manifest).encode()])))
        self.inside = sorted(found, key=lambda one: one.name)

    def _pack(self, name: str, what: str, media_type: str, chunks: Iterator[bytes]) -> Attachment:
        stored = self.folder / f"{name}.z"
        digest, length = deflate(chunks, stored)
        return Attachment(name, what, media_type, stored, digest, length)


def _overview(system: Mapping[str, Any]) -> dict[str, Any]:
    stages = system.get("stages", [])
    records = [record for stage in stages for record in stage.get("check_records", [])]
    return {
        "id": system["id"],
        "site": system["site"],
        "tag": system["tag"],
        "name": system["name"],
        "stages": [{"short": stage.get("short", stage["name"]), "state": stage["state"]} for stage in stages],
        "checks": len(records),
        "readings": sum(len(record.get("readings", [])) for record in records),
        "photos": len(system.get("photos", [])),
    }


def proved_path(path: Path, digest: str) -> Path:
    """The path, after proving that the file is the one that was frozen."""
    found = hashlib.sha256()
    for block in chunks_of(path):
        found.update(block)
    if found.hexdigest() != digest:
        raise FileDiffers(f"the file {digest} is not what was frozen: its SHA-256 differs")
    return path
