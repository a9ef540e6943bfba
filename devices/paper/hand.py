"""All that is carried to the table to mark by hand."""

from __future__ import annotations

from typing import TYPE_CHECKING

from devices.paper.asked import Printed, as_pdf
from marking.errors import BadInputError, RefusedError

if TYPE_CHECKING:
    from devices.paper.asked import PaperAsked


def hand(asked: PaperAsked) -> Printed:
    """all sheets for marking by hand, with strips of the margins and stencils for the digits"""
    from marking.drawing.printed_file import printed_file
    from marking.drawing.svg import svg
    from marking.hand.plan import by_hand
    from marking.hand.stencils import stencils_of
    from marking.hand.strips import strips_of
    from marking.job.keys import paper_of, tape_of
    from marking.ruling.order import WhoRules
    from marking.sheets.hand_sheet import hand_document
    from marking.sheets.stencil_sheet import stencil_artwork
    from marking.sheets.strip_sheet import strip_document

    job, layout = asked.job, asked.layout
    paper = paper_of(job)
    strips = strips_of(layout, job, paper, _measured(asked))
    manner = WhoRules("left" if asked.left_handed else "right", asked.by_two)
    pages = hand_document(by_hand(layout, job, manner), layout, job, paper)
    files = [
        as_pdf("hand", "hand", pages),
        as_pdf("strips", "hand", strip_document(strips, job, tape_of(job.tape), paper)),
    ]
    try:
        stencils = stencils_of(layout, job)
    except RefusedError as why:
        return Printed(tuple(files), (str(why),))
    if stencils is None:
        return Printed(tuple(files))
    drawn = stencil_artwork(stencils, job.title)
    return Printed((*files, printed_file("stencils.svg", "hand", svg(drawn), [drawn])))


def _measured(asked: PaperAsked) -> float | None:
    """The one length of `--measured`, in mm."""
    from marking.measures.lengths import parse_length

    if not asked.measured:
        return None
    if len(asked.measured) > 1:
        raise BadInputError("--measured: a strip has one check length; give that alone")
    try:
        return parse_length(asked.measured[0])
    except ValueError as fault:
        raise BadInputError(f"--measured {asked.measured[0]}: {fault}") from None
