"""What every page carries: header with dossier, revision and system; footer with project, content hash and number."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from commissioning.dossier import fonts
from commissioning.dossier.page import BOLD, BOTTOM, LEFT, MONO, REGULAR, SMALL, Box, wrap


@dataclass(frozen=True)
class Furniture:
    """The words that repeat, and the page they stand on."""

    box: Box
    title: str
    project: str
    content_hash: str
    interim: bool

    def number(self, page: int, pages: int) -> str:
        """Operators for the page number."""
        words = f"Page {page} of {pages}"
        return _text(self.box.right - fonts.width(words, REGULAR, SMALL), BOTTOM - 16, words, REGULAR)

    def code(self, label: str) -> str:
        """Operators that all pages under one label share."""
        box, top, foot = self.box, self.box.page_height - 34, BOTTOM - 16
        parts = [
            _text(LEFT, top, self.title, BOLD),
            _rule(box, top - 16),
            _rule(box, foot + 9),
            _text(LEFT, foot, self.project, REGULAR),
            _text(box.left + box.width * 0.42, foot, f"content {self.content_hash[:16]}", MONO),
        ]
        if label:
            parts.append(_text(LEFT, top - 10.5, wrap(label, box.width - 150, REGULAR, SMALL)[0], REGULAR))
        if self.interim:
            words = "INTERIM - not complete"
            width = fonts.width(words, BOLD, SMALL) + 10
            parts.append(f"0 g {box.right - width:.2f} {top - 4:.2f} {width:.2f} 12.5 re f")
            parts.append(_text(box.right - width + 5, top - 0.2, words, BOLD, 1))
        return "\n".join(parts)


def _text(x: float, y: float, text: str, style: str, grey: float = 0) -> str:
    return f"BT {grey:g} g 1 0 0 1 {x:.2f} {y:.2f} Tm {fonts.operators(text, style, SMALL)} ET"


def _rule(box: Box, y: float) -> str:
    return f"0.45 G 0.4 w {box.left:.2f} {y:.2f} m {box.right:.2f} {y:.2f} l S"


def furniture_for(content: Mapping[str, Any], box: Box, digest: str, *, interim: bool) -> Furniture:
    """The furniture that the content asks for."""
    title = f"Handover dossier {content['number']}  revision {content['revision']}"
    project = f"{content['project']['code']}  {content['project']['name']}"
    return Furniture(box, title, project, digest, interim)
