"""A section's light as files: SVG in pixels and PNG, pixel for pixel what the stage shows.

It knows lights and looks, not where they come from.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from devices.projector.light.overlay import Light, Overlay
    from marking.arrays import FloatArray

_DECIMALS = 3
_ASIDE = {"witness": "#ff5050", "name": "#7a5a1e", "scale": "#ffb030"}
"""Colours of what is lit beside the lines to trace."""


@dataclass(frozen=True)
class Look:
    """How light is drawn."""

    colour: str = "#ffffff"
    width_px: float = 2.0
    outlines: bool = False
    """Numerals as outlines of their ink, to be filled in by hand, and not as strokes."""


@dataclass(frozen=True)
class _Layer:
    """Lights drawn alike, one layer over the other."""

    name: str
    colour: str
    width_px: float
    lights: Sequence[Light]


def _layers(light: Overlay, look: Look, numeral_px: float) -> Iterator[_Layer]:
    for kind in ("stroke", "witness", "name", "scale"):
        lights = [one for one in light.lights if one.kind == kind]
        colour = look.colour if kind == "stroke" else _ASIDE[kind]
        outlined = [one for one in lights if look.outlines and one.layer == "numeral"]
        lines = [one for one in lights if not (look.outlines and one.layer == "numeral")]
        layers = [_Layer(kind, colour, look.width_px, lines)]
        # Ink of the pen's width with a line round it: the wider stroke less the narrower.
        layers.append(_Layer("numerals", colour, numeral_px + look.width_px, outlined))
        layers.append(_Layer("inside", "#000000", numeral_px - look.width_px, outlined))
        yield from (layer for layer in layers if layer.lights and layer.width_px > 0)


def sheet_svg(light: Overlay, look: Look, numeral_px: float, title: str) -> bytes:
    """The overlay as SVG, one user unit a pixel, black where nothing is lit.

    `numeral_px` is the width of a numeral's ink in pixels, for outlines.
    """
    width, height = light.pixels
    body = "\n".join(_group(layer) for layer in _layers(light, look, numeral_px))
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" '
        f'viewBox="0 0 {width} {height}">\n<title>{_escaped(title)}</title>\n'
        f'<rect width="{width}" height="{height}" fill="#000000"/>\n{body}\n</svg>\n'
    ).encode()


def _escaped(text: str) -> str:
    from xml.sax.saxutils import escape

    return escape(text)


def _group(layer: _Layer) -> str:
    # One path a layer, so that crossings are no brighter than lines.
    steps = "\n".join(path_data(one.points) for one in layer.lights)
    return (
        f'<g id="{layer.name}" fill="none" stroke="{layer.colour}" '
        f'stroke-width="{round(layer.width_px, _DECIMALS)}" '
        f'stroke-linecap="butt" stroke-linejoin="round">\n<path d="{steps}"/>\n</g>'
    )


def path_data(points_px: FloatArray) -> str:
    """A polyline of pixels as SVG path data, to a thousandth of a pixel."""
    rounded = (points_px.round(_DECIMALS) + 0.0).tolist()
    return "M" + "L".join(f"{x},{y}" for x, y in rounded)


def sheet_png(light: Overlay, look: Look, numeral_px: float) -> bytes:
    """The overlay's pixels, one for one, as PNG.

    Drawn by way of a PDF page of a point a pixel: its renderer takes a tenth of the time that
    the SVG's takes for long lines a little out of plumb.
    """
    import pypdfium2

    page = pypdfium2.PdfDocument(_page(light, look, numeral_px))[0]
    found = io.BytesIO()
    page.render(scale=1).to_pil().save(found, "PNG", compress_level=1)
    return found.getvalue()


def _page(light: Overlay, look: Look, numeral_px: float) -> bytes:
    from reportlab.pdfgen.canvas import Canvas

    width, height = light.pixels
    written = io.BytesIO()
    canvas = Canvas(written, pagesize=light.pixels, pageCompression=0, invariant=1)
    canvas.rect(0, 0, width, height, fill=1, stroke=0)
    canvas.translate(0, height)
    canvas.scale(1, -1)
    canvas.setLineJoin(1)
    for layer in _layers(light, look, numeral_px):
        canvas.setStrokeColor(layer.colour)
        canvas.setLineWidth(layer.width_px)
        path = canvas.beginPath()
        for one in layer.lights:
            (x, y), *onward = one.points.round(_DECIMALS).tolist()
            path.moveTo(x, y)
            for step in onward:
                path.lineTo(*step)
        canvas.drawPath(path)
    canvas.showPage()
    canvas.save()
    return written.getvalue()
