"""Files of test recordings: taken in and looked at, kept by their hash, opened again, and cut to a window of time.

Beside a raw file, which never changes, stand copies that can be made again at any time: its first rows, and its
readings after cleaning in columns that open fast.
"""

from __future__ import annotations

import hashlib
import json
import logging
import re
import tempfile
import zipfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from copy import copy
from dataclasses import asdict, dataclass, fields
from functools import lru_cache
from io import BytesIO
from pathlib import Path
from typing import IO, Any, TypeVar

from django.core.files.base import ContentFile, File
from django.core.files.storage import default_storage

import calcs
from calcs.log_analysis import plot_series
from calcs.logger_files import ColumnMap, Layout, Recording, look_at, read_log
from commissioning.errors import InvalidInput, ServiceError
from commissioning.models import TestRecording
from commissioning.register_import.archives import Unreadable, is_workbook

log = logging.getLogger(__name__)

LARGEST_FILE = 200 * 2**20
#: A workbook is held in memory as a whole: so much of it, and so many cells, may come out of the archive.
UNPACKED_BYTES = 400 * 2**20
MOST_CELLS = 12_000_000
SAMPLE_ROWS = 8
CHUNK = 2**20
_CELL = re.compile(rb"""\br=["']([A-Z]{1,7})([0-9]{1,9})["']""")

UNREADABLE = (
    "The file cannot be read as a log: it is damaged, or not what its name says. Export the log again as .csv or .xlsx "
    "and upload that."
)
TOO_MUCH = f"Unpacked, the workbook is larger than {UNPACKED_BYTES >> 20} MB. Export the log as .csv."
GONE = "The raw file of this recording is missing in the store. Have it restored from the backup, or upload it again."
CHANGED = (
    "The raw file in the store is not the one that was uploaded: its hash differs. Have it restored from the backup, "
    "or upload it again."
)

ResultT = TypeVar("ResultT")


@dataclass(frozen=True, slots=True)
class Received:
    """An upload on the local disk: looked at, and not kept yet."""

    path: Path
    sha256: str
    bytes: int
    layout: Layout


@contextmanager
def received(file: IO[bytes]) -> Iterator[Received]:
    """The upload, hashed and looked at; InvalidInput in words when it is no log or too large."""
    with tempfile.NamedTemporaryFile(prefix="log-") as local:
        digest, size = hashlib.sha256(), 0
        file.seek(0)
        while chunk := file.read(CHUNK):
            size += len(chunk)
            if size > LARGEST_FILE:
                words = f"The file is larger than {LARGEST_FILE >> 20} MB. Export fewer columns, or a longer interval."
                raise InvalidInput({"file": words})
            digest.update(chunk)
            local.write(chunk)
        local.flush()
        path = Path(local.name)
        _in_words(lambda: _refuse_bombs(path), "file")
        yield Received(path, digest.hexdigest(), size, _in_words(lambda: look_at(path), "file"))


def keep(*, recording: TestRecording, found: Received) -> None:
    """Put the raw file into the store, once for each content."""
    name = recording.raw.field.generate_filename(recording, recording.raw_name)
    # A file that no recording names is left alone: it may be swept in this moment.
    if default_storage.exists(name) and TestRecording.objects.filter(raw=name).exists():
        recording.raw.name = name
    else:
        with found.path.open("rb") as file:
            recording.raw.name = default_storage.save(name, File(file))
    _keep_head(recording, found.layout)


def head_of(recording: TestRecording) -> dict[str, Any]:
    """Headings, notes and first rows of the raw file."""
    name = f"{recording.raw.name}.head.json"
    try:
        with default_storage.open(name) as file:
            kept: dict[str, Any] = json.load(file)
            return kept
    except (FileNotFoundError, ValueError):
        with on_disk(recording) as path:
            return _keep_head(recording, _in_words(lambda: look_at(path), "file"))


def _keep_head(recording: TestRecording, layout: Layout) -> dict[str, Any]:
    kept = asdict(layout) | {"sample": layout.sample[:SAMPLE_ROWS], "headings_sha256": layout.headings_sha256()}
    name = f"{recording.raw.name}.head.json"
    if not default_storage.exists(name):
        default_storage.save(name, ContentFile(json.dumps(kept).encode()))
    found: dict[str, Any] = json.loads(json.dumps(kept))
    return found


@contextmanager
def on_disk(recording: TestRecording) -> Iterator[Path]:
    """The raw file on the local disk, whatever the store, after its hash was compared with the one recorded."""
    digest = hashlib.sha256()
    with tempfile.NamedTemporaryFile(prefix="log-") as local:
        try:
            with default_storage.open(str(recording.raw.name)) as stored:
                while chunk := stored.read(CHUNK):
                    digest.update(chunk)
                    local.write(chunk)
        except FileNotFoundError:
            raise ServiceError(GONE) from None
        if digest.hexdigest() != recording.raw_sha256:
            raise ServiceError(CHANGED)
        local.flush()
        yield Path(local.name)


def opened(recording: TestRecording) -> Recording:
    """The raw file read by the recording's column map, cleaned. Content and map decide, so the last one is kept."""
    if not recording.column_map:
        raise InvalidInput({"recording": "Say first which column is what."})
    return _opened(_Asked(recording, json.dumps(recording.column_map, sort_keys=True)))


@dataclass(frozen=True)
class _Asked:
    """What decides how a log reads: the hash of its content and its column map."""

    recording: TestRecording
    columns: str

    def __hash__(self) -> int:
        return hash((self.recording.raw_sha256, self.columns))

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Asked) and (
            (self.recording.raw_sha256, self.columns) == (other.recording.raw_sha256, other.columns)
        )


