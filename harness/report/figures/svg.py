"""A figure as SVG text that can stand inside an HTML document, the same bytes each time."""

from __future__ import annotations

import io
import re
from html import escape

import matplotlib as mpl
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure

from harness.report.figures.style import use_style

_BEFORE_SVG = re.compile(r"\A.*?(?=<svg)", re.DOTALL)
_METADATA = re.compile(r"\s*<metadata>.*?</metadata>", re.DOTALL)
_REFERENCE = re.compile(r'(?:href="#|url\(#)([^")]+)')
_ID = re.compile(r' id="([^"]*)"')


def svg_text(figure: Figure, name: str, description: str) -> str:
    """`figure` as one `<svg>` element.

    Parameters
    ----------
    name : a short name, unique in the document; its ids are made from it.
    description : what a person who cannot see the figure is told.
    """
    FigureCanvasSVG(figure)
    buffer = io.StringIO()
    with mpl.rc_context():
        use_style(hash_salt=name)
        figure.savefig(buffer, format="svg", metadata={"Date": None, "Creator": None})
    text = _METADATA.sub("", _BEFORE_SVG.sub("", buffer.getvalue()))
    return _labelled(_without_idle_ids(text), description)


def _without_idle_ids(text: str) -> str:
    """Drop ids that nothing refers to: every figure would bring the same ones."""
    used = set(_REFERENCE.findall(text))
    return _ID.sub(lambda found: found.group(0) if found.group(1) in used else "", text)


def _labelled(text: str, description: str) -> str:
    """Let the page set the size, and give the picture its words."""
    head, rest = text.split(">", 1)
    head = re.sub(r' (?:width|height)="[^"]*"', "", head)
    return f'{head} role="img" aria-label="{escape(description, quote=True)}">{rest.rstrip()}'
