"""Workbooks of the register as downloads, for the page and for the API."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from typing import IO

from django.http import FileResponse
from django.utils import timezone

from commissioning.selectors.access import Access

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
TEMPLATE_NAME = "register-template.xlsx"
IN_MEMORY = 4 * 2**20


def register_name(access: Access) -> str:
    """The name of the file that holds the register as it stands today."""
    return f"{access.project.code}-register-{timezone.localdate():%Y-%m-%d}.xlsx"


def workbook_answer(name: str, write: Callable[[IO[bytes]], None]) -> FileResponse:
    """The workbook that `write` writes."""
    # The answer closes the file when it has been sent.
    out = tempfile.SpooledTemporaryFile(max_size=IN_MEMORY)  # noqa: SIM115
    write(out)
    out.seek(0)
    return FileResponse(out, as_attachment=True, filename=name, content_type=XLSX)
