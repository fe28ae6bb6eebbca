"""After a fault drill: what was acknowledged is counted in database and files, without the product's own code."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import psycopg

from .pressure import Told

Rows = list[tuple[Any, ...]]
#: Names in the store that a row holds.
_NAMED = (
    "SELECT file FROM punchlist_photo UNION SELECT thumbnail FROM punchlist_photo "
    "UNION SELECT content FROM commissioning_dossier UNION SELECT pdf FROM commissioning_dossier "
    "UNION SELECT raw FROM commissioning_testrecording UNION SELECT certificate FROM commissioning_calibration"
)


def count(url: str, files: Path, told: Told) -> dict[str, int]:
    """What must be nothing, counted."""
    with psycopg.connect(url) as connection:

        def rows(query: str, *values: Any) -> Rows:
            return connection.execute(query, values).fetchall()  # type: ignore[call-overload, no-any-return]

        return {**_records(rows, told), **_jobs(rows, told), **_files(rows, files)}


def _records(rows: Any, told: Told) -> dict[str, int]:
    kept = {str(id): text for id, text in rows("SELECT id, text FROM punchlist_punchitem WHERE text LIKE 'Drill: %%'")}
    photos = {str(id): str(item) for id, item in rows("SELECT id, item_id FROM punchlist_photo")}
    raised = _times(rows, "punch_item_raised", "punch_raised")
    added = rows(
        "SELECT data->>'photo', count(*) FROM commissioning_auditentry WHERE action = 'punch_photo_added' GROUP BY 1"
    )
    on_record = {str(photo): int(times) for photo, times in added}
    doubled = rows("SELECT text FROM punchlist_punchitem WHERE text LIKE 'Drill: %%' GROUP BY text HAVING count(*) > 1")
    return {
        "acknowledged punch items lost": sum(kept.get(id) != text for id, text in told.items.items()),
        "acknowledged photos lost": sum(photos.get(id) != item for id, item in told.photos.items()),
        "punch items recorded twice": len(doubled),
        "punch items without exactly one entry in the audit log": sum(raised.get(id) != 1 for id in kept),
        "photos without exactly one entry in the audit log": sum(on_record.get(id) != 1 for id in told.photos),
    }


def _jobs(rows: Any, told: Told) -> dict[str, int]:
    states = {str(id): str(state) for id, state in rows("SELECT id, state FROM commissioning_job")}
    done, built = _times(rows, "job_done"), _times(rows, "dossier_built")
    return {
        "jobs lost or not done": sum(states.get(job) != "done" for job in told.jobs),
        "jobs run twice with effect": sum(done.get(job, 0) > 1 for job in states)
        + sum(built.get(dossier, 0) > 1 for dossier in told.jobs.values()),
        "jobs done without their effect": sum(
            states.get(job) == "done" and built.get(dossier, 0) == 0 for job, dossier in told.jobs.items()
        ),
    }


def _times(rows: Any, *actions: str) -> Mapping[str, int]:
    query = "SELECT object_id, count(*) FROM commissioning_auditentry WHERE action = ANY(%s) GROUP BY 1"
    return {str(id): int(times) for id, times in rows(query, list(actions))}


def _files(rows: Any, files: Path) -> dict[str, int]:
    hashed = rows(
        "SELECT file, sha256 FROM punchlist_photo UNION ALL SELECT pdf, pdf_sha256 FROM commissioning_dossier "
        "WHERE pdf <> '' UNION ALL SELECT content, content_sha256 FROM commissioning_dossier WHERE content <> ''"
    )
    named = {str(name) for (name,) in rows(_NAMED)}
    beside = {f"{name.rpartition('/')[0]}/{one}" for name in named for one in ("files.json", "essentials.json")}
    there = {path.relative_to(files).as_posix(): path for path in files.rglob("*") if path.is_file()}
    strays = [name for name in there if not _named(name, named | beside)]
    half = [name for name, path in there.items() if name.startswith("photos/") and not _whole_picture(path)]
    return {
        "files on record that are not whole": sum(_sha256(files / name) != digest for name, digest in hashed),
        "half-written pictures in the store": len(half),
        "files that nothing names, after the sweep": len(strays),
    }


def _named(name: str, names: set[str]) -> bool:
    """A recording's head and columns lie beside it, under its name and more."""
    folder, _, last = name.rpartition("/")
    return name in names or f"{folder}/{last.partition('.')[0]}" in names


def _whole_picture(path: Path) -> bool:
    content = path.read_bytes()
    return content.startswith(b"\xff\xd8") and content.endswith(b"\xff\xd9")


def _sha256(path: Path) -> str:
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except FileNotFoundError:
        return "not there"
