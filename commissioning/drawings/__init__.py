"""One drawing code for the page (SVG) and the dossier (PDF)."""

from commissioning.drawings.display import Drawing
from commissioning.drawings.pdf import draw_on_canvas
from commissioning.drawings.svg import to_svg

__all__ = ["Drawing", "draw_on_canvas", "to_svg"]
