"""A drawing of shapes and set type in layers, before it is any kind of file.

Frame: the unit of `Artwork.unit`, x to the right, y up. It knows no file format and no table.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal, NamedTuple

import numpy as np
from msgspec import Struct

from marking.drawing.typeface import text_width

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.arrays import Box, FloatArray


Unit = Literal["mm", "px"]


class Style(Struct, frozen=True):
    """How a layer is drawn: lines of `stroke` and `width`, areas and type of `fill`."""

    stroke: str | None = None
    width: float = 0.0
    fill: str | None = None
    opacity: float = 1.0
    dashes: tuple[float, ...] = ()
    ends: Literal["round", "butt"] = "round"


class Shape(NamedTuple):
    """Lines drawn as one, each (n, 2); closed into areas or left open."""

    lines: tuple[FloatArray, ...]
    closed: bool = False
    name: str = ""
    fill: str | None = None
    """In place of the layer's."""


class Circle(NamedTuple):
    """A circle."""

    middle: tuple[float, float]
    radius: float
    name: str = ""


class Text(NamedTuple):
    """A line of type: where its baseline starts, the height of its capitals, and its width."""

    text: str
    at: tuple[float, float]
    size: float
    width: float


class DrawnLayer:
    """What is drawn alike, one over the other as it was added."""

    def __init__(self, name: str, style: Style) -> None:
        self.name, self.style = name, style
        self.items: list[Shape | Circle | Text] = []

    @property
    def has_text(self) -> bool:
        """Whether anything is written in it."""
        return Text in set(map(type, self.items))

    def line(self, *lines: FloatArray | Sequence[tuple[float, float]], name: str = "") -> None:
        """One open line, or several that are one shape."""
        arrays = [one if isinstance(one, np.ndarray) else np.array(one, float) for one in lines]
        self.items.append(Shape(tuple(arrays), False, name))

    def area(
        self,
        corners: FloatArray | Sequence[tuple[float, float]],
        name: str = "",
        fill: str | None = None,
    ) -> None:
        """A closed line round an area."""
        self.items.append(Shape((np.asarray(corners, dtype=float),), True, name, fill))

    def box(self, box: Box, name: str = "", fill: str | None = None) -> None:
        """A rectangle."""
        x0, y0, x1, y1 = box
        self.area([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], name, fill)

    def circle(self, middle: tuple[float, float], radius: float, name: str = "") -> None:
        """A circle."""
        self.items.append(Circle(middle, radius, name))

    def write(self, text: str, x: float, y: float, size: float, align: float = 0.0) -> float:
        """Text on the baseline y, capitals `size` high; its width.

        Its left edge (align 0), middle (0.5) or right edge (1) stands at x.
        """
        width = text_width(text) * size
        self.items.append(Text(text, (x - align * width, y), size, width))
        return width


class Artwork:
    """A drawing under construction, over `box` of its own frame."""

    language = "en"
    """What its words are written in (BCP 47)."""
    chapter = ""
    """What the outline of a document calls this page; nothing where it goes on with the last."""

    def __init__(
        self,
        box: Box,
        title: str,
        about: str = "",
        *,
        unit: Unit = "mm",
        paper: str | None = "#ffffff",
    ) -> None:
        self.box, self.title, self.about = box, title, about
        self.unit: Unit = unit
        self.paper = paper
        """The colour under everything; None for what is to lie on something else."""
        self.layers: list[DrawnLayer] = []

    @property
    def size(self) -> tuple[float, float]:
        """Width and height."""
        return self.box[2] - self.box[0], self.box[3] - self.box[1]

    def layer(self, name: str, style: Style) -> DrawnLayer:
        """A new layer over all that is there."""
        self.layers.append(DrawnLayer(name, style))
        return self.layers[-1]

    def on_top(self, style: Style) -> DrawnLayer:
        """The uppermost layer if it is drawn like this and has no name, or a new one."""
        if self.layers and self.layers[-1].style == style and not self.layers[-1].name:
            return self.layers[-1]
        return self.layer("", style)
