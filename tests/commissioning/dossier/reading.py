"""Reading a built dossier back with programs that know nothing of how it was made."""

from __future__ import annotations

import subprocess
from pathlib import Path


def run(*command: str | Path) -> str:
    """Output of a program that must succeed."""
    return subprocess.run([str(part) for part in command], check=True, capture_output=True, text=True).stdout


def text_of(pdf: Path, *options: str) -> str:
    """The text of the file, page breaks kept."""
    return run("pdftotext", *options, pdf, "-")


def pages_of(pdf: Path) -> list[str]:
    """The text of each page, as it stands on the page."""
    return text_of(pdf, "-layout").split("\f")[:-1]
