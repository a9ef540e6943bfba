"""`canvasrule prove`: what to measure on the finished cover, and what that says of it."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from devices.commands.begun import layout_of, plan_of
from devices.commands.history import has_record, kept_correction
from devices.commands.shared import (
    add_job_option,
    add_zone_option,
    given_file,
    print_json,
    print_lines,
    read_job,
    say,
)

if TYPE_CHECKING:
    import argparse
    from collections.abc import Iterator

    from devices.job import Job
    from marking.layout import Layout
    from marking.proof import Estimate
    from marking.proofplan import ProofPlan
    from marking.record import Record
    from marking.rows import KeptCheck


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
        help="how many the sheet may ask for (default: two a section, at most 60); more leave "
        "fewer sections in doubt",
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
    from marking.files import replace_file
    from marking.page import page_svg, pages_pdf, paper_for
    from marking.proofsheet import proof_pages
    from marking.record import layout_hash, open_record
    from marking.standing import COVER
    from marking.tape import tape_of

    tape = tape_of(job.tape)
    kept: dict[str, Any] = {
        "zone": options.zone,
        "slack": options.slack,
        "shift_sd": _placed_sd(options.job, job) if options.zone == "plotter" else None,
        "tape": asdict(tape),
        "tolerance": job.tolerance,
        "most": options.distances,
    }
    plan, layout = _plan(options.job, job, kept)
    pages = proof_pages(plan, tape, job.title, job.units, paper_for(job.units))
    files = {"proof.svg": page_svg(pages[0]), "proof.pdf": pages_pdf(pages)}
    with open_record(options.job) as record:
        record.add_check(
            layout_hash(layout), "proof sheet", COVER, {**kept, "distances": _digest(plan)}
        )
    for name, data in files.items():
        replace_file(options.job / OUTPUT / name, data)
    paths = [options.job / OUTPUT / name for name in files]
    if options.json:
        print_json(_sheet_record(plan, paths))
    else:
        print_lines(_sheet_lines(plan, job))
        say(f"wrote {', '.join(map(str, paths))}")
    return 0


def _plan(folder: Path, job: Job, kept: dict[str, Any]) -> tuple[ProofPlan, Layout]:
    """The distances that `kept` stands for, and the layout as the job's record knows it."""
    from devices.division import divided
    from marking.job import ClothTable
    from marking.layout import lay_out
    from marking.proofplan import plan_proof
    from marking.tape import Tape

    layout, correction = layout_of(folder, job), kept_correction(folder, job)
    lying, cut = layout, plan_of(folder, kept["zone"], job, layout, correction)
    if layout.slack != (1.0, 1.0) and not kept["slack"]:
        # A cover marked slack is proved as it lies on the table, unless a person says otherwise.
        stretched = job.model_copy(update={"cloth": ClothTable()})
        lying = lay_out(stretched)
        cut = divided(kept["zone"], lying, stretched, correction)
    plan = plan_proof(
        lying,
        cut,
        Tape(**kept["tape"]),
        kept["tolerance"],
        job.units,
        shift_sd=kept["shift_sd"],
        most=kept["most"],
    )
    return plan, layout


def _digest(plan: ProofPlan) -> str:
    """SHA-256 of which id stands for which distance, so that no figure goes to another."""
    from marking.files import digest

    return digest("\n".join(f"{d.id} {' '.join(d.between)}" for d in plan.distances).encode())


def _placed_sd(folder: Path, job: Job) -> float | None:
    """How well the placements say the sections lie, in mm; None unless all of them are inked."""
    import numpy as np

    from marking.adjustment import adjust
    from marking.errors import RefusedError
    from marking.record import open_record
    from marking.standing import standing

    if not has_record(folder):
        return None
    layout = layout_of(folder, job)
    plan = plan_of(folder, "plotter", job, layout, kept_correction(folder, job))
    with open_record(folder) as record:
        if not record.ink():
            return None
        try:
            stands = standing(record, layout, plan, job.units)
        except RefusedError:
            return None
    if len(stands.setups) < len(plan.sections):
        return None
    state = adjust(stands.sights.targets.values(), stands.setups).network
    # What the tape and the square shift all sections by, the proof finds as scale and skew.
    blocks = [
        state.by_tape[state.places[s.section], state.places[s.section]] for s in stands.setups
    ]
    means = [state.mean[state.places[s.section]] for s in stands.setups]
    # What the readings say the ink is off counts as much as what they leave open.
    squares = [np.diag(b)[:2] + m[:2] ** 2 for b, m in zip(blocks, means, strict=True)]
    return float(np.sqrt(np.mean(squares)))


