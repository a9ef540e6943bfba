"""A section's light as files: SVG in pixels and PNG, pixel for pixel what the stage shows.

It knows lights and looks, not where they come from.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy as np
    from numpy.typing import NDArray

    from devices.beam.overlay import Light, Overlay

    FloatArray = NDArray[np.float64]

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


def sheet_svg(light: Overlay, look: Look, numeral_px: float, title: str) -> bytes:
    """The overlay as SVG, one user unit a pixel, black where nothing is lit.

    `numeral_px` is the width of a numeral's ink in pixels, for outlines.
    """
    width, height = light.pixels
    groups = []
    for kind in ("stroke", "witness", "name", "scale"):
        lights = [one for one in light.lights if one.kind == kind]
        colour = look.colour if kind == "stroke" else _ASIDE[kind]
        lines = [one for one in lights if not (look.outlines and one.layer == "numeral")]
        outlined = [one for one in lights if look.outlines and one.layer == "numeral"]
        groups.append(_group(kind, lines, colour, look.width_px))
        if outlined:
            # Ink of the pen's width with a line round it: the wider stroke less the narrower.
            groups.append(_group("numerals", outlined, colour, numeral_px + look.width_px))
            groups.append(_group("inside", outlined, "#000000", numeral_px - look.width_px))
    body = "\n".join(group for group in groups if group)
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" '
        f'viewBox="0 0 {width} {height}">\n<title>{_escaped(title)}</title>\n'
        f'<rect width="{width}" height="{height}" fill="#000000"/>\n{body}\n</svg>\n'
    ).encode()


def _escaped(text: str) -> str:
    from xml.sax.saxutils import escape

    return escape(text)


def _group(name: str, lights: Sequence[Light], colour: str, width: float) -> str:
    if not lights or width <= 0:
        return ""
    # One path a kind: a renderer then visits each row of the picture once, and crossings are
    # no brighter than lines.
    steps = "\n".join(path_data(one.points) for one in lights)
    return (
        f'<g id="{name}" fill="none" stroke="{colour}" stroke-width="{round(width, _DECIMALS)}" '
        f'stroke-linecap="butt" stroke-linejoin="round">\n<path d="{steps}"/>\n</g>'
    )


def path_data(points_px: FloatArray) -> str:
    """A polyline of pixels as SVG path data, to a thousandth of a pixel."""
    rounded = (points_px.round(_DECIMALS) + 0.0).tolist()
    return "M" + "L".join(f"{x},{y}" for x, y in rounded)


def sheet_png(svg: bytes) -> bytes:
    """The SVG's pixels, one for one."""
    import resvg_py

    return bytes(resvg_py.svg_to_bytes(svg_string=svg.decode(), dpi=96, skip_system_fonts=True))
