"""What a person should know before inking, as Markdown and as JSON."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from msgspec import Struct, field

from marking.measures.counts import counted
from marking.measures.lengths import format_length, rough_length
from marking.output.layout_json import SCHEMA, fit_record
from marking.output.marks_words import counted_from, inner_lines
from marking.output.survey_words import survey_lines
from marking.sections.feet_words import feet_lines, standing_record, wait_cell
from marking.sections.set_downs import set_down_readings, through_said
from marking.sections.under_the_feet import standings
from marking.stretching.ticks import pull_ticks
from marking.stretching.words import is_pulled_on, pull_lines, pull_record

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from marking.job.keys import MarkingJob, PensTable
    from marking.layout.hems import FoldLine
    from marking.layout.layout import Layout
    from marking.layout.numerals import Neighbours
    from marking.measures.lengths import Units
    from marking.sections.plan import Plan
    from marking.tape_marks.time_to_set_out import SettingOut

CAUTIONS = (
    "Try every pen on a scrap of the same canvas first: for width, bleeding and fastness.",
    "Permanent-marker solvents: air the room, keep away from flames and irons, and follow the "
    "maker's safety sheet.",
    "Keep fingers, hair, sleeves and cords clear of a moving plotter, and know how to stop it "
    "before the first stroke.",
    "Do not climb on the table. Reach from its edges, or move the device.",
    "Where local codes, the makers' instructions or a licensed electrician say otherwise, they "
    "come first.",
)
_BEFORE_INKING = (
    "Before inking, try every pen on scrap of the same canvas, and read the cautions in the README."
)


def ink_by_pen(plan: Plan, pens: PensTable) -> dict[str, float]:
    """Ink length in mm by pen, passes counted."""
    totals: dict[str, float] = {}
    for section in plan.sections:
        for piece in section.pieces:
            pen = piece.stroke.pen
            length = piece.stroke.length * piece.stroke.times(pens.named(pen))
            totals[pen] = totals.get(pen, 0.0) + length
    return dict(sorted(totals.items()))


def fit_lines(layout: Layout, job: MarkingJob) -> Iterator[str]:
    """How the marking fits the top, as Markdown."""
    units = job.units
    grid = layout.grid
    yield "## Fit"
    yield ""
    yield (
        f"- {len(grid.cross_x)} cross lines, 0 to {len(grid.cross_x) - 1}, "
        f"{format_length(job.grid.pitch, units)} apart, and {len(grid.long_lines)} long lines."
    )
    yield from _numeral_lines(layout, job)
    m = layout.margins
    yield (
        f"- The zero line stands {_pair(m.zero_end_at_near, m.zero_end_at_far, job.units)} from "
        "the zero end (near edge, far edge); the last line "
        f"{_pair(m.far_end_at_near, m.far_end_at_far, job.units)} from the far end."
    )
    yield (
        f"- The far margin is {_pair(m.far_at_zero_end, m.far_at_far_end, job.units)} "
        "(zero end, far end). The grid is true to the near edge and is not bent to the others."
    )
    yield from survey_lines(layout.top, job)
    if layout.slack != (1.0, 1.0):
        yield (
            f"- Drawn on slack cloth at {layout.slack[0]:.4f} along and {layout.slack[1]:.4f} "
            "across, to be true when stretched. All positions are those on the slack cloth."
        )
    yield from _standards_line(layout, job.units)
    yield ""


def _pair(first: float, second: float, units: Units) -> str:
    return " and ".join(format_length(value, units) for value in (first, second))


def _numeral_lines(layout: Layout, job: MarkingJob) -> Iterator[str]:
    legibility = layout.legibility
    if legibility is None:
        yield "- No numerals."
        return
    shown = f"{legibility.height:.2f} mm"
    if job.units == "in":
        shown += f" (about {format_length(legibility.height, job.units)})"
    yield (
        f"- Numerals {shown} high, measured over the ink; larger ones are kept out because "
        f"{legibility.limited_by}."
    )
    far_off = rough_length(legibility.view_from, job.units)
    angle = legibility.arc_minutes
    near = legibility.neighbours
    together = near is not None and legibility.height > near.apart_height
    read = "readable" if angle >= 16 else "hard to read"
    if angle >= 20:
        read = "large enough, but see their gaps" if together else "easily read"
    yield f"- From {far_off} they are {read}."
    if near is not None:
        yield _gap_line(near, together=together)
    ratio = legibility.height_to_stroke
    weight = "heavy" if ratio < 10 else "light" if ratio > 14 else "as bold as lettering should be"
    yield f"- They are {weight}, {ratio:.1f} pen widths high."
    for change, height in legibility.larger:
        yield f"- `{change}` would allow {height:.1f} mm."
    yield from inner_lines(layout, job)


def _standards_line(layout: Layout, units: Units) -> Iterator[str]:
    """What the numerals were held against, for those who know the standards."""
    legibility = layout.legibility
    if legibility is None:
        return
    angle, far_off = legibility.arc_minutes, rough_length(legibility.view_from, units)
    yield (
        f"- Held against: for the numerals, ISO 9241-3 (16 minutes of arc at least, better 20 to "
        f"22; here {angle:.0f} from {far_off}), NUREG-0700 (a digit's width between words on "
        "labels), ISO 3098 (10 pen widths for type B, 14 for type A)."
    )


def _gap_line(near: Neighbours, *, together: bool) -> str:
    """Whether neighbouring numerals read as two."""
    first, second = near.values
    if not together:
        return (
            f"- Neighbours read as two numbers: between {first} and {second}, the closest, a "
            f"digit's width of cloth shows ({near.gap:.1f} mm)."
        )
    largest = math.floor(near.apart_height * 10) / 10
    return (
        f"- {first} and {second} would read as one number: they stand {near.gap:.1f} mm apart, "
        f"{near.ratio:.1f} times as far as their own digits. "
        f'`numerals.height = "{largest:.1f} mm"` leaves a digit\'s width of cloth.'
    )


def fold_table(layout: Layout, job: MarkingJob) -> Iterator[str]:
    """Which line serves which fold, as a Markdown table."""
    yield "## Hem folds"
    yield ""
    yield f"Side hems from {counted_from(job.hems)}; bottom and top hems from the zero line."
    yield ""
    yield "| hem | fold at | side hem line | bottom and top hem line |"
    yield "|---|---|---|---|"
    pairs = zip(layout.folds[::2], layout.folds[1::2], strict=True)
    for side, end in pairs:
        cells = " | ".join(_serving(fold) for fold in (side, end))
        yield f"| {side.hem} | {format_length(side.distance, job.units)} | {cells} |"
    yield ""


_LINE_NAMES = {
    "long": "first long line",
    "hem": "hem line",
    "fold": "line of its own",
    "line": "named line",
    "centre": "centre line",
}


def _serving(fold: FoldLine) -> str:
    """The line that gives a fold, as a person finds it on the cover."""
    if fold.line is None:
        return "no line there"
    kind, _, number = fold.line.partition("-")
    name = f"cross line {number}" if kind == "cross" else _LINE_NAMES[kind]
    if not fold.off_by:
        return name
    return f"{name} ({abs(fold.off_by):.2f} mm {'further in' if fold.off_by > 0 else 'short'})"


class InForce(Struct, frozen=True):
    """What the job's record adds to a plan: the plotter's correction, the tape marks."""

    correction: str | None = None
    """What the sections are cut and drawn with, in words."""
    tape_marks: Mapping[str, Sequence[str]] = field(default_factory=dict)
    """Ids of the tape marks that each section reaches, by section; empty before any is set."""
    setting_out: SettingOut | None = None
    """A person's work on the tape marks; None before any is chosen."""
    read: Mapping[str, Sequence[str]] = field(default_factory=dict)
    """Ids of the marks that each section is to read, in reading order, by section."""
    hours: str | None = None
    """What all of it takes, in a sentence."""
    drawing: Mapping[str, float] = field(default_factory=dict)
    """Seconds that each section is drawn at the pace of ink on canvas, by section."""
    anew: tuple[str, ...] = ()
    """What was asked to be inked anew, and how far it is, a sentence each."""