@lru_cache(maxsize=1)
def _opened(asked: _Asked) -> Recording:
    columns, layout = ColumnMap.from_json(json.loads(asked.columns)), _layout_of(head_of(asked.recording))
    with on_disk(asked.recording) as path:
        return _in_words(lambda: read_log(path, columns, layout), "recording")


def _layout_of(head: Mapping[str, Any]) -> Layout:
    """The layout as it was found when the file was taken in."""
    known = {one.name: head[one.name] for one in fields(Layout)}
    known |= {"headings": tuple(head["headings"]), "notes": tuple(head["notes"])}
    return Layout(**known | {"sample": tuple(map(tuple, head["sample"]))})


def keep_columns(*, recording: TestRecording, log: Recording) -> None:
    """Keep the cleaned readings in columns beside the raw file, for windows of the plot."""
    packed = BytesIO()
    log.frame.write_parquet(packed, compression="zstd")
    name = _columns_name(recording)
    if not default_storage.exists(name):
        default_storage.save(name, ContentFile(packed.getvalue()))


def _columns_name(recording: TestRecording) -> str:
    mark = hashlib.sha256(json.dumps(recording.column_map, sort_keys=True).encode()).hexdigest()[:16]
    return f"{recording.raw.name}.{mark}.parquet"


def cleaned(recording: TestRecording) -> Recording:
    """The cleaned log as far as drawing needs it: from the kept columns, else from the raw file."""
    import polars

    columns = ColumnMap.from_json(recording.column_map)
    try:
        with default_storage.open(_columns_name(recording)) as file:
            frame = polars.read_parquet(file.read())
    except (FileNotFoundError, polars.exceptions.PolarsError):
        found = opened(recording)
        keep_columns(recording=recording, log=found)
        return found
    return Recording(frame, columns, {})


def plots_of(
    log: Recording,
    *,
    weak: tuple[int, ...],
    width: int,
    levels: Mapping[str, list[dict[str, Any]]],
    start: float | None = None,
    end: float | None = None,
) -> dict[str, Any]:
    """Plots of a log, or of a window of it (minutes), small enough to send and in the shape that dossiers print."""
    import polars

    window = log.frame
    if start is not None or end is not None:
        seconds = polars.col("seconds")
        low, high = (start or 0.0) * 60, float("inf") if end is None else end * 60
        window = window.filter((seconds >= low) & (seconds <= high))
    if window.height < 2:
        raise InvalidInput({"from": "No two readings lie between these times. Choose a longer window."})
    labels = {name: name.replace("_", " ") for name in window.columns}
    found = plot_series(Recording(window, log.columns, labels), width, weak=weak)
    for plot in found["plots"]:
        plot["levels"] = levels.get(plot["title"], [])
    return found


def _in_words(read: Callable[[], ResultT], field: str) -> ResultT:
    """What reading a strange file raises, as a refusal. The readers of workbooks end in panics, too."""
    try:
        return read()
    except calcs.InputError as error:
        words = str(error)
        raise InvalidInput({field: words[:1].upper() + words[1:] + ("" if words.endswith(".") else ".")}) from error
    except ServiceError:
        raise
    except Exception as error:
        log.warning("A log could not be read: %s", error)
        raise InvalidInput({field: UNREADABLE}) from error
    except BaseException as error:
        if type(error).__name__ != "PanicException":  # it derives from BaseException, and belongs to the file
            raise
        log.warning("A log could not be read: %s", error)
        raise InvalidInput({field: UNREADABLE}) from None


def _refuse_bombs(path: Path) -> None:
    """A workbook must unpack to a size that the machine can hold, by what really comes out of it."""
    with path.open("rb") as file:
        if file.read(4) != b"PK\x03\x04":
            return
        with zipfile.ZipFile(file) as archive:
            if not _is_log_workbook(archive):
                words = "This is an archive, not a log. Unpack it, and upload the .csv or .xlsx file in it."
                raise InvalidInput({"file": words})
            _count(archive)


def _is_log_workbook(archive: zipfile.ZipFile) -> bool:
    if sum(member.file_size for member in archive.infolist()) > UNPACKED_BYTES:
        raise InvalidInput({"file": TOO_MUCH})
    try:
        return is_workbook(archive)
    except Unreadable as refusal:
        raise InvalidInput({"file": refusal.words.replace("the register", "it")}) from refusal


def _count(archive: zipfile.ZipFile) -> None:
    """Unpack everything once without keeping it: the directory of an archive may lie, what comes out does not."""
    total, width, height = 0, 1, 1
    for member in archive.infolist():
        honest = copy(member)
        honest.file_size = UNPACKED_BYTES + 2 * CHUNK  # read on until the limit is passed
        with archive.open(honest) as stream:
            tail = b""
            while chunk := stream.read(CHUNK):
                total += len(chunk)
                if total > UNPACKED_BYTES:
                    raise InvalidInput({"file": TOO_MUCH})
                if "worksheets" in member.filename:
                    columns, rows = _extent(tail + chunk)  # a name may lie across two pieces
                    width, height, tail = max(width, columns), max(height, rows), chunk[-32:]
    if width * height > MOST_CELLS:
        words = "The workbook spans more cells than a log has. Export the log as .csv."
        raise InvalidInput({"file": words})


def _extent(chunk: bytes) -> tuple[int, int]:
    """Rightmost column and lowest row that a piece of a sheet names."""
    found = _CELL.findall(chunk)
    columns = max((_place(letters) for letters in {letters for letters, _ in found}), default=1)
    return columns, max((int(digits) for digits in {digits for _, digits in found}), default=1)


def _place(letters: bytes) -> int:
    place = 0
    for letter in letters:
        place = place * 26 + letter - 64
    return place
