"""A drawing as SVG, true to size: one user unit is one unit of the drawing.

y is turned over, since SVG counts down the page. Type is text, as wide as it was measured
whatever face the reader's machine has.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import chain, islice, zip_longest
from typing import TYPE_CHECKING, Any, NamedTuple
from xml.etree import ElementTree

import numpy as np

from marking.drawing.artwork import Circle, Shape
from marking.drawing.typeface import FAMILY, em_of_capital
from marking.put_off import put_off

_CHECKS = ("is_valid_transferlist", "is_valid_pathdata", "is_valid_animation_timing")
with put_off("urllib.request.urlopen", *(f"svgwrite.data.svgparser.{name}" for name in _CHECKS)):
    import svgwrite
    from svgwrite.extensions import Inkscape

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from marking.arrays import Box, FloatArray
    from marking.drawing.artwork import Artwork, DrawnLayer, Style, Text


_DECIMALS = 4
_QUOTED = str.maketrans({"&": "&amp;", "<": "&lt;", ">": "&gt;", '"': "&quot;"})
_written = lru_cache(maxsize=1 << 16)(repr)
"""Of a coordinate: nine of ten come again, in the same file or in the next section's."""


def svg(artwork: Artwork) -> bytes:
    """The drawing as a file, the same on every machine."""
    before, *around = _around(
        artwork.size,
        "mm" if artwork.unit == "mm" else "",
        artwork.paper,
        artwork.language,
        tuple(_Frame(one.name, one.style, one.has_text, bool(one.items)) for one in artwork.layers),
    )
    shapes = (one for layer in artwork.layers for one in layer.items if isinstance(one, Shape))
    paths = iter(_path_data([line for shape in shapes for line in shape.lines], artwork.box))
    # What layers hold took most of a file's time as elements of their own.
    held = [
        "".join(_elements(layer, paths, artwork.box)) for layer in artwork.layers if layer.items
    ]
    said = _element("title", {}, artwork.title) + _element("desc", {}, artwork.about)
    text = "".join(chain.from_iterable(zip_longest(around, held, fillvalue="")))
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{before}{said}{text}\n'.encode()


class _Frame(NamedTuple):
    """What there is to know of a layer but what it holds."""

    name: str
    style: Style
    has_text: bool
    holds: bool


@lru_cache(maxsize=64)
def _around(
    size: tuple[float, float],
    unit: str,
    paper: str | None,
    language: str,
    layers: tuple[_Frame, ...],
) -> list[str]:
    """What stands before a drawing's title, after it, and between what its layers hold.

    Once for a job's many sections, which are alike in all of it.
    """
    width, height = map(_number, size)
    # Checking every attribute against the SVG grammar costs more than writing them all.
    drawing: Any = svgwrite.Drawing(
        size=(f"{width}{unit}", f"{height}{unit}"), viewBox=f"0 0 {width} {height}", debug=False
    )
    drawing.set_desc(title="title", desc="desc")
    if any(layer.has_text for layer in layers):
        drawing.attribs["xml:lang"] = language
    if paper is not None:
        drawing.add(drawing.rect((0, 0), ("100%", "100%"), fill=paper))
    named = Inkscape(drawing)
    for layer in layers:
        about = _attributes(layer)
        group = (
            named.layer(label=layer.name, id=layer.name, **about)
            if layer.name
            else drawing.g(**about)
        )
        if layer.holds:
            group.add(_Place())
        drawing.add(group)
    text = ElementTree.tostring(drawing.get_xml(), encoding="unicode")
    before, after = text.split("<title>title</title><desc>desc</desc>")
    return [before, *after.split(_Place.written)]


def _attributes(layer: _Frame) -> dict[str, str]:
    style = layer.style
    about = {"fill": style.fill or "none"}
    if style.stroke is not None:
        about |= {
            "stroke": style.stroke,
            "stroke_width": _number(style.width),
            "stroke_linecap": style.ends,
            "stroke_linejoin": "round",
        }
    if style.dashes:
        about["stroke_dasharray"] = " ".join(map(_number, style.dashes))
    if style.opacity != 1:
        if style.fill is not None:
            about["fill_opacity"] = f"{style.opacity}"
        if style.stroke is not None:
            about["stroke_opacity"] = f"{style.opacity}"
    if layer.has_text:
        about["font_family"] = f"'{FAMILY}', sans-serif"
    return about


class _Place:
    """Where what a layer holds is put in, once svgwrite has written all around it."""

    written = "<place />"

    def get_xml(self) -> ElementTree.Element:
        """What svgwrite asks of everything in a group."""
        return ElementTree.Element("place")


def _elements(layer: DrawnLayer, paths: Iterator[str], box: Box) -> Iterator[str]:
    """What a layer holds, taking from `paths` as many as its shapes have lines."""
    for item in layer.items:
        if isinstance(item, Shape):
            end = "Z" if item.closed else ""
            data = "".join([f"{line}{end}" for line in islice(paths, len(item.lines))])
            fill = f' fill="{item.fill.translate(_QUOTED)}"' if item.fill is not None else ""
            name = f' id="{item.name.translate(_QUOTED)}"' if item.name else ""
            yield f'<path d="{data}"{fill}{name} />'
        elif isinstance(item, Circle):
            x, y = _at(item.middle, box)
            about = {"cx": x, "cy": y, "r": _number(item.radius)}
            yield _element("circle", about | ({"id": item.name} if item.name else {}))
        else:
            yield _text(item, box)


def _text(item: Text, box: Box) -> str:
    x, y = _at(item.at, box)
    about = {
        "x": x,
        "y": y,
        "font-size": _number(item.size * em_of_capital()),
        "textLength": _number(item.width),
        "lengthAdjust": "spacingAndGlyphs",
    }
    return _element("text", about, item.text)


def _element(tag: str, attributes: dict[str, str], text: str = "") -> str:
    element = ElementTree.Element(tag, attributes)
    element.text = text
    return ElementTree.tostring(element, encoding="unicode")


def _at(point: tuple[float, float], box: Box) -> tuple[str, str]:
    return _number(point[0] - box[0]), _number(box[3] - point[1])


def _path_data(lines: Sequence[FloatArray], box: Box) -> list[str]:
    """Many lines at once, each as SVG path data."""
    if not lines:
        return []
    page = np.concatenate(lines) * (1.0, -1.0) + (-box[0], box[3])
    # Adding nought turns a minus nought into nought.
    words = map(_written, (page.round(_DECIMALS) + 0.0).ravel().tolist())
    steps = map(",".join, zip(words, words, strict=True))
    return ["M" + "L".join(islice(steps, len(line))) for line in lines]


def _number(value: float) -> str:
    """To a ten-thousandth of a unit, as short as that can be written."""
    return f"{round(value, _DECIMALS) + 0.0}"
