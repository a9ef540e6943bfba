"""Sections as programs for the job's plotter: the ink, what is removable, and verniers at joins.

It knows which strokes go into which file, no dialect's words.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from devices.inking.pen_change import parted
from devices.programs.files import program
from marking.errors import BadInputError
from marking.measures.counts import counted

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from devices.job import Job
    from devices.plotter.bed import Bed
    from devices.plotter.correction import Correction
    from marking.job.keys import PensTable
    from marking.layout.layout import Layout
    from marking.network.pose import Pose
    from marking.proof.verniers import JoinVernier
    from marking.sections.plan import Plan, Section
    from marking.sections.zones import Zone

REMOVABLE = "-removable"
"""Ends the name of a file for the removable pen alone."""
VERNIERS = "-verniers"
"""Ends the name of a file with a section's halves of verniers."""


def program_files(
    section: Section, job: Job, correction: Correction | None
) -> dict[str, tuple[bytes, Bed]]:
    """A section's programs, by file name that ends in the plotter's dialect, each with its bed.

    Where removable strokes need the holder of the ink, they are a second file: in one, they
    would be inked for good.
    """
    ending = job.plotter.dialect
    ink, removable = parted(section, job.pens)
    files = {f"{section.id}.{ending}": program(ink, job.plotter, job.pens, correction)}
    if removable is not None:
        name = f"{section.id}{REMOVABLE}.{ending}"
        files[name] = program(removable, job.plotter, job.pens, correction)
    return files


def pen_note(names: Iterable[str], pens: PensTable) -> str | None:
    """What to know of files for the removable pen alone; None when there are none."""
    own = [name for name in names if name.rpartition(".")[0].endswith(REMOVABLE)]
    if not own:
        return None
    return (
        f"{own[0]}{f' and {len(own) - 1} more like it' if len(own) > 1 else ''}: for the removable "
        f"pen alone, which shares holder {pens.removable.slot} with the ink. Plot it after the "
        "section's own file, the pen changed and the device not moved"
    )


def vernier_files(
    zone: str, job: Job, layout: Layout, plan: Plan, correction: Correction | None
) -> tuple[dict[str, bytes], str]:
    """Each section's halves of the verniers over its joins, for the removable pen alone.

    With them what to tell the person. Raises BadInputError for another zone than a plotter's.
    """
    from marking.proof.distortion import distortion_of
    from marking.proof.drawn import drawn_alone
    from marking.proof.verniers import vernier_strokes, verniers_over

    if zone != "plotter":
        raise BadInputError(f"write --verniers --for {zone}: verniers are drawn by a plotter")
    verniers = verniers_over(plan, distortion_of(layout, plan), job.pens.removable.width)
    drawn = vernier_strokes(verniers)
    files = {}
    for section in plan.sections:
        strokes = drawn.get(section.id)
        if strokes:
            alone = drawn_alone(section, strokes, job.pens, plan.zone)
            data, _ = program(alone, job.plotter, job.pens, correction)
            files[f"sections/{section.id}{VERNIERS}.{job.plotter.dialect}"] = data
    return files, (
        f"{counted(len(verniers), 'vernier')} over the joins. After a section's own file, "
        f"with the device not moved, put the removable pen in holder {job.pens.removable.slot} and "
        f"plot the section's {VERNIERS} file; canvasrule prove --verniers asks for the readings"
    )


def vernier_file(
    section: Section,
    pose: Pose,
    verniers: Sequence[JoinVernier],
    zone: Zone,
    job: Job,
    correction: Correction | None,
) -> dict[str, bytes]:
    """The halves that `section` draws, for a device that stands at `pose`; nothing without any."""
    from marking.placement.recut import carried
    from marking.proof.drawn import drawn_alone
    from marking.proof.verniers import vernier_strokes

    strokes = vernier_strokes(verniers).get(section.id)
    if not strokes:
        return {}
    alone = carried(drawn_alone(section, strokes, job.pens, zone), pose)
    data, _ = program(alone, job.plotter, job.pens, correction)
    return {f"{section.id}{VERNIERS}.{job.plotter.dialect}": data}
