"""What a person is told of a panel on this table: sizes, steps, what has no line; and JSON."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from marking.cloth.hems import counted_from, job_with_lines
from marking.job.keys import parse_fold
from marking.layout.hems import hem_name
from marking.measures.counts import counted
from marking.measures.lengths import format_length

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from marking.cloth.hems import Edge, HemLaid, HemPlan, Shift, TableLine
    from marking.job.keys import Fold, MarkingJob, NumeralsTable
    from marking.layout.layout import Layout
    from marking.measures.lengths import Units

CAUTIONS = (
    "Iron no hotter and no wetter than cover, pad and underlay take by their makers' word; never "
    "leave it face down, and let the table cool before cloth is left on it.",
    "Put blades and shears away before you slide or turn the cloth.",
)


def place_name(laid: HemLaid, job: MarkingJob) -> str:
    """Where an edge or a fold goes, as a person finds it on the cover."""
    if laid.line is not None:
        return _line_name(laid.line, laid.edge, job)
    past = format_length(laid.at - laid.before.at, job.units)
    return f"{past} past {_line_name(laid.before, laid.edge, job)}"


def _line_name(line: TableLine, edge: Edge, job: MarkingJob) -> str:
    shown = format_length(line.at, job.units)
    kind, _, number = line.id.rpartition("-")
    if kind == "cross":
        return f"line {job.numerals.at_line(int(number))}"
    if kind == "fold-cross":
        return f"the fold line at {shown}"
    if kind == "tick-near":
        return f"the tick halfway past line {job.numerals.at_line(int(number))}"
    if kind == "long" and line.at == 0:
        return f"the first long line of the {number} side"
    if number == "edge":
        return f"the table's {kind} edge"
    return f"the {edge.partition(' ')[0]} long line at {shown}"


def zero_line(numerals: NumeralsTable) -> str:
    """The zero line by the numeral that stands on it."""
    return f"line {numerals.at_line(0)}"


def sizes(plan: HemPlan, units: Units) -> Iterator[str]:
    """What the panel is, and what is cut for it."""
    panel, cut = plan.panel, plan.cut

    def by(width: float, length: float) -> str:
        return f"{format_length(width, units)} wide by {format_length(length, units)} long"

    yield f"Finished, flat: {by(panel.width, panel.length)}."
    hems = [("bottom", panel.bottom), ("sides", panel.sides), ("heading", panel.heading)]
    yield "Hems: " + ", ".join(
        f"{where} {hem_name(fold, units)}" if fold is not None else f"{where} none"
        for where, fold in hems
    )
    yield f"Cut: {by(cut.width, cut.length)}."
    if panel.repeat is not None and cut.length > cut.trimmed + 1e-6:
        yield (
            f"Whole repeats of {format_length(panel.repeat, units)}: every length begins at the "
            f"same place of the pattern, and {format_length(cut.length - cut.trimmed, units)} is "
            "cut off at the top."
        )
    if cut.widths > 1 or panel.goods is not None:
        sewn = "used as it comes" if cut.widths == 1 else "sewn side by side"
        each = f", each {format_length(cut.each, units)} wide" if cut.each is not None else ""
        yield (
            f"{counted(cut.widths, 'width')} {sewn}{each}: "
            f"{format_length(cut.run, units)} off the bolt for one panel."
        )
    if cut.lining is not None:
        yield f"Lining cut: {by(*cut.lining)}; its hem ends above the face's."


def steps(plan: HemPlan, job: MarkingJob) -> Iterator[tuple[str, tuple[str, ...]]]:
    """The work in its order: what is done, and each move of it."""

    def at(edge: str, *whats: str) -> list[HemLaid]:
        return [one for one in plan.laid if one.edge == edge and one.what in whats]

    def folds(edge: str) -> list[HemLaid]:
        return at(edge, "fold", "first fold", "second fold")

    zero = zero_line(job.numerals)
    yield (
        "Cut",
        (
            f"Lay the bottom's raw edge on {zero}, its sides along the long lines.",
            *_shift_words(plan.shift_to_cut, plan, job),
            f"Cut across at {place_name(at('top', 'cut')[0], job)}.",
        ),
    )
    yield "Bottom hem", (f"Lay the raw edge on {zero}.", *_turns(folds("bottom"), job))
    near = place_name(at("near side", "raw edge")[0], job)
    if job.table.against_wall:
        other = f"Turn the cloth end for end, lay its other raw edge on {near}, and do the same."
    else:
        far = place_name(at("far side", "raw edge")[0], job)
        by = " and ".join(f"the {one.what} on {place_name(one, job)}" for one in folds("far side"))
        other = f"Slide the cloth across, lay its other raw edge on {far}, and do the same: {by}."
    yield (
        "Side hems",
        (f"Lay the near side's raw edge on {near}.", *_turns(folds("near side"), job), other),
    )
    yield (
        "Heading",
        (
            f"Lay the hemmed bottom edge on {zero}.",
            *_shift_words(plan.shift_to_head, plan, job),
            f"Trim the top at {place_name(at('top', 'raw edge')[0], job)}.",
            *_turns(folds("top"), job),
        ),
    )


def _turns(folds: Sequence[HemLaid], job: MarkingJob) -> Iterator[str]:
    """The folds of one hem."""
    names = [place_name(one, job) for one in folds]
    if len(folds) == 1:
        yield f"Fold on {names[0]} and press."
    elif folds:
        first, last = names
        back = "back" if folds[0].edge == "top" else "in"
        yield f"Turn the raw edge {back} onto {last}: the first fold then lies on {first}. Press."
        yield f"Turn again, so that the second fold lies on {last}. Press."


def _shift_words(shift: Shift | None, plan: HemPlan, job: MarkingJob) -> Iterator[str]:
    if shift is None:
        return
    number = job.numerals.at_line(round(shift.at / job.grid.pitch))
    again = "" if shift.times == 1 else f" Do so {shift.times} times in all."
    yield (
        f"That is longer than the {format_length(plan.longest, job.units)} that this table's lines "
        f"take. Mark both sides of the cloth at line {number}, slide it back until both marks lie "
        f"on {zero_line(job.numerals)}, and count on from there.{again} "
        "What the marks are off, the panel is off."
    )


def notes(plan: HemPlan, layout: Layout, job: MarkingJob, *, inked: bool) -> Iterator[str]:
    """What this table does not give, and what would do."""
    for edge in dict.fromkeys(one.edge for one in plan.missing):
        lacking = [one for one in plan.missing if one.edge == edge]
        hem = lacking[0].hem
        assert hem is not None
        places = ", ".join(f"{one.what} {place_name(one, job)}" for one in lacking)
        yield f"No line for the {edge}'s {hem_name(hem, job.units)} hem: {places}."
    if plan.missing:
        yield _what_would_do(plan, job, inked=inked)
    if plan.between:
        halves = [abs(one.at / job.grid.pitch % 1 - 0.5) < 1e-6 for one in plan.between]
        ticks = all(halves) and not inked and not job.grid.half_ticks
        yield (
            "The panel's length falls between lines: measure on from the line named by a rule"
            + ("; grid.half_ticks = true draws ticks there, before there is ink." * ticks or ".")
        )
    corners = layout.top.corners_table / layout.slack
    across = layout.top.inscribed[3] / layout.slack[1]
    leans = max(corners[2, 1], corners[3, 1]) - across
    if leans > job.tolerance and not job.table.against_wall:
        yield (
            f"The far edge of this table runs off by {format_length(leans, job.units)}: lay the "
            "far side by its folds and let its raw edge lie beside the edge where they say so."
        )
    start = counted_from(layout, "near")
    room = across - start
    if plan.cut.width > room:
        wide, table = (format_length(one, job.units) for one in (plan.cut.width, room))
        from_line = ", from the first long line on" if start else ""
        yield f"The panel is cut {wide} wide, and the table is {table}{from_line}: " + (
            "pull it off the wall, or fold up loosely what does not lie flat there."
            if job.table.against_wall
            else "let it hang over the edge across from the one that you work at, held so that it "
            "does not pull."
        )


def _what_would_do(plan: HemPlan, job: MarkingJob, *, inked: bool) -> str:
    """The one place that says how a table comes by a line that it lacks."""
    by_rule = "lay these folds by a rule from the line named"
    if inked:
        return f"There is ink, and this cover gets no more lines: {by_rule}."
    mended = job_with_lines(plan, job)
    if mended is None:
        shallow = format_length(job.grid.margin, job.units)
        margin = (
            f"a fold up to {shallow} from a long edge is in the margin, where the numerals stand, "
        )
        past = (
            "one past the far line is off the grid"
            if job.table.against_wall
            else "one past the middle is another side's"
        )
        return (
            f"No key gives these lines: {margin * (job.hems.counted_from == 'edge')}"
            f"{past}, and two lines need cloth between them. Take another hem, or {by_rule}."
        )
    listed = ", ".join(f'"{_written(fold, job.units)}"' for fold in mended.hems.folds)
    across = " and cross_folds = true" if mended.hems.cross_folds != job.hems.cross_folds else ""
    return f"Before you ink, write into job.toml under [hems]: folds = [{listed}]{across}."


def _written(fold: Fold, units: Units) -> str:
    """As job.toml takes it: in millimetres where the tape's fractions would round it."""
    shown = hem_name(fold, units)
    exact = parse_fold(shown) == fold
    return shown if exact else f"{fold.kind} {fold.depth:.6g} mm"


