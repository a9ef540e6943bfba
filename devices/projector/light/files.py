"""A section's light as files: SVG in pixels and PNG, pixel for pixel what the stage shows.

It knows lights and looks, not where they come from.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from marking.drawing.artwork import Artwork, Shape, Style
from marking.drawing.png import png
from marking.drawing.svg import svg

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from devices.projector.light.overlay import LitLine, Overlay

_ASIDE = {"witness": "#ff5050", "name": "#7a5a1e", "scale": "#ffb030"}
"""Colours of what is lit beside the lines to trace."""


class Look(Struct, frozen=True):
    """How light is drawn."""

    colour: str = "#ffffff"
    width_px: float = 2.0
    outlines: bool = False
    """Numerals as outlines of their ink, to be filled in by hand, and not as strokes."""


class _LightLayer(Struct, frozen=True):
    """Lights drawn alike, one layer over the other."""

    name: str
    colour: str
    width_px: float
    lights: Sequence[LitLine]


def _layers(light: Overlay, look: Look, numeral_px: float) -> Iterator[_LightLayer]:
    for kind in ("stroke", "witness", "name", "scale"):
        lights = [one for one in light.lights if one.kind == kind]
        colour = look.colour if kind == "stroke" else _ASIDE[kind]
        outlined = [one for one in lights if look.outlines and one.layer == "numeral"]
        lines = [one for one in lights if not (look.outlines and one.layer == "numeral")]
        layers = [_LightLayer(kind, colour, look.width_px, lines)]
        # Ink of the pen's width with a line round it: the wider stroke less the narrower.
        layers.append(_LightLayer("numerals", colour, numeral_px + look.width_px, outlined))
        layers.append(_LightLayer("inside", "#000000", numeral_px - look.width_px, outlined))
        yield from (layer for layer in layers if layer.lights and layer.width_px > 0)


def sheet_svg(light: Overlay, look: Look, numeral_px: float, title: str) -> bytes:
    """The overlay as SVG, one user unit a pixel, black where nothing is lit.

    `numeral_px` is the width of a numeral's ink in pixels, for outlines.
    """
    return svg(_artwork(light, look, numeral_px, title))


def sheet_png(light: Overlay, look: Look, numeral_px: float) -> bytes:
    """The overlay's pixels, one for one, as PNG."""
    return png(_artwork(light, look, numeral_px, light.section))


def _artwork(light: Overlay, look: Look, numeral_px: float, title: str) -> Artwork:
    width, height = light.pixels
    artwork = Artwork((0.0, 0.0, width, height), title, unit="px", paper="#000000")
    for layer in _layers(light, look, numeral_px):
        style = Style(layer.colour, layer.width_px, ends="butt")
        # One shape a layer, so that crossings are no brighter than lines. Pixels count down.
        lines = tuple(one.points * (1.0, -1.0) + (0.0, height) for one in layer.lights)
        artwork.layer(layer.name, style).items.append(Shape(lines))
    return artwork
