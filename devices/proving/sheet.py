"""The sheet that says what to measure: made, kept, and found again for what was measured."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from msgspec import Struct
from msgspec.structs import asdict

from devices.history import has_record
from devices.proving.cover import mended, proved_cover
from marking.begun.on_the_cover import COVER, plan_hash
from marking.errors import RefusedError
from marking.job.keys import tape_of
from marking.layout.edges import off_the_wall
from marking.mending.words import mended_said, seen_lines
from marking.network.allowed_errors import allowed_of
from marking.proof.distances import plan_proof
from marking.proof.distortion import distortion_of
from marking.proof.geometry import DistanceSheet
from marking.proof.limits import limits_of
from marking.proof.places import distances_from, distances_record
from marking.proof.verniers import steps_read, verniers_from, verniers_over, verniers_record
from marking.record.record import layout_hash, open_record

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from pathlib import Path

    from devices.job import Job
    from devices.proving.cover import ProvedCover
    from marking.measures.tape import Tape
    from marking.proof.distances import ProofPlan
    from marking.proof.places import Distance
    from marking.proof.verniers import JoinVernier
    from marking.record.rows import KeptCheck


class AskedSheet(Struct, frozen=True):
    """What a person is asked to measure."""

    plan: ProofPlan
    verniers: tuple[JoinVernier, ...]
    tape: Tape
    notes: tuple[str, ...]
    """What else to know of the cover: a wall, and what was inked anew."""


def asked_sheet(
    folder: Path, job: Job, cover: ProvedCover, *, most: int | None, verniers: bool
) -> AskedSheet:
    """The sheet for a cover, with at `most` so many distances; none of it is kept yet.

    `verniers` says that verniers were drawn over its joins. Raises RefusedError where none can
    have been, or where nothing could be told.
    """
    tape = tape_of(job.tape)
    model = distortion_of(cover.lying, cover.plan)
    drawn: tuple[JoinVernier, ...] = ()
    if verniers:
        _check_verniers(cover)
        drawn = verniers_over(cover.plan, model, job.pens.removable.width)
    plan = plan_proof(
        *(cover.lying, cover.plan, tape, limits_of(job.tolerance, job.allowed), job.units),
        most=most,
        begun=_begun(folder, cover),
        steps=steps_read(model, drawn),
    )
    notes = (*off_the_wall(job.table), *_mends_told(folder, job, cover))
    return AskedSheet(plan, drawn, tape, notes)


def keep_sheet(folder: Path, job: Job, cover: ProvedCover, sheet: AskedSheet) -> None:
    """Keeps what its names stand for, so that what is measured can be read."""
    kept = {
        **_made_for(job, cover),
        "division": plan_hash(cover.plan),
        "distances": distances_record(sheet.plan.distances),
        "verniers": verniers_record(sheet.verniers),
    }
    with open_record(folder) as record:
        record.add_check(layout_hash(cover.layout), "proof sheet", COVER, kept)


def kept_sheet(folder: Path, job: Job) -> tuple[DistanceSheet, ProvedCover]:
    """The distances of the last sheet as they were kept, and the cover that it was made for.

    Raises RefusedError when no sheet was written, or it is for another cover.
    """
    last = _last_sheet(folder)
    if last is None:
        raise RefusedError(
            f"{folder}: no proof sheet was written for this job, so the ids stand for nothing; "
            "run canvasrule prove without --measured, and measure what it asks"
        )
    kept = last.result
    cover = proved_cover(folder, job, kept["zone"], slack=kept["slack"])
    if _of_another(last, cover):
        raise RefusedError(
            f"{folder}: the ids of the last proof sheet no longer stand for the same distances, "
            "since the job or its plotter has changed, or an earlier version of canvasrule wrote "
            "it. Put back what was changed, or write a new sheet and measure that"
        )
    model = distortion_of(cover.lying, cover.plan)
    steps = steps_read(model, verniers_from(kept.get("verniers", ())))
    return DistanceSheet(distances_from(kept["distances"]), model, steps), cover


def _check_verniers(cover: ProvedCover) -> None:
    if cover.zone != "plotter":
        raise RefusedError("verniers are drawn by a plotter; leave --verniers out, or --for")
    if cover.lying is not cover.layout:
        raise RefusedError(
            "this cover was marked slack, and its verniers were drawn before it was stretched on, "
            "so they tell nothing of it now; read them before, with --slack"
        )


def _made_for(job: Job, cover: ProvedCover) -> dict[str, Any]:
    return {
        "zone": cover.zone,
        "slack": cover.slack,
        "tape": asdict(tape_of(job.tape)),
        "tolerance": job.tolerance,
    }


def _begun(folder: Path, cover: ProvedCover) -> tuple[Distance, ...]:
    """The distances of the last sheet, where it was for this cover: they keep their names."""
    last = _last_sheet(folder)
    if last is None or _of_another(last, cover):
        return ()
    kept: Mapping[str, Any] = last.result
    if (kept.get("zone"), kept.get("slack")) != (cover.zone, cover.slack):
        return ()
    return distances_from(kept["distances"])


def _last_sheet(folder: Path) -> KeptCheck | None:
    if not has_record(folder):
        return None
    with open_record(folder) as record:
        checks = record.checks("proof sheet", COVER)
    return checks[-1] if checks else None


def _of_another(sheet: KeptCheck, cover: ProvedCover) -> bool:
    """Whether a kept sheet is for another layout or division, or keeps no distances."""
    return (
        sheet.layout != layout_hash(cover.layout)
        or sheet.result.get("division") != plan_hash(cover.plan)
        or not isinstance(sheet.result.get("distances"), list)
    )


def _mends_told(folder: Path, job: Job, cover: ProvedCover) -> Iterator[str]:
    """What of the cover was inked anew, and what of it still waits."""
    anew = mended(folder, job, cover.layout)
    yield from (f"Inked anew: {mended_said(one, cover.layout, job.units)}." for one in anew)
    yield from (f"{line}." for line in seen_lines(anew, allowed_of(job).step))