def hem_lines(
    plan: HemPlan, layout: Layout, job: MarkingJob, name: str, *, inked: bool
) -> Iterator[str]:
    """All of it in readable lines."""
    yield f"{job.title}: {name}"
    yield ""
    yield from sizes(plan, job.units)
    yield (
        f"The longest length cut on this table without a shift: "
        f"{format_length(plan.longest, job.units)}."
    )
    for title, moves in steps(plan, job):
        yield ""
        yield title
        for number, move in enumerate(moves, 1):
            yield f"  {number}. {move}"
    yield ""
    yield from notes(plan, layout, job, inked=inked)
    yield from CAUTIONS


def hem_record(plan: HemPlan, job: MarkingJob) -> dict[str, Any]:
    """`hem --json`: mm; along from the zero line, across from where hems are counted from."""
    cut = plan.cut
    return {
        "schema": 1,
        "cut": [cut.width, cut.length],
        "trimmed_length": cut.trimmed,
        "widths": cut.widths,
        "lining": None if cut.lining is None else list(cut.lining),
        "folds": [
            {
                "edge": one.edge,
                "what": one.what,
                "lay_to": place_name(one, job),
                "line": None if one.line is None else one.line.id,
                "at_mm": one.at,
            }
            for one in plan.laid
        ],
        "longest_without_shift_mm": plan.longest,
        "shift": {
            "to_cut": _shift_record(plan.shift_to_cut),
            "to_head": _shift_record(plan.shift_to_head),
        },
    }


def _shift_record(shift: Shift | None) -> dict[str, Any] | None:
    return None if shift is None else {"at_mm": shift.at, "times": shift.times}
