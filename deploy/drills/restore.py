"""The restore drill: `python -m deploy.drills.restore [--server postgresql://…/postgres]`.

The demo project with its files is made on PostgreSQL and backed up; every trace of it is destroyed; the backup is put
back elsewhere, and a whole-project export goes into a third, empty installation. Rows and files are counted and hashed
by PostgreSQL and by this script, before and after. It prints the counts and ends with 1 where anything is missing.
Without `--server` it starts a PostgreSQL of its own.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import sys
import tempfile
import time
import zipfile
from collections.abc import Mapping
from pathlib import Path

from .counting import Counted, counted_tables, counted_triggers, hashed_files
from .servers import (
    DrillFailed,
    clean_environment,
    drop_database,
    make_database,
    postgres_answers,
    postgres_server,
    product,
    wait_for,
)

FILL = "from deploy.demo.load import load_demo; load_demo()"


def drill(server: str, folder: Path) -> None:
    names = {place: f"drill_{os.getpid()}_{place}" for place in ("first", "second", "third")}
    try:
        _drill(server, folder, names)
    finally:
        for name in names.values():
            drop_database(server, name)


def _drill(server: str, folder: Path, names: Mapping[str, str]) -> None:
    begin = time.monotonic()
    first, second, third = (folder / place for place in names)
    url = make_database(server, names["first"])
    env = installation(url, first)
    product("call_command('migrate', verbosity=0)", env=env)
    empty = installation(make_database(server, names["third"], like=names["first"]), third)
    product(FILL, env=env)
    tables, triggers, files = counted_tables(url), counted_triggers(url), hashed_files(first / "files")
    backups, taken = folder / "backups", folder / "first.zip"
    product(f"call_command('backup', '--to', {str(backups)!r}); {export(taken)}", env=env)
    say("made and backed up", begin)

    drop_database(server, names["first"])
    shutil.rmtree(first)
    (backup,) = [path for path in backups.iterdir() if path.is_dir()]
    url = make_database(server, names["second"])
    env = installation(url, second)
    said = product(f"call_command('restore', {str(backup)!r}); call_command('audit_verify')", env=env)
    compare_tables(tables, counted_tables(url))
    compare("files", files, hashed_files(second / "files"))
    if triggers - counted_triggers(url) or not triggers:
        raise DrillFailed(f"refusals of the database that are not there: {sorted(triggers - counted_triggers(url))}")
    say("restored and compared", begin)

    again = folder / "again.zip"
    product(f"call_command('import_project', {str(taken)!r}); {export(again)}", env=empty)
    one, other = content(taken), content(again)
    compare("entries of the export", one, other)
    say("taken into an empty installation and compared", begin)

    rows = sum(count for count, _ in tables.values())
    print(
        f"backup and restore: {len(tables)} tables, {rows} rows, {len(files)} files, {len(triggers)} triggers; 0 differ"
    )
    print(f"export and import: {len(one)} entries; 0 differ")
    print(f"audit log: {said.strip().splitlines()[-1]}")


def installation(url: str, folder: Path) -> dict[str, str]:
    """The environment of one installation."""
    return clean_environment(DATABASE_URL=url, TRACKER_DATA_DIR=str(folder), DJANGO_SETTINGS_MODULE="deploy.settings")


def export(to: Path) -> str:
    return f"call_command('export_project', 'OMB', {str(to)!r})"


def content(path: Path) -> dict[str, str]:
    """Entries of an export with their hashes, but for what says when it was made."""
    with zipfile.ZipFile(path) as archive:
        manifest = json.loads(archive.read("manifest.json"))
    return {name: str(one["sha256"]) for name, one in manifest["entries"].items()}


def compare_tables(before: Counted, after: Counted) -> None:
    for name in sorted(set(before) | set(after)):
        if before.get(name) != after.get(name):
            raise DrillFailed(
                f"the table {name} is not what it was: {before.get(name)} before, {after.get(name)} after"
            )


def compare(what: str, before: Mapping[str, str], after: Mapping[str, str]) -> None:
    wrong = sorted(name for name in {*before, *after} if before.get(name) != after.get(name))
    if wrong or not before:
        raise DrillFailed(f"{what}: {len(wrong)} of {len(before)} differ: {', '.join(wrong[:5])}")


def say(words: str, begin: float) -> None:
    print(f"{time.monotonic() - begin:6.1f} s  {words}", flush=True)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--server", help="a database of a PostgreSQL server where databases may be made and dropped")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="tracker-drill-") as name:
        folder = Path(name)
        folder.chmod(0o755)
        own, url = (None, given.server) if given.server else postgres_server(folder)
        try:
            if own:
                own.start()
                wait_for("PostgreSQL", lambda: postgres_answers(url))
            drill(url, folder)
        except DrillFailed as failure:
            print(f"THE DRILL FAILED: {failure}")
            return 1
        finally:
            if own:
                own.stop()
    print("The drill passed.")
    return 0


if __name__ == "__main__":
    sys.exit(main())
