"""The JSON that other programs rely on: the layout and the sections, table frame, millimetres."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from msgspec.structs import asdict

if TYPE_CHECKING:
    from marking.layout.layout import Layout, Stroke
    from marking.layout.survey import Top
    from marking.sections.plan import Piece, Plan, Section

SCHEMA = 1


def layout_record(layout: Layout) -> dict[str, Any]:
    """`layout --json`."""
    return {
        "schema": SCHEMA,
        "strokes": [_stroke(stroke) for stroke in layout.strokes],
        "numerals": [
            {
                "text": placed.numeral.text,
                "side": placed.numeral.side,
                "value": placed.numeral.value,
                "at": list(placed.numeral.at_table),
                "height": placed.numeral.height,
                "box": list(placed.numeral.box_table),
                "strokes": list(placed.strokes),
                **({} if placed.numeral.row == "margin" else {"row": placed.numeral.row}),
            }
            for placed in layout.numerals
        ],
        "fit": fit_record(layout),
        "totals": {
            "ink_mm": {layer: ink for layer, ink in layout.ink_by_layer().items() if ink},
            "strokes": len(layout.strokes),
        },
        "warnings": list(layout.warnings),
    }


def fit_record(layout: Layout) -> dict[str, Any]:
    """How the marking fits the top: lettering, margins, survey, folds."""
    legibility = layout.legibility
    return {
        "cross_lines": len(layout.grid.cross_x),
        "long_lines": len(layout.grid.long_lines),
        "numerals": None
        if legibility is None
        else {
            "height": legibility.height,
            "centre_line_height": legibility.centre_line_height,
            "limited_by": legibility.limited_by,
            "arc_minutes": legibility.arc_minutes,
            "view_from": legibility.view_from,
            "height_to_stroke": legibility.height_to_stroke,
            "neighbours": None if legibility.neighbours is None else asdict(legibility.neighbours),
            "larger": [
                {"change": change, "height": height} for change, height in legibility.larger
            ],
        },
        "margins": asdict(layout.margins),
        "top": _top(layout.top),
        "folds": [asdict(fold) for fold in layout.folds],
        "slack": {"along": layout.slack[0], "across": layout.slack[1]},
    }


def _top(top: Top) -> dict[str, Any]:
    record: dict[str, Any] = {
        "corners": top.corners_table.tolist(),
        "inscribed": list(top.inscribed),
        "out_of_square": top.out_of_square,
        "out_of_parallel": top.out_of_parallel,
    }
    if top.adjustment is not None:
        record["misclosure"] = top.adjustment.misclosure
        record["misclosure_in_sds"] = top.adjustment.in_sds
        record["residuals"] = (top.adjustment.measured - top.adjustment.adjusted).tolist()
    return record


def plan_record(plan: Plan) -> dict[str, Any]:
    """`section --json`; what is ruled stands in it only where lines are."""
    record: dict[str, Any] = {
        "schema": SCHEMA,
        "zone": plan.zone.name,
        "turned": plan.zone.turned,
        "sections": [_section(section, plan) for section in plan.sections],
        "bound": {"columns": plan.bound[0], "rows": plan.bound[1]},
        "unreached": [
            {"box": list(part.box), "strokes": [_piece(piece) for piece in part.pieces]}
            for part in plan.unreached
        ],
        "warnings": list(plan.warnings),
    }
    if plan.ruled:
        record["ruled"] = [
            {
                "id": line.id,
                "of": line.of,
                "points": line.points.tolist(),
                "heavy": line.heavy,
                "pen": line.stroke.pen,
                "sections": list(line.sections),
            }
            for line in plan.ruled
        ]
    return record


def _section(section: Section, plan: Plan) -> dict[str, Any]:
    return {
        "id": section.id,
        "row": section.row,
        "column": section.column,
        "order": section.order,
        "core": list(section.core),
        "window": list(section.window),
        "turned": section.turned,
        "strokes": [_piece(piece) for piece in section.pieces],
        "witness": [
            {"id": mark.id, "at": list(mark.at_table), "kind": mark.kind}
            for mark in section.locating_marks
        ],
        "ink_mm": section.ink,
        "lifts": section.route.lifts,
        "travel_mm": section.route.travel,
        "seconds": plan.seconds(section),
    }


def _piece(piece: Piece) -> dict[str, Any]:
    record = _stroke(piece.stroke)
    return {"id": record["id"], "of": piece.of, **record}


def _stroke(stroke: Stroke) -> dict[str, Any]:
    return {
        "id": stroke.id,
        "layer": stroke.layer,
        "pen": stroke.pen,
        "points": stroke.points.tolist(),
        **({"beside": list(stroke.beside)} if stroke.beside else {}),
    }
