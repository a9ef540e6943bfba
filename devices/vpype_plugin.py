"""vpype's command `canvasrule`: a job's marking, or one section, as vpype's layers.

vpype loads every plugin at each start and has imported click by then: this file imports nothing
else before it is called. It reads the job as the verbs do, and keeps nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click
from vpype_cli import ChoiceType, PathType, TextType, global_processor

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from pathlib import Path

    from vpype import Document

    from marking.arrays import Box, ComplexArray
    from marking.job.keys import PensTable
    from marking.layout.layout import Stroke
    from marking.sections.zones import ZoneName

_ZONES = ["plotter", "reach", "beam"]
_PX = 96 / 25.4
"""vpype's unit, CSS's pixel, to the mm."""


_processor: Callable[[Callable[..., Document]], Callable[..., Any]] = global_processor


class _BadInput(click.ClickException):
    """Ends vpype with our code for bad input; click's own code is ours for what is refused."""

    exit_code = 2


class _Reader(click.Command):
    """A command that vpype lists with its own that read something."""

    help_group = "Input"


@click.command(cls=_Reader)
@click.option(
    "--job", "folder", type=PathType(), default=".", metavar="DIR", help="The job's folder."
)
@click.option("--section", type=TextType(), metavar="ID", help="One section of it, as in r1c1.")
@click.option(
    "--for",
    "zone",
    type=ChoiceType(_ZONES),
    default=None,
    metavar="|".join(_ZONES),
    help="What limits a section (default: what the way chosen says, else plotter).",
)
@click.option("--holders", is_flag=True, help="A layer for each pen holder, as a plotter is sent.")
@_processor
def canvasrule(
    document: Document, folder: str, section: str | None, zone: ZoneName | None, holders: bool
) -> Document:
    """Read the marking of a canvasrule job, or one section of it, true to size.

    Each kind of line with its pen is a layer of its own, named as in marking.svg; the ink's width
    is its pen width, and the property canvasrule_passes tells how often the pen is to go over it.
    The page is the table, or the section's window: near edge below, zero end at the left.

    In HP-GL, vpype takes a layer's number for the pen holder, and past the last holder of its
    --device begins again at 1. With --holders, layers are numbered by the holders of job.toml and
    hold each stroke as often as its pen passes.

    Nothing of a placement or of a correction is in what vpype writes, and the job's record does
    not hear of it: what is inked so is not followed up by "canvasrule drive".

    \b
    Examples:
        vpype canvasrule --job my-bench linesort show
        vpype canvasrule --job my-bench --section r1c1 write r1c1.svg
    """
    from pathlib import Path

    from marking.errors import CanvasruleError

    try:
        strokes, pens, box = _read(Path(folder), section, zone)
        if holders:
            _add_holders(document, strokes, pens, box)
        else:
            _add_kinds(document, strokes, pens, box)
    except CanvasruleError as fault:
        bad_input = fault.exit_code == _BadInput.exit_code
        kind = _BadInput if bad_input else click.ClickException
        raise kind("\n".join(fault.messages)) from None
    document.extend_page_size(((box[2] - box[0]) * _PX, (box[3] - box[1]) * _PX))
    return document


def _read(
    folder: Path, section_id: str | None, zone: ZoneName | None
) -> tuple[Sequence[Stroke], PensTable, Box]:
    """Strokes in the table frame, the pens they are drawn with, and the box of the page."""
    from devices.begun import layout_of, plan_of
    from devices.history import kept_correction
    from devices.job import Job
    from devices.ways.chosen import chosen_way, followed
    from marking.errors import BadInputError
    from marking.job.folder import load_job

    job = followed(folder, load_job(folder, Job))
    layout = layout_of(folder, job)
    if section_id is None:
        corners = layout.top.corners_table
        low, high = corners.min(axis=0).tolist(), corners.max(axis=0).tolist()
        return layout.strokes, job.pens, (low[0], low[1], high[0], high[1])
    way = chosen_way(folder, job)
    zone = zone or (way.zone if way is not None else "plotter")
    plan = plan_of(folder, zone, job, layout, kept_correction(folder, job))
    for section in plan.sections:
        if section.id == section_id:
            return [piece.stroke for piece in section.pieces], job.pens, section.window
    known = ", ".join(section.id for section in plan.sections)
    raise BadInputError(f"--section {section_id}: no such section for {zone}; there are {known}")


def _add_kinds(document: Document, strokes: Sequence[Stroke], pens: PensTable, box: Box) -> None:
    """A layer for each kind of line and pen, above those that are there."""
    for layer, name in dict.fromkeys((stroke.layer, stroke.pen) for stroke in strokes):
        pen = pens.named(name)
        lines = [_line(s, box) for s in strokes if (s.layer, s.pen) == (layer, name)]
        over = {1 if s.beside else pen.passes for s in strokes if (s.layer, s.pen) == (layer, name)}
        known = {"canvasrule_pen": name, "canvasrule_passes": max(over)}
        _add(document, document.free_id(), lines, f"{layer}-{name}", pen.width, known)


def _add_holders(document: Document, strokes: Sequence[Stroke], pens: PensTable, box: Box) -> None:
    """A layer for each pen holder, by its number, each stroke as often as its pen passes.

    Raises RefusedError where a removable pen and a permanent one would share a layer.
    """
    from marking.errors import RefusedError

    used = {stroke.pen: pens.named(stroke.pen) for stroke in strokes}
    ink = {pen.slot for name, pen in used.items() if name != "removable"}
    if "removable" in used and used["removable"].slot in ink:
        raise RefusedError(
            f"--holders: removable marks and permanent ink both come from holder "
            f'{used["removable"].slot}, and vpype cannot wait for a pen to be changed; "canvasrule '
            'write --hpgl" makes two files of them, and without --holders they are two layers'
        )
    for slot in sorted({pen.slot for pen in used.values()}):
        if slot in document.layers:
            raise RefusedError(
                f"--holders: layer {slot} holds something already, which holder {slot} would draw "
                "as well; read the job first, or move that layer away (lmove)"
            )
        lines = []
        for stroke in strokes:
            if used[stroke.pen].slot == slot:
                there = _line(stroke, box)
                passes = range(1 if stroke.beside else used[stroke.pen].passes)
                lines += [there if n % 2 == 0 else there[::-1] for n in passes]
        width = max(pen.width for pen in used.values() if pen.slot == slot)
        _add(document, slot, lines, f"holder-{slot}", width, {})


def _add(
    document: Document,
    layer: int,
    lines: Sequence[ComplexArray],
    name: str,
    width: float,
    more: Mapping[str, object],
) -> None:
    from vpype import METADATA_FIELD_NAME, METADATA_FIELD_PEN_WIDTH, LineCollection

    held = LineCollection(lines, dict(more))
    held.set_property(METADATA_FIELD_NAME, name)
    held.set_property(METADATA_FIELD_PEN_WIDTH, width * _PX)
    document.add(held, layer, with_metadata=True)


def _line(stroke: Stroke, box: Box) -> ComplexArray:
    """The stroke as vpype has lines: pixels down the page from `box`'s upper left corner."""
    x, y = stroke.path.T
    line: ComplexArray = ((x - box[0]) + 1j * (box[3] - y)) * _PX
    return line