_NOTHING_KEPT = InForce()


def section_table(
    plan: Plan, job: MarkingJob, layout: Layout, kept: InForce = _NOTHING_KEPT
) -> Iterator[str]:
    """The sections in inking order, and what to see to before each set-down, as Markdown."""
    yield "## Sections"
    yield ""
    yield (
        f"{counted(len(plan.sections), 'section')}, {plan.columns} along by {plan.rows} across"
        f"{_fewest(plan)}. {_set_down(plan)}"
    )
    if kept.anew:
        yield ""
        yield from (f"- {one}" for one in kept.anew)
    yield ""
    if plan.ruled:
        metres = sum(line.stroke.length for line in plan.ruled) / 1000
        yield (
            f"They are the two hem bands: {counted(len(plan.ruled), 'line')} between them, "
            f"{metres:.0f} m, are ruled by hand from stub to stub, as the ruling sheet says. The "
            "rows of the two bands do not meet: each begins by tape marks of its own."
        )
        yield ""
    if kept.correction is not None:
        yield (
            f"Cut and drawn with the correction measured on scrap: {kept.correction}. What a "
            "corrected plotter reaches may differ, and with it the number of sections."
        )
        yield ""
    feed = plan.zone.feed
    places = ("along", "across") if feed is None else ("fed to",)
    if plan.zone.manner.from_an_edge:
        places = ("along", "stand at")
    heads = ["no.", "section", *places, "locating marks", *(["tape marks"] * bool(kept.tape_marks))]
    few = _reads_few(plan, kept)
    heads += ["to read"] * few
    heads += ["strokes", *(["minutes"] * plan.zone.timed)]
    stood = standings(plan.zone, plan.sections, layout, job)
    waits = {
        name: wait_cell(one.wet, job.inking) for name, one in stood.items() if one.wet is not None
    }
    heads += ["set down no sooner than"] * bool(waits)
    yield f"| {' | '.join(heads)} |"
    yield "|---" * len(heads) + "|"
    for section in plan.sections:
        readings = set_down_readings(section, plan, job.units)
        marks = " ".join(mark.id for mark in section.locating_marks) or "none: by tape"
        cells = [
            f"{section.order}",
            section.id + (" turned" if section.turned else ""),
            *(readings if feed is None else readings[feed : feed + 1]),
            marks,
        ]
        if kept.tape_marks:
            cells.append(" ".join(kept.tape_marks.get(section.id, ())) or "none")
        if few:
            cells.append(" ".join(kept.read.get(section.id, ())) or "none")
        cells.append(f"{len(section.pieces)}")
        seconds = kept.drawing.get(section.id, plan.seconds(section))
        if seconds is not None:
            cells.append(f"{seconds / 60:.1f}")
        if waits:
            cells.append(waits.get(section.id, ""))
        yield f"| {' | '.join(cells)} |"
    yield ""
    if kept.tape_marks:
        yield (
            "Tape marks are named by the line they stand on and counted along it: n15 and f15 "
            "stand on cross line 15, at the near and the far line; z15 and e15 on the zero line "
            "and the last cross line, 15 pitches up from the near line; ja15 on cross line 15 in "
            "the first row along a join. Where marks stand where sections meet, ja0, ja1 and on "
            "are those of row ja from the zero end, and most stand between lines. Where a table "
            "here says how far along a mark is, that is from the table's zero corner."
        )
        yield ""
    yield from feet_lines(plan, layout, job)


