"""The tape marks in words and as JSON: where they go, what they will hold, what would help."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from marking.measures.counts import counted
from marking.measures.lengths import format_length
from marking.measures.tape import as_taped
from marking.output.tape_sheet import allowed_apart, reading_rows

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from marking.measures.lengths import Units
    from marking.tape_marks.choice import ChosenMarks
    from marking.tape_marks.marks import TapeMarks, TapeRun

_FEW_REMEDIES = 4
_UNSAID = {
    "total": "But a line's distance from zero errs by up to",
    "square": "But a cross line leans or bends by up to",
    "neighbours": "But the gap between two lines beside each other errs by up to",
}
"""What is told only where it breaks its limit, by the names of `Allowed`."""


def tape_marks_lines(
    done: ChosenMarks, found: Sequence[ChosenMarks], units: Units
) -> Iterator[str]:
    """Where the marks go and what they will hold; `found` is what would help where that fails."""
    tape_marks = done.tape_marks
    yield from control_lines(tape_marks, units)
    if tape_marks.at_nodes:
        yield "Read at each section, in this order:"
        for section, marks in done.to_set_out.read:
            yield f"  {section:<8} {' '.join(marks) or 'none'}"
        yield ""
    yield done.setting_out.said
    yield from forecast_lines(done, units)
    if found:
        heading = (
            "What would help"
            if found[0].forecast.holds
            else "Nothing that was tried holds. What comes nearest"
        )
        yield f"{heading}, each as canvasrule control with these options forecasts it:"
        for work in found[:_FEW_REMEDIES]:
            holds = "holds" if work.forecast.holds else "does not hold"
            yield (
                f"  {work.way.flags(units)}: line {work.forecast.worst_line:.2f} mm, step "
                f"{work.forecast.worst_step:.2f} mm, {work.setting_out.marks} marks, about "
                f"{work.minutes / 60:.1f} h of setting out and reading: {holds}"
            )


def control_lines(tape_marks: TapeMarks, units: Units) -> Iterator[str]:
    """Where the marks go: the frame, and the reading of each."""

    def shown(run: TapeRun) -> str:
        return as_taped(run.reading, tape_marks.tape, units)

    square, diagonals = tape_marks.square, tape_marks.diagonals
    along, up, slope = square.ratio
    if tape_marks.at_nodes:
        out = sum(mark.line == "row" for mark in tape_marks.marks)
        yield (
            f"{counted(out, 'tape mark')} where sections meet, in "
            f"{counted(len(tape_marks.rows), 'row')}, beside the four corners of the marking, "
            "which come with base line and square"
        )
    else:
        yield (
            f"{len(tape_marks.marks)} tape marks, at most "
            f"{format_length(tape_marks.spacing, units)} apart, along both long edges and both end "
            "lines"
            + (
                f", and in {counted(len(tape_marks.rows), 'row')} between"
                if tape_marks.rows
                else ""
            )
        )
    yield ""
    yield f"Base line: {shown(tape_marks.offset_near)} from the near edge, at both ends"
    yield f"Zero line: {shown(tape_marks.offset_zero)} from the zero end, along the near edge"
    yield f"Base line to far line: {shown(tape_marks.height)}"
    yield (
        f"Square {along}-{up}-{slope}: {shown(square.along)} along the base line, "
        f"{shown(square.up)} up the zero line, {shown(square.slope)} between"
    )
    apart = allowed_apart(diagonals, units)
    yield f"Diagonals: each {shown(diagonals.run)}, within {apart} of each other"
    for row in tape_marks.rows:
        yield f"Row {row.letter}: {shown(row.up)} up from the base line, at both ends"
    yield ""
    yield "tape reads, each from its line's own zero:"
    for reading in reading_rows(tape_marks, units):
        yield f"  {reading.reading:>20}  {reading.line:<7} {', '.join(reading.marks)}"
    yield ""


def forecast_lines(done: ChosenMarks, units: Units) -> Iterator[str]:
    """The forecast in words, the verdict last: 95 of 100 covers have less."""
    found = done.forecast
    limits = found.limits
    times = "once" if done.way.repeats == 1 else "twice"
    if done.tape_marks.at_nodes:
        yield f"If each section reads the marks it is asked for {times}, 95 of 100 covers have"
    else:
        yield f"If every mark that a section sees is read {times}, 95 of 100 covers have"
    yield (
        f"  no line further than {found.worst_line:.2f} mm from true, what the tape and the square "
        f"shift all marks by included ({limits.tolerance:.2f} mm, "
        f"{format_length(limits.tolerance, units, remainder=True)}, is allowed),"
    )
    yield (
        f"  and no step at a join over {found.worst_step:.2f} mm ({limits.step:.2f} mm is allowed)."
    )
    if done.slip is not None and done.slip < math.inf:
        yield f"  A slip of {done.slip:.1f} mm in any one reading shows 99 times in 100."
    said = ("step", "total") if found.worst_line > limits.total else ("step",)
    for name in found.broken:
        if name not in said:
            figure, limit = found.against[name]
            yield f"  {_UNSAID[name]} {figure:.2f} mm ({limit:.2f} mm is allowed)."
    yield "  HOLDS" if found.holds else "  DOES NOT HOLD"


def tape_marks_record(
    done: ChosenMarks, found: Sequence[ChosenMarks], files: Sequence[Path], units: Units
) -> dict[str, Any]:
    """`control --json`."""
    return {
        **control_record(done.tape_marks),
        "read": {section: list(marks) for section, marks in done.to_set_out.read},
        "forecast": _forecast_record(done, units),
        "remedies": [_forecast_record(work, units) for work in found],
        "files": [path.as_posix() for path in files],
    }


def control_record(tape_marks: TapeMarks) -> dict[str, Any]:
    """The marks and the frame that they are set out from, for programs."""

    def run_record(run: TapeRun) -> dict[str, float]:
        return {"length": run.length, "reading": run.reading}

    square = tape_marks.square
    return {
        "schema": 1,
        "spacing": tape_marks.spacing,
        "marks": [
            {
                "id": mark.mark.id,
                "line": mark.line,
                "place": mark.place,
                "at": list(mark.mark.at_table),
                **run_record(mark.run),
                "sd": mark.sd,
            }
            for mark in tape_marks.marks
        ],
        "offset_near": run_record(tape_marks.offset_near),
        "offset_zero": run_record(tape_marks.offset_zero),
        "height": run_record(tape_marks.height),
        "rows": [{"letter": row.letter, **run_record(row.up)} for row in tape_marks.rows],
        "square": {
            "ratio": list(square.ratio),
            "along": run_record(square.along),
            "up": run_record(square.up),
            "slope": run_record(square.slope),
        },
        "diagonals": {
            **run_record(tape_marks.diagonals.run),
            "allowed": tape_marks.diagonals.allowed,
        },
    }


def _forecast_record(work: ChosenMarks, units: Units) -> dict[str, Any]:
    found = work.forecast
    return {
        "what": work.way.flags(units),
        "marks": work.setting_out.marks,
        "readings": found.readings,
        "minutes": work.minutes,
        "worst_line": found.worst_line,
        "worst_step": found.worst_step,
        "tolerance": found.limits.tolerance,
        "step": found.limits.step,
        "holds": found.holds,
        "sections": [
            {"id": each.section, "at": list(each.at_table), "error": each.error}
            for each in found.sections
        ],
        "seams": [
            {"sections": list(each.sections), "at": list(each.at_table), "step": each.step}
            for each in found.joins
        ],
    }
