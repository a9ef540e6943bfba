"""`canvasrule prove`: what to measure on the finished cover, and what that says of it."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from devices.begun import layout_of, plan_of
from devices.commands.shared import (
    OUTPUT,
    add_job_option,
    add_zone_option,
    given_file,
    print_json,
    print_lines,
    read_job,
    say,
    zone_asked_for,
)
from devices.history import has_record, kept_correction
from devices.machine_zones import divided
from marking.begun.on_the_cover import COVER, plan_hash
from marking.errors import BadInputError, RefusedError
from marking.job.keys import ClothTable, paper_of, tape_of
from marking.job.line_numbers import told_apart
from marking.layout.edges import off_the_wall
from marking.layout.layout import lay_out
from marking.mending.mend import mends
from marking.mending.words import mended_said, seen_lines, told_by_mends
from marking.network.allowed import allowed_of
from marking.output.files import replace_file
from marking.proof.distances import plan_proof
from marking.proof.distortion import distortion_of
from marking.proof.geometry import DistanceSheet
from marking.proof.limits import limits_of
from marking.proof.measured import read_measured
from marking.proof.places import distances_from, distances_record
from marking.proof.sheet_words import sheet_lines, sheet_record
from marking.proof.verdict import prove
from marking.proof.verniers import steps_read, verniers_from, verniers_over, verniers_record
from marking.proof.words import proof_lines, proof_record, since, since_lines, since_record
from marking.record.record import layout_hash, open_record

if TYPE_CHECKING:
    import argparse
    from collections.abc import Iterator, Mapping

    from devices.job import Job
    from marking.layout.layout import Layout
    from marking.mending.mend import Mend
    from marking.proof.places import Distance
    from marking.proof.verniers import JoinVernier
    from marking.proof.words import Since
    from marking.record.record import Record
    from marking.record.rows import KeptCheck
    from marking.sections.plan import Plan


_FEWEST, _MOST = 10, 300


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
    verb.add_argument(
        "--verniers",
        action="store_true",
        help="verniers were drawn over the joins (write --verniers): the sheet asks for their "
        "readings too, and for fewer distances",
    )
    verb.add_argument(
        "--marked-before",
        action="store_true",
        help="for a cover marked by hand, or bought, which should have job.toml's lines: what to "
        "measure on it; with --measured how far off it is, and the card of known errors",
    )
    verb.epilog = (
        "Without --measured it writes the sheet, out/proof.svg and out/proof.pdf.\n\n"
        "examples:\n  canvasrule prove --job my-bench\n"
        "  canvasrule prove --job my-bench --measured proof.toml --confirmed p07"
    )


def run(options: argparse.Namespace) -> int:
    """Writes the sheet, or gives the verdict on what was measured."""
    job = read_job(options.job)
    if options.marked_before:
        return _marked_before(options, job)
    options.zone = zone_asked_for(options, job)
    if options.distances is not None and not _FEWEST <= options.distances <= _MOST:
        raise BadInputError(
            f"--distances {options.distances}: give {_FEWEST} to {_MOST}; fewer tell nothing, "
            "and nobody measures more"
        )
    if options.measured is None:
        if options.confirmed:
            raise BadInputError("--confirmed is said of a distance in --measured FILE; give both")
        return _write_sheet(options, job)
    if options.verniers:
        raise BadInputError(
            "--verniers is for the sheet; the sheet written last knows what it asked for"
        )
    return _judge(options, job)


def _write_sheet(options: argparse.Namespace, job: Job) -> int:
    # What draws is imported where something is drawn: it takes a while.
    from marking.drawing.pdf import pdf
    from marking.drawing.svg import svg
    from marking.output.proof_sheet import proof_pages

    tape = tape_of(job.tape)
    kept: dict[str, Any] = {
        "zone": options.zone,
        "slack": options.slack,
        "tape": asdict(tape),
        "tolerance": job.tolerance,
    }
    cover = _cover(options.job, job, kept)
    model = distortion_of(cover.lying, cover.plan)
    verniers: tuple[JoinVernier, ...] = ()
    if options.verniers:
        _check_verniers(options.zone, cover)
        verniers = verniers_over(cover.plan, model, job.pens.removable.width)
    plan = plan_proof(
        *(cover.lying, cover.plan, tape, limits_of(job.tolerance, job.allowed), job.units),
        most=options.distances,
        begun=_begun(options.job, cover, kept),
        steps=steps_read(model, verniers),
    )
    paper, numerals = paper_of(job), job.numerals
    notes = [*off_the_wall(job.table), *_mends_told(options.job, job, cover.layout)]
    pages = proof_pages(plan, verniers, tape, job.title, job.units, paper, numerals, notes)
    files = {"proof.svg": svg(pages[0]), "proof.pdf": pdf(pages)}
    with open_record(options.job) as record:
        record.add_check(
            layout_hash(cover.layout),
            "proof sheet",
            COVER,
            {
                **kept,
                "division": plan_hash(cover.plan),
                "distances": distances_record(plan.distances),
                "verniers": verniers_record(verniers),
            },
        )
    for name, data in files.items():
        replace_file(options.job / OUTPUT / name, data)
    paths = [options.job / OUTPUT / name for name in files]
    if options.json:
        print_json(sheet_record(plan, verniers, paths))
    else:
        print_lines(sheet_lines(plan, verniers, tape, job.units, numerals, notes))
        say(f"wrote {', '.join(map(str, paths))}")
    return 0


def _marked_before(options: argparse.Namespace, job: Job) -> int:
    """A cover that this tool did not draw: its sheet, or how far off it is and the card."""
    from marking.drawing.pdf import pdf
    from marking.marked_before.errors import off_cover
    from marking.marked_before.readings import Meant, asked, read_found
    from marking.marked_before.words import off_lines, off_record, sheet_lines
    from marking.sheets.known_errors import card_pages, sheet_pages

    if options.confirmed or options.verniers or options.slack or options.distances is not None:
        raise BadInputError("--marked-before goes with --measured FILE alone")
    # What is on the table is no ink of this job, whatever its record holds, and is stretched.
    layout = lay_out(job.model_copy(update={"cloth": ClothTable()}))
    tape, paper = tape_of(job.tape), paper_of(job)
    meant = Meant(layout, job.numerals)
    if options.measured is None:
        spots, notes = asked(meant), (*off_the_wall(job.table), *told_apart(job.numerals))
        path = options.job / OUTPUT / "marked-before.pdf"
        replace_file(path, pdf(sheet_pages(spots, tape, job.title, job.units, paper, notes)))
        if options.json:
            print_json({"schema": 1, "files": [path.as_posix()], "asked": list(map(asdict, spots))})
        else:
            print_lines(sheet_lines(spots, tape, job.units, notes))
            say(f"wrote {path}")
        return 0
    file = given_file("--measured", options.measured, options.job)
    off = off_cover(meant, read_found(file, meant), tape, limits_of(job.tolerance, job.allowed))
    path = options.job / OUTPUT / "known-errors.pdf"
    replace_file(path, pdf(card_pages(off, tape, job.title, job.units, paper)))
    with open_record(options.job) as record:
        record.add_check(layout_hash(layout), "marked before", COVER, off_record(off))
    if options.json:
        print_json({"schema": 1, "files": [path.as_posix()], **off_record(off)})
    else:
        print_lines(off_lines(off, job.units))
        say(f"wrote {path}: the card to pin up")
        say("a new cover with the same choices: canvasrule start NEW --like " + str(options.job))
    return 0 if off.advice == "keep" else RefusedError.exit_code


def _check_verniers(zone: str, cover: _Cover) -> None:
    """Raises RefusedError where none can have been drawn."""
    if zone != "plotter":
        raise RefusedError("verniers are drawn by a plotter; leave --verniers out, or --for")
    if cover.lying is not cover.layout:
        raise RefusedError(
            "this cover was marked slack, and its verniers were drawn before it was stretched on, "
            "so they tell nothing of it now; read them before, with --slack"
        )


@dataclass(frozen=True)
class _Cover:
    """The cover that is proved: as it was laid out, and as it lies when it is measured."""

    layout: Layout
    lying: Layout
    plan: Plan


def _cover(folder: Path, job: Job, kept: Mapping[str, Any]) -> _Cover:
    layout, correction = layout_of(folder, job), kept_correction(folder, job)
    if kept["slack"] or layout.slack == (1.0, 1.0):
        return _Cover(layout, layout, plan_of(folder, kept["zone"], job, layout, correction))
    # A cover marked slack is proved as it lies on the table, unless a person says otherwise.
    stretched = job.model_copy(update={"cloth": ClothTable()})
    lying = lay_out(stretched)
    return _Cover(layout, lying, divided(kept["zone"], lying, stretched, correction))


def _begun(folder: Path, cover: _Cover, kept: Mapping[str, Any]) -> tuple[Distance, ...]:
    """The distances of the last sheet, where it was for this cover: they keep their names."""
    last = _last_sheet(folder)
    if last is None or _other_cover(last, cover):
        return ()
    if any(last.result.get(key) != kept[key] for key in ("zone", "slack")):
        return ()
    return distances_from(last.result["distances"])


def _last_sheet(folder: Path) -> KeptCheck | None:
    if not has_record(folder):
        return None
    with open_record(folder) as record:
        checks = record.checks("proof sheet", COVER)
    return checks[-1] if checks else None


def _other_cover(sheet: KeptCheck, cover: _Cover) -> bool:
    """Whether a kept sheet is for another layout or division, or keeps no distances."""
    return (
        sheet.layout != layout_hash(cover.layout)
        or sheet.result.get("division") != plan_hash(cover.plan)
        or not isinstance(sheet.result.get("distances"), list)
    )


def _judge(options: argparse.Namespace, job: Job) -> int:
    path = given_file("--measured", options.measured, options.job)
    kept, sheet, layout = _kept_sheet(options.job, job)
    shown = read_measured(path, sheet, job.units, options.confirmed)
    _check_confirmed(options.confirmed, shown)
    limits = limits_of(job.tolerance, job.allowed)
    verdict = prove(sheet, shown, tape_of(job.tape), limits, options.confirmed)
    named = layout_hash(layout)
    mended = _mended(options.job, job, layout)
    step = allowed_of(job).step
    verdict = replace(verdict, outcome=told_by_mends(mended, step, verdict.outcome))
    changes: Since | None = None
    with open_record(options.job) as record:
        earlier = _earlier_proof(record, named, slack=bool(kept["slack"]))
        if earlier is not None and verdict.outcome != "measure again":
            changes = since(earlier.result, verdict)
        result = {**proof_record(verdict), "slack": kept["slack"], "confirmed": options.confirmed}
        if mended:
            result["mended"] = [{"id": one.id, "step_mm": one.step} for one in mended]
        record.add_check(named, "proof", COVER, result)
    if options.json:
        print_json({**result, "since": since_record(changes) if changes is not None else None})
    else:
        first, *rest = proof_lines(verdict, job.units)
        print_lines([first, *seen_lines(mended, step), *rest])
        if changes is not None:
            print_lines(since_lines(changes))
    return 0 if verdict.outcome == "pass" else RefusedError.exit_code


def _mends_told(folder: Path, job: Job, layout: Layout) -> Iterator[str]:
    """What of the cover was inked anew, and what of it still waits."""
    mended = _mended(folder, job, layout)
    yield from (f"Inked anew: {mended_said(one, layout, job.units)}." for one in mended)
    yield from (f"{line}." for line in seen_lines(mended, allowed_of(job).step))


def _mended(folder: Path, job: Job, layout: Layout) -> tuple[Mend, ...]:
    """What of the cover was asked to be inked anew, and not taken back."""
    with open_record(folder) as record:
        if not record.rows("mend"):
            return ()
    plan = plan_of(folder, "plotter", job, layout, kept_correction(folder, job))
    with open_record(folder) as record:
        return tuple(one for one in mends(record, layout, plan) if one.state != "taken back")


def _kept_sheet(folder: Path, job: Job) -> tuple[Mapping[str, Any], DistanceSheet, Layout]:
    """What the last sheet was written for, and its distances as they were kept.

    Raises RefusedError when no sheet was written, or it is for another cover.
    """
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
    steps = steps_read(model, verniers_from(kept.get("verniers", ())))
    return kept, DistanceSheet(distances_from(kept["distances"]), model, steps), cover.layout


def _check_confirmed(confirmed: list[str], shown: dict[str, float]) -> None:
    unknown = [name for name in confirmed if name not in shown]
    if unknown:
        raise BadInputError(f"--confirmed {', '.join(unknown)}: not among what was measured")


def _earlier_proof(record: Record, layout: str, *, slack: bool) -> KeptCheck | None:
    """The last proof of the same cover, lying as now, that came to a verdict."""
    proofs = [
        check
        for check in record.checks("proof", COVER)
        if check.layout == layout
        and check.result["slack"] == slack
        and check.result["outcome"] != "measure again"
    ]
    return proofs[-1] if proofs else None