def _reads_few(plan: Plan, kept: InForce) -> bool:
    """Whether some section reads fewer marks than it can."""
    return any(
        len(kept.read[section.id])
        < len({*kept.tape_marks.get(section.id, ()), *(m.id for m in section.locating_marks)})
        for section in plan.sections
        if section.id in kept.read
    )


def _fewest(plan: Plan) -> str:
    """That no plan has fewer, where that is so; else what any plan needs."""
    if plan.bound == (plan.columns, plan.rows):
        return ", the fewest there can be"
    along, across = plan.bound
    round_ = ", whichever way round the device lies," if plan.zone.ways_round[1:] else ""
    return f" (any plan{round_} needs at least {along} along and at least {across} across)"


def _set_down(plan: Plan) -> str:
    """How and where the device, the person or the picture comes to a section."""
    comes = plan.zone.manner.comes
    if plan.zone.manner.from_an_edge:
        return f"{comes} at the reading, taped from the zero end."
    if plan.zone.feed is not None:
        return through_said(plan.zone)
    corner = f"{comes} at the readings, taped from the table's zero corner."
    if not plan.zone.turned:
        return corner
    return (
        "**Turn the device a quarter anticlockwise, seen from above, from how its profile has "
        "it:** what would lie along the table lies across it, and that takes fewer sections. "
        + corner
    )


def mark_table(plan: Plan, units: Units) -> Iterator[str]:
    """Every locating mark with its place, as Markdown."""
    marks = {mark.id: mark for section in plan.sections for mark in section.locating_marks}
    if not marks:
        return
    kinds = {"grid": "inked crossing", "cross": "removable tick", "control": "set out by tape"}
    yield "## Locating marks"
    yield ""
    yield "| mark | along | across | what it is |"
    yield "|---|---|---|---|"
    for mark in marks.values():
        along, across = (rough_length(v, units) for v in mark.at_table)
        yield f"| {mark.id} | {along} | {across} | {kinds[mark.kind]} |"
    yield ""


