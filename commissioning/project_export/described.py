"""What the files of an export mean, field by field, for whoever reads them without this product."""

from __future__ import annotations

from typing import Any

from django.db.models import Field, FileField, ForeignKey

from .tables import Table

README = """\
A whole project of the commissioning tracker, in open formats.

manifest.json     what is here: rows, bytes and SHA-256 of every file; format, version and migrations it was made with
SHA256SUMS        the same hashes; check them with: sha256sum --check SHA256SUMS
fields.json       what each field of each table means, and which table it points at
people.jsonl      everybody whom the record names (JSON Lines: one JSON object a line, UTF-8)
tables/*.jsonl    the record, one file a table, one row a line, keys sorted; times are ISO 8601 with their offset
registers/*.csv   sites, systems, equipment, instruments, punch items and more, for reading in a spreadsheet; a text
                  that a spreadsheet could take for a formula begins with an apostrophe
documents.csv     the dossiers by number, and where each PDF lies
files/            photos, certificates, recordings and dossiers, under the names that the tables give them

The audit log is tables/commissioning.auditentry.jsonl. Each entry carries the hash of the one before it; the last hash
stands in manifest.json. `manage.py import_project` puts everything back into an empty installation.

These records do not replace local rules, a safe system of work or a competent person. Prove dead at the point of work.
"""


def described(table: Table) -> dict[str, Any]:
    """One table: what a row is, and each of its fields."""
    return {
        "what": " ".join((table.model.__doc__ or "").split("\n\n")[0].split()),
        "file": table.file,
        "fields": {field.attname: _field(field) for field in table.fields},
    }


def _field(field: Field[Any, Any]) -> dict[str, Any]:
    said: dict[str, Any] = {"type": _type(field), "may_be_null": field.null}
    if field.help_text:
        said["means"] = str(field.help_text)
    if isinstance(field, ForeignKey):
        said["points_at"] = str(field.related_model._meta.label_lower)
    if field.choices:
        said["one_of"] = {str(key): str(words) for key, words in field.flatchoices}
    return said


def _type(field: Field[Any, Any]) -> str:
    if isinstance(field, FileField):
        return "name below files/"
    target = field.target_field if isinstance(field, ForeignKey) else field
    return str(target.get_internal_type().removesuffix("Field"))
