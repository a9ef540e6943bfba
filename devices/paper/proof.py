"""The proof of a job sheet: distances by the names that `prove` gives them, and where they run."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from msgspec.structs import replace

from devices.history import has_record
from marking.layout.edges import off_the_wall

if TYPE_CHECKING:
    from devices.paper.asked import PaperAsked
    from marking.drawing.artwork import Artwork
    from marking.proof.places import Distance
    from marking.proof.verniers import JoinVernier
    from marking.sections.plan import Plan


class Proof(NamedTuple):
    """Its pages, and what to know of it before there is ink."""

    pages: tuple[Artwork, ...] = ()
    still_open: tuple[str, ...] = ()


class _Before(NamedTuple):
    """What the last proof sheet of this very cover asked for."""

    distances: tuple[Distance, ...]
    verniers: tuple[JoinVernier, ...]


def proof_of(asked: PaperAsked, plan: Plan) -> Proof:
    """The sheet that was last written, or the fewest distances that can pass a cover.

    Where no number can, those alone that tell of the whole cover, and what would do. None for a
    cover that is marked slack, which is measured as it lies once it is on.
    """
    from marking.job.keys import paper_of, tape_of
    from marking.output.proof_sheet import proof_pages
    from marking.proof.distances import plan_proof
    from marking.proof.distortion import distortion_of
    from marking.proof.limits import limits_of
    from marking.proof.places import always_measured
    from marking.proof.sheet_words import always_lines, told_lines
    from marking.proof.verniers import steps_read
    from marking.sheets.job_sheet import proof_maps

    job, layout, paper = asked.job, asked.layout, paper_of(asked.job)
    if layout.slack != (1.0, 1.0):
        return Proof()
    tape = tape_of(job.tape)
    before = _before(asked, plan) or _Before((), ())
    found = plan_proof(
        layout,
        plan,
        tape,
        limits_of(job.tolerance, job.allowed),
        job.units,
        most=len(before.distances) or None,
        begun=before.distances,
        steps=steps_read(distortion_of(layout, plan), before.verniers),
    )
    said = [f"{one.removesuffix('.')}." for one in told_lines(found, tape, job.units)]
    shown: tuple[Distance, ...] = found.distances
    still_open: tuple[str, ...] = ()
    if before.distances:
        said = [said[0], "They are those of the sheet that canvasrule prove wrote last."]
    elif found.hindrance is not None:
        count = len(always_measured(layout, job.units))
        said = list(always_lines(found, count, tape, job.units))
        shown = shown[:count]
        still_open = (
            "By tape alone no proof can pass this cover within what is asked: the sheet of "
            "distances says what would do. Verniers over the joins are drawn with the sections.",
        )
    pages = proof_pages(
        replace(found, distances=shown),
        before.verniers,
        tape,
        job.title,
        job.units,
        paper,
        job.numerals,
        [*off_the_wall(job.table), *said],
    )
    pages[0].chapter = "Distances to measure"
    return Proof((*proof_maps(shown, layout, job.title, paper), *pages), still_open)


def _before(asked: PaperAsked, plan: Plan) -> _Before | None:
    if not has_record(asked.folder):
        return None
    from marking.begun.on_the_cover import COVER, plan_hash
    from marking.proof.places import distances_from
    from marking.proof.verniers import verniers_from
    from marking.record.record import layout_hash, open_record

    with open_record(asked.folder) as record:
        sheets = record.checks("proof sheet", COVER)
    last = sheets[-1] if sheets else None
    if last is None or last.layout != layout_hash(asked.layout):
        return None
    if last.result.get("division") != plan_hash(plan) or last.result.get("slack"):
        return None
    return _Before(
        distances_from(last.result["distances"]), verniers_from(last.result.get("verniers", ()))
    )
