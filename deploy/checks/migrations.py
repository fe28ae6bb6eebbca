"""`python -m deploy.checks.migrations`: refuse a migration that the version before it could not live with.

Machines are brought to a new version one after another, so for a while the old version works on the new tables. A
migration that adds a column which must be filled (without a default in the database), or that renames or drops one,
breaks it: such a change is made in two releases. Each migration's own SQL is looked at, as PostgreSQL gets it.
"""

from __future__ import annotations

import sys
from pathlib import Path

OURS = ("commissioning", "punchlist", "deploy")
#: Migrations from before the first release: no running older version has to live with them.
BEFORE_THE_FIRST_RELEASE = (
    "commissioning.0003_instrument_retired_reason",
    "commissioning.0010_ways_in",  # drops the tokens from before they had a scope
    "punchlist.0002_photos_withdrawn_and_small",
)


def main() -> int:
    import django

    django.setup()
    from django.db import connection
    from django_migration_linter import MigrationLinter

    if connection.vendor != "postgresql":
        print("Only PostgreSQL serves many machines, so its SQL is looked at: set DATABASE_URL.")
        return 2
    linter = MigrationLinter(
        str(Path(__file__).resolve().parent.parent.parent),
        include_apps=list(OURS),
        ignore_name=[name.split(".")[1] for name in BEFORE_THE_FIRST_RELEASE],
        no_cache=True,
    )
    linter.lint_all_migrations()
    print(
        f"{linter.nb_total} migrations: {linter.nb_valid + linter.nb_warnings} can be applied "
        f"under a running older version ({linter.nb_warnings} hold a table for a moment), {linter.nb_ignored} are from "
        f"before the first release or not ours, {linter.nb_erroneous} would break it."
    )
    return 1 if linter.has_errors or not linter.nb_valid else 0


if __name__ == "__main__":
    sys.exit(main())
