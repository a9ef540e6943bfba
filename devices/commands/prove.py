"""`canvasrule prove`: what to measure on the finished cover, and what that says of it."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from devices.begun import layout_of, plan_of
from devices.commands.shared import (
    add_job_option,
    add_zone_option,
    given_file,
    print_json,
    print_lines,
    read_job,
    say,
)
from devices.history import has_record, kept_correction

if TYPE_CHECKING:
    import argparse
    from collections.abc import Iterator, Mapping

    from devices.job import Job
    from marking.layout.layout import Layout
    from marking.proof.distances import ProofPlan
    from marking.proof.forecast import Hindrance
    from marking.proof.geometry import Sheet
    from marking.proof.places import Distance
    from marking.proof.words import Since
    from marking.record.record import Record
    from marking.record.rows import KeptCheck
    from marking.sections.plan import Plan


_FEWEST, _MOST = 12, 300


def add_options(verb: argparse.ArgumentParser) -> None:
    """Options of the verb."""
    add_job_option(verb)
    add_zone_option(verb)
    verb.add_argument(
        "--measured",
        metavar="FILE",
        type=Path,
        help="what the tape showed, .toml or .csv with id and length, for the ids of the sheet",
    )
    verb.add_argument(
        "--confirmed",
        metavar="ID",
        action="append",
        default=[],
        help="a distance that was measured again and stands; may be given more than once",
    )
    verb.add_argument(
        "--slack",
        action="store_true",
        help="the cover is measured before it is stretched on, for a sheet of the slack cloth",
    )
    verb.add_argument(
        "--distances",
        metavar="N",
        type=int,
        help="how many the sheet asks for (default: the fewest on which a cover without any error "
        "can pass)",
    )
    verb.epilog = (
        "Without --measured it writes the sheet, out/proof.svg and out/proof.pdf.\n\n"
        "example:\n  canvasrule prove --job my-bench\n"
        "  canvasrule prove --job my-bench --measured proof.toml --confirmed p07"
    )


def run(options: argparse.Namespace) -> int:
    """Writes the sheet, or gives the verdict on what was measured."""
    from marking.errors import BadInputError

    job = read_job(options.job)
    if options.distances is not None and not _FEWEST <= options.distances <= _MOST:
        raise BadInputError(
            f"--distances {options.distances}: give {_FEWEST} to {_MOST}; fewer tell nothing, "
            "and nobody measures more"
        )
    if options.measured is None:
        if options.confirmed:
            raise BadInputError("--confirmed is said of a distance in --measured FILE; give both")
        return _write_sheet(options, job)
    return _judge(options, job)


def _write_sheet(options: argparse.Namespace, job: Job) -> int:
    from devices.commands.write import OUTPUT
    from marking.begun.on_the_cover import COVER, plan_hash
    from marking.drawing.page import page_svg, pages_pdf, paper_for
    from marking.job.keys import tape_of
    from marking.output.files import replace_file
    from marking.output.proof_sheet import proof_pages
    from marking.proof.distances import plan_proof
    from marking.proof.places import distances_record
    from marking.record.record import layout_hash, open_record

    tape = tape_of(job.tape)
    kept: dict[str, Any] = {
        "zone": options.zone,
        "slack": options.slack,
        "tape": asdict(tape),
        "tolerance": job.tolerance,
    }
    cover = _cover(options.job, job, kept)
    plan = plan_proof(
        *(cover.lying, cover.plan, tape, job.tolerance, job.units),
        most=options.distances,
        begun=_begun(options.job, cover, kept),
    )
    pages = proof_pages(plan, tape, job.title, job.units, paper_for(job.units))
    files = {"proof.svg": page_svg(pages[0]), "proof.pdf": pages_pdf(pages)}
    with open_record(options.job) as record:
        record.add_check(
            layout_hash(cover.layout),
            "proof sheet",
            COVER,
            {
                **kept,
                "division": plan_hash(cover.plan),
                "distances": distances_record(plan.distances),
            },
        )
    for name, data in files.items():
        replace_file(options.job / OUTPUT / name, data)
    paths = [options.job / OUTPUT / name for name in files]
    if options.json:
        print_json(_sheet_record(plan, job.tolerance, paths))
    else:
        print_lines(_sheet_lines(plan, job))
        say(f"wrote {', '.join(map(str, paths))}")
    return 0


@dataclass(frozen=True)
class _Cover:
    """The cover that is proved: as it was laid out, and as it lies when it is measured."""

    layout: Layout
    lying: Layout
    plan: Plan


def _cover(folder: Path, job: Job, kept: Mapping[str, Any]) -> _Cover:
    from devices.division import divided
    from marking.job.keys import ClothTable
    from marking.layout.layout import lay_out

    layout, correction = layout_of(folder, job), kept_correction(folder, job)
    if kept["slack"] or layout.slack == (1.0, 1.0):
        return _Cover(layout, layout, plan_of(folder, kept["zone"], job, layout, correction))
    # A cover marked slack is proved as it lies on the table, unless a person says otherwise.
    stretched = job.model_copy(update={"cloth": ClothTable()})
    lying = lay_out(stretched)
    return _Cover(layout, lying, divided(kept["zone"], lying, stretched, correction))


def _begun(folder: Path, cover: _Cover, kept: Mapping[str, Any]) -> tuple[Distance, ...]:
    """The distances of the last sheet, where it was for this cover: they keep their names."""
    from marking.proof.places import distances_from

    last = _last_sheet(folder)
    if last is None or _other_cover(last, cover):
        return ()
    if any(last.result.get(key) != kept[key] for key in ("zone", "slack")):
        return ()
    return distances_from(last.result["distances"])


def _last_sheet(folder: Path) -> KeptCheck | None:
    from marking.begun.on_the_cover import COVER
    from marking.record.record import open_record

    if not has_record(folder):
        return None
    with open_record(folder) as record:
        checks = record.checks("proof sheet", COVER)
    return checks[-1] if checks else None


def _other_cover(sheet: KeptCheck, cover: _Cover) -> bool:
    """Whether a kept sheet is for another layout or division, or keeps no distances."""
    from marking.begun.on_the_cover import plan_hash
    from marking.record.record import layout_hash

    return (
        sheet.layout != layout_hash(cover.layout)
        or sheet.result.get("division") != plan_hash(cover.plan)
        or not isinstance(sheet.result.get("distances"), list)
    )


def _judge(options: argparse.Namespace, job: Job) -> int:
    from marking.begun.on_the_cover import COVER
    from marking.errors import RefusedError
    from marking.job.keys import tape_of
    from marking.proof.verdict import prove, read_measured
    from marking.proof.words import proof_lines, proof_record, since, since_lines, since_record
    from marking.record.record import layout_hash, open_record

    path = given_file("--measured", options.measured, options.job)
    kept, sheet, layout = _kept_sheet(options.job, job)
    shown = read_measured(path, sheet, job.units, options.confirmed)
    _check_confirmed(options.confirmed, shown)
    verdict = prove(sheet, shown, tape_of(job.tape), job.tolerance, options.confirmed)
    named = layout_hash(layout)
    changes: Since | None = None
    with open_record(options.job) as record:
        earlier = _earlier_proof(record, named, slack=bool(kept["slack"]))
        if earlier is not None and verdict.outcome != "measure again":
            changes = since(earlier.result, verdict)
        result = {**proof_record(verdict), "slack": kept["slack"], "confirmed": options.confirmed}
        record.add_check(named, "proof", COVER, result)
    if options.json:
        print_json({**result, "since": since_record(changes) if changes is not None else None})
    else:
        print_lines(proof_lines(verdict, job.units))
        if changes is not None:
            print_lines(since_lines(changes))
    return 0 if verdict.outcome == "pass" else RefusedError.exit_code


def _kept_sheet(folder: Path, job: Job) -> tuple[Mapping[str, Any], Sheet, Layout]:
    """What the last sheet was written for, and its distances as they were kept.

    Raises RefusedError when no sheet was written, or it is for another cover.
    """
    from marking.errors import RefusedError
    from marking.proof.distortion import distortion_of
    from marking.proof.geometry import Sheet
    from marking.proof.places import distances_from

    last = _last_sheet(folder)
    if last is None:
        raise RefusedError(
            f"{folder}: no proof sheet was written for this job, so the ids stand for nothing; "
            "run canvasrule prove without --measured, and measure what it asks"
        )
    kept = last.result
    cover = _cover(folder, job, kept)
    if _other_cover(last, cover):
        raise RefusedError(
            f"{folder}: the ids of the last proof sheet no longer stand for the same distances, "
            "since the job or its plotter has changed, or an earlier version of canvasrule wrote "
            "it. Put back what was changed, or write a new sheet and measure that"
        )
    model = distortion_of(cover.lying, cover.plan)
    return kept, Sheet(distances_from(kept["distances"]), model), cover.layout


def _check_confirmed(confirmed: list[str], shown: dict[str, float]) -> None:
    from marking.errors import BadInputError

    unknown = [name for name in confirmed if name not in shown]
    if unknown:
        raise BadInputError(f"--confirmed {', '.join(unknown)}: not among what was measured")


def _earlier_proof(record: Record, layout: str, *, slack: bool) -> KeptCheck | None:
    """The last proof of the same cover, lying as now, that came to a verdict."""
    from marking.begun.on_the_cover import COVER

    proofs = [
        check
        for check in record.checks("proof", COVER)
        if check.layout == layout
        and check.result["slack"] == slack
        and check.result["outcome"] != "measure again"
    ]
    return proofs[-1] if proofs else None


def _sheet_lines(plan: ProofPlan, job: Job) -> Iterator[str]:
    from marking.job.keys import tape_of
    from marking.measures.tape import as_taped, tape_reading
    from marking.proof.verdict import TWO_SIDED

    tape = tape_of(job.tape)
    for distance in plan.distances:
        nominal = as_taped(tape_reading(distance.nominal, tape), tape, job.units)
        kind = "join" if distance.kind == "seam" else distance.kind
        yield f"{distance.id}  {kind:<9} {' to '.join(distance.between):<44} {nominal}"
    yield ""
    yield (
        "As well as these tell, any line is known to +/- "
        f"{TWO_SIDED * plan.worst_sd:.2f} mm, 95 times in 100"
    )
    if plan.hindrance is not None:
        yield from _hindrance_lines(plan, plan.hindrance, job)
    else:
        yield (
            f"A cover without any error passes on them {_in_ten(plan, job)} times in 10 with this "
            "tape; one with errors less often"
        )
        if not plan.could_pass(job.tolerance):
            yield "Without --distances it asks for the fewest that can pass, or says why none can"
    if plan.untold:
        more_of_them = f" and {len(plan.untold) - 8} more" if len(plan.untold) > 8 else ""
        yield f"Least is told of {', '.join(plan.untold[:8])}{more_of_them}"


def _in_ten(plan: ProofPlan, job: Job) -> int:
    return int(10 * plan.forecast.chance(job.tolerance))


def _hindrance_lines(plan: ProofPlan, hindrance: Hindrance, job: Job) -> Iterator[str]:
    """Why no number of distances can pass, and what would do."""
    import math
    from fractions import Fraction

    from marking.job.keys import tape_of
    from marking.measures.lengths import INCH, format_length, tape_fraction
    from marking.proof.verdict import TWO_SIDED

    tape = tape_of(job.tape)
    by_tape = hindrance.by_tape > hindrance.by_reading
    what = (
        f"how long the tape itself is (class {tape.tape_class}"
        f"{', not compared with a known length' if tape.scale_sd is None else ''})"
        if by_tape
        else f"reading the tape (to {format_length(tape.division, job.units)}, class "
        f"{tape.tape_class})"
    )
    most = max(hindrance.by_tape, hindrance.by_reading)
    doubt = (
        f"Most of the doubt is {what}: +/- {TWO_SIDED * most:.2f} mm at the most doubtful line, 95 "
        "times in 100"
        if most > plan.worst_sd / 2
        else "Little of the doubt is the tape's: no distance that can be asked for tells enough of "
        "the sections named last"
    )
    yield (
        f"No number of distances can pass a cover within {format_length(job.tolerance, job.units)}"
        f" with this tape, not even one without any error. {doubt}. These "
        f"{len(plan.distances)} find what is far off, and FAIL it"
    )
    finer = (
        f"{tape_fraction(Fraction(tape.division / 2 / float(INCH)).limit_denominator(256))} in"
        if job.units == "in"
        else f"{tape.division / 2:g} mm"
    )
    for one in hindrance.remedies:
        how = [
            *(["compared with a known length (scale_error under [tape])"] if one.compared else []),
            *([f'read to {finer} (division = "{finer}")'] if one.finer else []),
        ]
        yield f"What would do: a tape {' and '.join(how)}: about {one.distances} distances"
    step = float(INCH) / 32 if job.units == "in" else 0.1
    enough = math.ceil(hindrance.tolerance / step) * step
    yield f"What would do: a tolerance of {format_length(enough, job.units)}"


def _sheet_record(plan: ProofPlan, tolerance: float, paths: list[Path]) -> dict[str, Any]:
    return {
        "schema": 1,
        "distances": [
            {
                "id": one.id,
                "kind": one.kind,
                "ends": [list(end) for end in one.ends],
                "between": list(one.between),
                "nominal": one.nominal,
            }
            for one in plan.distances
        ],
        "told": plan.told,
        "untold": list(plan.untold),
        "worst_sd": plan.worst_sd,
        "chance": plan.forecast.chance(tolerance),
        "fewest": plan.fewest,
        "files": [path.as_posix() for path in paths],
    }
