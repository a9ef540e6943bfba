"""What the pages are told: geometry for the stage, words and numbers for the remote. Plain data."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from devices.projector.desk.desk import COLOURS, is_lit
from marking.measures.lengths import format_length
from marking.measures.tape import tape_reading

if TYPE_CHECKING:
    from devices.projector.desk.desk import Desk, TrueUp
    from devices.projector.desk.work import BeamWork
    from devices.projector.light.overlay import LitLine
    from devices.projector.trueup.targets import LightTarget

_DECIMALS = 3


def geometry(desk: Desk, work: BeamWork) -> dict[str, Any]:
    """A section's light without its shift, which `look` carries so that a nudge is small."""
    if desk.section not in desk.trued:
        return {"type": "geometry", "section": desk.section, "lines": [], "aside": [], "unlit": 0}
    mapping = desk.trued[desk.section].mapping
    drawn = work.light(desk.section, mapping)
    shift = mapping.shift_px
    return {
        "type": "geometry",
        "section": desk.section,
        "lines": [_line(one, shift) for one in drawn.lights if one.kind == "stroke"],
        "aside": [_line(one, shift) for one in drawn.lights if one.kind != "stroke"],
        "unlit": drawn.unlit,
        "numeral_px": work.job.pens.numerals.width * drawn.pixels_per_mm,
    }


def _line(light: LitLine, shift: tuple[float, float]) -> dict[str, Any]:
    return {
        "id": light.id,
        "kind": light.kind,
        "layer": light.layer,
        "points": (light.points - shift).round(_DECIMALS).ravel().tolist(),
    }


def look(desk: Desk, work: BeamWork) -> dict[str, Any]:
    """How the stage shows what it has."""
    traced = desk.traced.get(desk.section, frozenset())
    true_up = desk.true_up
    trued = desk.trued.get(desk.section)
    return {
        "type": "look",
        "section": desk.section,
        "lit": is_lit(desk),
        "line": desk.line,
        "now": work.stroke_ids(desk.section, desk.line),
        "traced": [
            stroke
            for line in work.line_ids(desk.section, "all")
            if line in traced
            for stroke in work.stroke_ids(desk.section, line)
        ],
        "traced_look": desk.traced_look,
        "kind": desk.kind,
        "colour": desk.colour,
        "width_px": desk.width_px,
        "outlines": desk.outlines,
        "blank": desk.blank,
        "check": desk.check,
        "shift": list(trued.mapping.shift_px) if trued else [0, 0],
        "targets": []
        if true_up is None
        else [
            {
                "name": target.name,
                "at": list(target.at_px),
                "landed": target.name in true_up.landed,
                "now": target.name == true_up.at,
            }
            for target in _lit_targets(true_up)
        ],
    }


def _lit_targets(true_up: TrueUp) -> list[LightTarget]:
    """One target a point, the one being landed before others: a second landing of a point is
    worth most where the first cannot be seen. Where each was typed to have fallen tells no point
    from another, since the two of one point fall a little apart."""
    by_point: dict[str, LightTarget] = {}
    for target in true_up.targets:
        point = target.again or target.name
        if target.name == true_up.at or point not in by_point:
            by_point[point] = target
    return list(by_point.values())


def remote(desk: Desk, work: BeamWork, stage: str) -> dict[str, Any]:
    """Everything the remote shows; `stage` says how the stage is doing."""
    section = work.section(desk.section)
    traced = desk.traced.get(desk.section, frozenset())
    shown = work.line_ids(desk.section, desk.kind)
    trued = desk.trued.get(desk.section)
    units = work.job.units
    return {
        "type": "desk",
        "title": work.job.title,
        "units": units,
        "stage": stage,
        "section": desk.section,
        "set_down": [format_length(at, units) for at in section.window[:2]],
        "sections": [
            {
                "id": one.id,
                "lines": len(lines),
                "traced": sum(line in desk.traced.get(one.id, ()) for line in lines),
                "trued": one.id in desk.trued,
            }
            for one in work.plan.sections
            for lines in (work.line_ids(one.id, "all"),)
        ],
        "witness": len(section.locating_marks),
        "line": desk.line,
        "line_name": work.line_name(desk.section, desk.line),
        "line_traced": desk.line in traced,
        "place": [shown.index(desk.line) + 1 if desk.line in shown else 0, len(shown)],
        "left": sum(one not in traced for one in shown),
        "kinds": sorted({piece.stroke.layer for piece in section.pieces}),
        "kind": desk.kind,
        "traced_look": desk.traced_look,
        "colour": desk.colour,
        "colours": list(COLOURS),
        "width_px": desk.width_px,
        "outlines": desk.outlines,
        "arrows": desk.arrows,
        "blank": desk.blank,
        "check": desk.check,
        "notes": desk.notes,
        "lit": is_lit(desk),
        "trued": None
        if trued is None
        else {
            "good": trued.good,
            "tolerance": work.job.tolerance,
            "lines": list(trued.lines),
            "residuals": list(trued.residuals),
            "map": [[round(e, 2) for e in row] for row in trued.error_map],
            "shift": list(trued.mapping.shift_px),
        },
        "true_up": _true_up(desk, work),
        "warnings": list(work.warnings),
    }


def _true_up(desk: Desk, work: BeamWork) -> dict[str, Any] | None:
    if desk.true_up is None:
        return None
    units = work.job.units
    return {
        "quick": desk.true_up.quick,
        "at": desk.true_up.at,
        "targets": [
            {
                "name": target.name,
                "landed": target.name in desk.true_up.landed,
                "along": format_length(tape_reading(target.at_table[0], work.tape), units),
                "across": format_length(tape_reading(target.at_table[1], work.tape), units),
                "what": target.what,
                "lit": list(target.at_px),
            }
            for target in desk.true_up.targets
        ],
    }
