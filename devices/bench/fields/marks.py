"""Fields of the top and of what is marked on it: the steps that measure and choose."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

MEASURE: Mapping[str, Mapping[str, str]] = {
    "measure": {
        "title": "Name of the job",
        "units": "Shown in",
        "table.length": "Length",
        "table.width": "Width",
        "table.survey.near": "Near edge",
        "table.survey.far": "Far edge",
        "table.survey.zero_end": "Zero end",
        "table.survey.far_end": "Far end",
        "table.survey.diagonal_from_zero_near": "Diagonal, zero near",
        "table.survey.diagonal_from_zero_far": "Diagonal, zero far",
        "table.survey.reading": "Read to the nearest",
    },
    "more-survey": {
        "table.survey.middle": "Across the middle",
        "table.survey.half_from_zero_near": "Zero near to far middle",
        "table.survey.half_from_far_near": "Far near to far middle",
        "table.survey.half_from_zero_far": "Zero far to near middle",
        "table.survey.half_from_far_far": "Far far to near middle",
        "table.survey.square_along": "Square: along the near edge",
        "table.survey.square_across": "Square: along the zero end",
        "table.survey.square_between": "Square: between the two",
        "table.survey.again.near": "Near edge, again",
        "table.survey.again.far": "Far edge, again",
        "table.survey.again.zero_end": "Zero end, again",
        "table.survey.again.far_end": "Far end, again",
        "table.survey.again.diagonal_from_zero_near": "Diagonal, zero near, again",
        "table.survey.again.diagonal_from_zero_far": "Diagonal, zero far, again",
    },
    "more-top": {
        "table.profile": "Stock table",
        "table.measured_to": "Edges are measured to",
        "table.edge_radius": "Roundness of the edges",
        "table.against_wall": "It stands against a wall",
    },
    "tape": {
        "tape.accuracy": "Class of the tape",
        "tape.division": "The tape is read to",
        "tape.temperature_c": "Degrees Celsius in the room",
        "tape.scale_error": "The tape's own error",
    },
}
CHOOSE: Mapping[str, Mapping[str, str]] = {
    "choose": {
        "grid.pitch": "Line to line",
        "grid.margin": "Edge to the first long line",
        "grid.end_margin": "Zero end to the zero line",
        "grid.heavy_every": "Every how many lines a heavy one",
        "grid.long_lines": "Long lines",
        "hems.from": "Hems are counted from",
        "hems.depth": "Hem bands reach in to",
        "hems.folds": "Hems that are folded here",
        "numerals.sides": "Numerals along",
        "numerals.height": "Height of numerals",
        "numerals.every": "Number every how many lines",
        "numerals.per_line": "One line counts",
        "numerals.first": "Numeral on the zero line",
        "tolerance": "A line may be off by",
    },
    "more-lines": {
        "grid.half_ticks": "Short ticks at half pitch",
        "grid.centre_line": "Heavy centre line",
        "hems.cross_folds": "Extra fold lines across, too",
        "hems.number_every": "Number every how many hem lines",
        "hems.number_apart": "Hem numerals apart",
        "hems.between": "Hem lines between the pitch",
    },
    "more-numerals": {
        "numerals.clear": "Least gap round numerals",
        "numerals.second_zero": "A second zero",
        "numerals.middle_every": "Numerals in the middle, every",
        "numerals.other_unit": "A side in the other unit",
        "numerals.other_every": "Number every how many of its ticks",
        "numerals.face": "Face of the numerals",
        "numerals.view_from": "Read from",
    },
    "particular": {
        "grid.bias": "Bias lines start at",
        "grid.lines": "Long lines of your own",
    },
    "pens": {
        "pens.lines.width": "Line width",
        "pens.lines.slot": "Lines: holder",
        "pens.lines.passes": "Lines: passes",
        "pens.lines.speed": "Lines: speed",
        "pens.lines.force": "Lines: force",
        "pens.lines.ink_length": "Lines: a pen lasts",
        "pens.lines.profile": "Lines: stock pen",
        "pens.heavy.width": "Heavy line width",
        "pens.heavy.slot": "Heavy lines: holder",
        "pens.heavy.passes": "Heavy lines: passes",
        "pens.heavy.speed": "Heavy lines: speed",
        "pens.heavy.force": "Heavy lines: force",
        "pens.heavy.ink_length": "Heavy lines: a pen lasts",
        "pens.heavy.profile": "Heavy lines: stock pen",
        "pens.numerals.width": "Line width of numerals",
        "pens.numerals.slot": "Numerals: holder",
        "pens.numerals.passes": "Numerals: passes",
        "pens.numerals.speed": "Numerals: speed",
        "pens.numerals.force": "Numerals: force",
        "pens.numerals.ink_length": "Numerals: a pen lasts",
        "pens.numerals.profile": "Numerals: stock pen",
        "pens.removable.width": "Line width of removable marks",
        "pens.removable.slot": "Removable marks: holder",
        "pens.removable.passes": "Removable marks: passes",
        "pens.removable.speed": "Removable marks: speed",
        "pens.removable.force": "Removable marks: force",
        "pens.removable.ink_length": "Removable marks: a pen lasts",
        "pens.removable.profile": "Removable marks: stock pen",
    },
    "allowed": {
        "allowed.total": "Any line, from zero",
        "allowed.square": "A cross line's lean",
        "allowed.neighbours": "Between two neighbours",
        "allowed.step": "A step at a join",
    },
}
ROWS: Mapping[str, Mapping[str, str]] = {
    "grid.lines": {
        "at": "Distance",
        "side": "Counted from",
        "name": "Name",
        "start": "Begins at",
        "end": "Ends at",
    },
}
"""The columns of fields that hold a table a row."""
