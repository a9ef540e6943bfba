"""Keeps the tape marks chosen, unless those set out before have to stay; writes sheet and map."""

from __future__ import annotations

from typing import TYPE_CHECKING

from devices.begun import begin
from devices.history import has_record, kept_correction
from marking.begun.on_the_cover import keep_tape_marks, replaced
from marking.errors import RefusedError
from marking.job.keys import paper_of
from marking.layout.edges import off_the_wall
from marking.output.files import replace_file
from marking.record.record import open_record

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from devices.job import Job
    from marking.layout.layout import Layout
    from marking.measures.lengths import Units
    from marking.network.fence import Clamping
    from marking.sections.plan import Plan
    from marking.tape_marks.choice import ChosenMarks, Task
    from marking.tape_marks.marks import TapeMarks


def guard_set_out(
    folder: Path, units: Units, layout: Layout, tape_marks: TapeMarks, *, anew: bool
) -> Sequence[str]:
    """Marks of the job in `folder` that `tape_marks` take the place of: to be taken off the cover.

    Raises RefusedError where ink was placed by marks that would go, or they were read and `anew`
    does not say to take others.
    """
    if not has_record(folder):
        return ()
    with open_record(folder) as record:
        undone = replaced(record, layout, units, tape_marks)
    look = "--only-look shows what other marks would hold and changes nothing"
    stay = "The marks that are set out stay, and so does their sheet"
    if undone.inked:
        raise RefusedError(
            f"{_few(undone.inked)}: ink on the cover was placed by these marks, and this would "
            f"set them out otherwise or not at all. {stay}. Closer marks that keep all of "
            f"these are taken; {look}"
        )
    if undone.read and not anew:
        raise RefusedError(
            f"{_few(undone.read)}: these marks were read already, and this would set them out "
            f"otherwise or not at all. {stay}. {look}; --set-out-anew takes the others all "
            "the same"
        )
    return undone.gone


def keep_chosen(
    folder: Path,
    out: Path,
    job: Job,
    layout: Layout,
    plan: Plan,
    tape_marks: TapeMarks,
    says: Sequence[str],
    fences: Mapping[str, Clamping] | None = None,
    *,
    anew: bool,
) -> tuple[list[Path], str | None]:
    """Writes the sheet into `out` and keeps the marks of the job in `folder`.

    With what each section's device is to be pushed against, by the section's id. Returns the
    files and a note on marks that are to be taken off. Raises RefusedError as `guard_set_out`.
    """
    gone = guard_set_out(folder, job.units, layout, tape_marks, anew=anew)
    files = _write_sheet(out, tape_marks, layout, job, says)
    correction = kept_correction(folder, job) if plan.zone.name == "plotter" else None
    with open_record(folder) as record:
        begin(record, job, layout, plan, correction)
        keep_tape_marks(record, layout, plan, tape_marks, fences)
    if not gone:
        return files, None
    return files, (
        "note: this takes the place of the marks chosen before. If they are on the cover, "
        f"take {len(gone)} of them off: {_few(gone)}"
    )


def _few(names: Sequence[str]) -> str:
    return ", ".join(names[:6]) + (f" and {len(names) - 6} more" if len(names) > 6 else "")


def _write_sheet(
    out: Path, tape_marks: TapeMarks, layout: Layout, job: Job, says: Sequence[str]
) -> list[Path]:
    # What draws is imported where something is drawn: it takes a while, and --only-look needs none.
    from marking.drawing.pdf import pdf
    from marking.drawing.svg import svg
    from marking.output.tape_sheet import tape_sheet_pages

    paper = paper_of(job)
    notes = tuple(off_the_wall(job.table))
    pages = tape_sheet_pages(tape_marks, layout, job.title, job.units, paper, says, notes)
    files = {"control.svg": svg(pages[0]), "control.pdf": pdf(pages)}
    for name, data in files.items():
        replace_file(out / name, data)
    return [out / name for name in files]


def write_map(path: Path, job: Job, task: Task, done: ChosenMarks) -> None:
    """Draws the table with the error to expect of each section."""
    from marking.drawing.picture_file import picture_file
    from marking.output.error_map import error_map

    marks = [mark.mark for mark in done.tape_marks.marks]
    drawn = error_map(task.layout, job, task.plan, done.forecast, marks)
    replace_file(path, picture_file(drawn, path.name))