def _judge(options: argparse.Namespace, job: Job) -> int:
    from marking.errors import RefusedError
    from marking.proof import prove, read_measured
    from marking.prooftext import proof_lines, proof_record, since, since_lines
    from marking.record import layout_hash, open_record
    from marking.standing import COVER
    from marking.tape import tape_of

    path = given_file("--measured", options.measured, options.job)
    kept, plan, layout = _kept_plan(options.job, job)
    shown = read_measured(path, plan, job.units, options.confirmed)
    _check_confirmed(options.confirmed, shown)
    verdict = prove(plan, shown, tape_of(job.tape), job.tolerance, options.confirmed)
    named = layout_hash(layout)
    changes: dict[str, Estimate] = {}
    with open_record(options.job) as record:
        earlier = _earlier_proof(record, named, slack=bool(kept["slack"]))
        if earlier is not None and verdict.outcome != "measure again":
            changes = since(earlier.result, verdict)
        result = {**proof_record(verdict), "slack": kept["slack"], "confirmed": options.confirmed}
        record.add_check(named, "proof", COVER, result)
    if options.json:
        moved = {name: {"mm": one.value, "sd": one.sd} for name, one in changes.items()}
        print_json({**result, "since": moved if earlier is not None else None})
    else:
        print_lines(proof_lines(verdict, job.units))
        if changes:
            print_lines(since_lines(changes))
    return 0 if verdict.outcome == "pass" else RefusedError.exit_code


def _kept_plan(folder: Path, job: Job) -> tuple[dict[str, Any], ProofPlan, Layout]:
    """The last sheet's parameters and the same distances made of them again.

    Raises RefusedError when no sheet was written, or its ids no longer stand for the same.
    """
    from marking.errors import RefusedError
    from marking.record import open_record
    from marking.standing import COVER

    checks: tuple[KeptCheck, ...] = ()
    if has_record(folder):
        with open_record(folder) as record:
            checks = record.checks("proof sheet", COVER)
    if not checks:
        raise RefusedError(
            f"{folder}: no proof sheet was written for this job, so the ids stand for nothing; "
            "run canvasrule prove without --measured, and measure what it asks"
        )
    kept = checks[-1].result
    plan, layout = _plan(folder, job, kept)
    if _digest(plan) != kept["distances"]:
        raise RefusedError(
            f"{folder}: the ids of the last proof sheet no longer stand for the same distances, "
            "since the job or its plotter has changed. Put it back as it was, or write a new "
            "sheet and measure that"
        )
    return kept, plan, layout


def _check_confirmed(confirmed: list[str], shown: dict[str, float]) -> None:
    from marking.errors import BadInputError

    unknown = [name for name in confirmed if name not in shown]
    if unknown:
        raise BadInputError(f"--confirmed {', '.join(unknown)}: not among what was measured")


def _earlier_proof(record: Record, layout: str, *, slack: bool) -> KeptCheck | None:
    """The last proof of the same cover, lying as now, that came to a verdict."""
    from marking.standing import COVER

    proofs = [
        check
        for check in record.checks("proof", COVER)
        if check.layout == layout
        and check.result["slack"] == slack
        and check.result["outcome"] != "measure again"
    ]
    return proofs[-1] if proofs else None


def _sheet_lines(plan: ProofPlan, job: Job) -> Iterator[str]:
    from marking.proofplan import SURE
    from marking.tape import as_taped, tape_of, tape_reading

    tape = tape_of(job.tape)
    for distance in plan.distances:
        nominal = as_taped(tape_reading(distance.nominal, tape), tape, job.units)
        yield f"{distance.id}  {distance.kind:<9} {' to '.join(distance.between):<44} {nominal}"
    yield ""
    yield f"As well as these tell, any line is known to {plan.worst_sd:.2f} mm (one deviation)"
    if not plan.could_pass(job.tolerance):
        more = min(2 * len(plan.distances), _MOST)
        yield (
            f"Even a perfect cover could not pass on them: that takes "
            f"{job.tolerance / SURE:.2f} mm. "
            + (
                f"--distances {more} asks for more, and keeps the names of these"
                if more > len(plan.distances)
                else "Use a finer tape"
            )
        )
    if plan.untold:
        more_of_them = f" and {len(plan.untold) - 8} more" if len(plan.untold) > 8 else ""
        yield f"Least is told of {', '.join(plan.untold[:8])}{more_of_them}"


def _sheet_record(plan: ProofPlan, paths: list[Path]) -> dict[str, Any]:
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
        "files": [path.as_posix() for path in paths],
    }
