"""A test recording as an input of a calculation: read again from its raw file, by the columns that were confirmed."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from uuid import UUID

from commissioning.models import System, TestRecording
from commissioning.services.recording_files import opened


def recording_entry(
    *, system: System, name: str, spec: Mapping[str, Any], text: str, problems: dict[str, str]
) -> tuple[Any, dict[str, Any]] | None:
    """(the log, the record of where it came from) for the recording whose id is `text`; None with a problem told."""
    label = spec.get("label") or "test recording"
    if not text:
        if not spec.get("optional"):
            problems[name] = f"Bring in the recording first: {label}."
        return None
    recording = _of_system(system, text)
    if recording is None:
        problems[name] = f"This is no test recording of {system.tag}. Choose one of its recordings."
        return None
    entry = {
        "name": name,
        "label": label,
        "typed": recording.raw_name,
        "unit": "",
        "source": "recording",
        "recording": str(recording.pk),
        "sha256": recording.raw_sha256,
    }
    return opened(recording), entry


def _of_system(system: System, text: str) -> TestRecording | None:
    try:
        return TestRecording.objects.filter(system=system, pk=UUID(text)).first()
    except ValueError:
        return None