def ink_lines(plan: Plan, pens: PensTable, kept: InForce = _NOTHING_KEPT) -> Iterator[str]:
    """Ink and time, as Markdown."""
    yield "## Ink and time"
    yield ""
    for name, length in ink_by_pen(plan, pens).items():
        pen = pens.named(name)
        life = f", {length / pen.ink_length:.1f} pens' worth" if pen.ink_length else ""
        holder = f" (holder {pen.slot})" if plan.zone.manner.holds_pens else ""
        yield f"- {name}{holder}: {length / 1000:.1f} m{life}."
    yield from _time_lines(plan, kept)
    yield ""


def _time_lines(plan: Plan, kept: InForce) -> Iterator[str]:
    """What is known of the time: the machine's, and a person's with the tape marks."""
    seconds = sum(kept.drawing.values()) if kept.drawing else seconds_of(plan)
    if seconds is None and kept.hours is None:
        yield (
            "- How long the drawing takes by hand is not told: no times for it are known yet. Time "
            "the first section, and reckon the others by their ink."
        )
    elif seconds is not None:
        besides = "setting down" if plan.zone.feed is None else "moving the canvas"
        yield f"- About {seconds / 3600:.1f} h of drawing, {besides} and reading not counted."
    if kept.setting_out is not None:
        yield f"- {kept.setting_out.said}"
    if kept.hours is not None:
        yield f"- {kept.hours}"


def seconds_of(plan: Plan) -> float | None:
    """How long inking all sections takes; None where nobody knows the pace yet."""
    each = [plan.seconds(section) for section in plan.sections]
    known = [seconds for seconds in each if seconds is not None]
    return sum(known) if len(known) == len(each) else None


def markdown(
    layout: Layout, job: MarkingJob, plan: Plan | None, kept: InForce = _NOTHING_KEPT
) -> str:
    """The whole report; of a layout that is not cut yet, with a word on cautions only."""
    lines = [f"# {job.title}", ""]
    warnings = [*layout.warnings, *(plan.warnings if plan else ())]
    if warnings:
        lines += ["## Look at these first", "", *(f"- {warning}" for warning in warnings), ""]
    lines += fit_lines(layout, job)
    lines += fold_table(layout, job)
    if plan is None:
        lines.append(_BEFORE_INKING)
    else:
        lines += [*section_table(plan, job, layout, kept), *mark_table(plan, job.units)]
        lines += ink_lines(plan, job.pens, kept)
        if is_pulled_on(layout, drawn_through=plan.zone.feed is not None):
            lines += pull_lines(layout, job, pull_ticks(layout, job.grid))
        lines += ["## Cautions", "", *(f"- {caution}" for caution in CAUTIONS)]
    return "\n".join(lines) + "\n"


def record(
    layout: Layout, job: MarkingJob, plan: Plan, kept: InForce = _NOTHING_KEPT
) -> Mapping[str, Any]:
    """The report for programs."""
    stood = standings(plan.zone, plan.sections, layout, job)
    sections: Sequence[Mapping[str, Any]] = [
        {
            "id": section.id,
            "order": section.order,
            "set_down": list(section.window[:2]),
            "witness": [mark.id for mark in section.locating_marks],
            "control": list(kept.tape_marks.get(section.id, ())),
            "read": list(kept.read.get(section.id, ())),
            "strokes": len(section.pieces),
            "ink_mm": section.ink,
            "lifts": section.route.lifts,
            "travel_mm": section.route.travel,
            "seconds": plan.seconds(section),
            **standing_record(stood.get(section.id)),
        }
        for section in plan.sections
    ]
    by_hand = {"ruled": len(plan.ruled)} if plan.ruled else {}
    return {
        "schema": SCHEMA,
        "title": job.title,
        "fit": fit_record(layout),
        "zone": plan.zone.name,
        "turned": plan.zone.turned,
        "correction": kept.correction,
        "sections": sections,
        "pull": pull_record(pull_ticks(layout, job.grid))
        if is_pulled_on(layout, drawn_through=plan.zone.feed is not None)
        else [],
        "ink_mm_by_pen": ink_by_pen(plan, job.pens),
        "seconds": seconds_of(plan),
        "warnings": [*layout.warnings, *plan.warnings],
        "cautions": list(CAUTIONS),
        **by_hand,
    }
