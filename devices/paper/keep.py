"""The page that a job is made again from."""

from __future__ import annotations

from typing import TYPE_CHECKING

from devices.paper.asked import Printed, as_pdf, version

if TYPE_CHECKING:
    from devices.paper.asked import PaperAsked
    from marking.drawing.artwork import Artwork


def keep(asked: PaperAsked) -> Printed:
    """the page that the job is made again from, to staple under the table"""
    return Printed((as_pdf("keep", "keep", keep_pages_of(asked)),))


def keep_pages_of(asked: PaperAsked) -> tuple[Artwork, ...]:
    """The keep page, by itself or as the last of a job sheet."""
    from devices.job import Job
    from marking.job.folder import load_job
    from marking.job.keys import paper_of
    from marking.keep.kept_job import kept_job
    from marking.keep.page import keep_pages
    from marking.record.record import layout_hash

    # As it is written: what its way makes of it is made anew from the page too.
    job, layout = load_job(asked.folder, Job), asked.layout
    kept = kept_job(asked.folder, job, version(), layout_hash(layout))
    return keep_pages(kept, job, paper_of(job))
