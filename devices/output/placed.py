"""The programs of one section, for where its device was found to stand."""

from __future__ import annotations

from typing import TYPE_CHECKING

from devices.output.programs import REMOVABLE, pen_note, program_files
from marking.output.files import replace_file

if TYPE_CHECKING:
    from pathlib import Path

    from devices.job import Job
    from devices.plotter.correction import Correction
    from marking.placement.placement import Placement


def write_placed(
    folder: Path, job: Job, placed: Placement, correction: Correction | None, *, may_be_inked: bool
) -> tuple[list[Path], str | None]:
    """Writes the section into `folder`, once what an earlier placement wrote there is gone.

    With what to know of its files, if anything. Nothing is written that may not be inked.
    """
    for part in ("", REMOVABLE):
        for old in folder.glob(f"{placed.section.id}{part}.*"):
            old.unlink()
    if not may_be_inked:
        return [], None
    files = program_files(placed.recut, job, correction)
    for name, (data, _) in files.items():
        replace_file(folder / name, data)
    return [folder / name for name in files], pen_note(files, job)
